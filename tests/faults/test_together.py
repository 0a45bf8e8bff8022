"""Several processes do what is due at once: each ground is run by one of them, and each message is sent by one."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import func, select

from forecaster.storage.database import open_database, reading
from forecaster.storage.models import CycleRow
from tests.faults.conftest import Workers, folder_with_weather, set_up
from tests.faults.sound import assert_sound

TRIALS = 3
PROCESSES = 3
GROUNDS = 3


def test_of_processes_that_work_at_once_one_runs_each_ground_and_sends_each_message(
    database_url: str, workers: Workers, weather_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    set_up(database_url)
    folder = folder_with_weather(tmp_path, "shared", weather_file)
    for trial in range(TRIALS):
        for number in range(PROCESSES):
            workers.begin(number, url=database_url, folder=folder, grounds=GROUNDS)
        assert [workers.end(number) for number in range(PROCESSES)] == [0] * PROCESSES, trial
    engine = open_database(database_url)
    assert_sound(engine)
    with reading(engine) as session:
        cycles = dict(session.execute(select(CycleRow.ground_id, func.count()).group_by(CycleRow.ground_id)).all())  # type: ignore[arg-type]
    engine.dispose()
    assert cycles == {"brackenholt": 1, "brackenholt-2": 1, "brackenholt-3": 1}
    names = [str(mail["Message-ID"]) for mail in workers.postbox.messages]
    assert len(names) == len(set(names)) == 2 * GROUNDS
    with capsys.disabled():
        print(f"\n{TRIALS} trials of {PROCESSES} processes at {GROUNDS} grounds")
