"""kill -9 at the first commit, at the second, and so on until a run ends by itself; then the next runs, as a service would have them."""

from __future__ import annotations

import shutil
import signal
from collections import Counter
from datetime import timedelta
from itertools import count
from pathlib import Path

import pytest

from forecaster.storage.database import open_database
from tests.databases import PostgresServer, database_of
from tests.faults.conftest import Workers, folder_with_weather, set_up
from tests.faults.sound import assert_sound, contents, messages_by_recipient
from tests.pipeline.conftest import START

MOST_COMMITS = 60
# A lease runs out after 2 minutes, the claim on a message after 15; a message that may have arrived is tried once more.
LATER = tuple(timedelta(minutes=minutes) for minutes in (3, 18, 36))


def delivered(workers: Workers) -> Counter[tuple[str, str]]:
    return Counter((str(mail["To"]), " ".join(str(mail["Subject"]).split())) for mail in workers.postbox.messages)


def test_killed_at_any_commit_a_run_loses_nothing_and_doubles_nothing(
    database_kind: str,
    workers: Workers,
    weather_file: Path,
    tmp_path: Path,
    request: pytest.FixtureRequest,
    capsys: pytest.CaptureFixture[str],
) -> None:
    server: PostgresServer | None = request.getfixturevalue("postgresql") if database_kind == "postgresql" else None
    template = None if server is None else server.create()
    set_up(f"sqlite:///{tmp_path / 'begun.db'}" if server is None else server.url(str(template)))
    whole = None
    ended_by_itself, twice = 0, 0
    for trial in count(0):
        # Trial 0 is not killed: it shows what a run leaves.
        assert trial < MOST_COMMITS, "a run commits more often than this test believes"
        folder = folder_with_weather(tmp_path, f"trial-{trial}", weather_file)
        if server is None:
            shutil.copy(tmp_path / "begun.db", folder / "forecaster.db")
        workers.postbox.received.clear()
        with database_of(database_kind, folder, server, copy_of=template) as url:
            code = workers.do(url=url, folder=folder, die_at=trial)
            assert code in (0, -signal.SIGKILL), f"trial {trial} ended with {code}"
            engine = open_database(url)
            assert_sound(engine)
            stood = messages_by_recipient(engine)
            # Between the server's yes and our mark: accepted, and still claimed.
            cut_off = {mail for mail in delivered(workers) if stood.get(mail) == "claimed"}
            engine.dispose()
            for later in LATER:
                assert workers.do(url=url, folder=folder, now=START + later) == 0
            engine = open_database(url)
            assert_sound(engine)
            found, arrived = contents(engine), delivered(workers)
            assert set(arrived) == set(messages_by_recipient(engine)), "every message arrived, and none that is not in the outbox"
            engine.dispose()
        assert {mail: 2 if mail in cut_off else 1 for mail in arrived} == dict(arrived), f"trial {trial}"
        whole = whole or found
        assert found == whole, f"trial {trial}"
        assert {status for _, status in found["messages"]} == {"sent"}
        twice += len(cut_off)
        ended_by_itself += code == 0
        if trial > 0 and code == 0:
            break
    assert ended_by_itself == 2, "every other trial was killed"
    assert twice >= 1, "a crash between the server's yes and our mark must be among the trials"
    if server is not None:
        server.drop(str(template))
    with capsys.disabled():
        print(f"\n{trial - 1} trials on {database_kind}: killed at commit 1 to {trial - 1}; {twice} messages came twice")
