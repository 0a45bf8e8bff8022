"""``keys``: shown once, listed without, revoked; and no service for others without one."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from forecaster.errors import ConfigurationError
from forecaster.storage.database import migrate, open_database
from forecaster.web.app import from_environment
from tests.command.conftest import clean_environment, invoke
from tests.command.test_processes import free_port


def add(folder: Path, *words: str) -> str:
    result = invoke("keys", "add", *words, FORECASTER_DATA=str(folder))
    assert result.exit_code == 0, result.output
    return result.stdout.strip()


def test_a_key_is_printed_alone_once_and_never_listed(tmp_path: Path) -> None:
    text = add(tmp_path, "Pavilion tablet", "--ground", "brackenholt", "--days", "90")
    assert text.startswith("forecaster_")
    assert "\n" not in text  # nothing else on standard output, so that a script can keep it
    add(tmp_path, "Office", "--read-write")
    listed = invoke("keys", "list", FORECASTER_DATA=str(tmp_path)).output
    for word in ("Pavilion tablet", "brackenholt", "read, write", "all grounds", "in use"):
        assert word in listed
    assert text.split("_", 2)[2] not in listed
    with closing(sqlite3.connect(tmp_path / "forecaster.db")) as database:
        assert text.split("_", 2)[2] not in "\n".join(database.iterdump())


def test_a_name_is_used_once_until_it_is_revoked(tmp_path: Path) -> None:
    add(tmp_path, "Office")
    again = invoke("keys", "add", "Office", FORECASTER_DATA=str(tmp_path))
    assert (again.exit_code, "already" in again.output) == (1, True)
    assert "Office is revoked." in invoke("keys", "revoke", "Office", FORECASTER_DATA=str(tmp_path)).output
    add(tmp_path, "Office")
    listed = invoke("keys", "list", FORECASTER_DATA=str(tmp_path)).output
    assert ("revoked" in listed, "in use" in listed) == (True, True)


def test_bad_names_and_grounds_are_told_at_once_and_nothing_is_made(tmp_path: Path) -> None:
    result = invoke("keys", "add", "a\tb", "--ground", "brackenhlt", "--ground", "moon", FORECASTER_DATA=str(tmp_path))
    assert result.exit_code == 1
    for word in ("3 mistakes", 'did you mean "brackenholt"', "moon", "can be printed"):
        assert word in result.output
    assert "There are no keys" in invoke("keys", "list", FORECASTER_DATA=str(tmp_path)).output
    assert invoke("keys", "revoke", "nobody", FORECASTER_DATA=str(tmp_path)).exit_code == 1


@pytest.mark.parametrize(
    "variables",
    [{"HOST": "0.0.0.0"}, {"HOST": "::"}, {"HOST": "192.0.2.7"}, {"PUBLIC_URL": "https://turf.example"}, {"TRUSTED_PROXIES": "127.0.0.1"}],
)
def test_where_others_can_reach_it_the_service_does_not_start_without_a_usable_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, variables: dict[str, str]
) -> None:
    named = {f"FORECASTER_{name}": value for name, value in variables.items()}
    result = invoke("serve", "--data", str(tmp_path), "--port", str(free_port()), **named)
    assert result.exit_code == 1
    for name, value in (clean_environment(FORECASTER_DATA=str(tmp_path)) | named).items():
        monkeypatch.setenv(name, value)
    for step in ("without", "revoked"):
        with pytest.raises(ConfigurationError) as refused:
            from_environment()
        assert [mistake.key for mistake in refused.value.mistakes] == list(named), step
        assert "forecaster keys add" in refused.value.hint
        add(tmp_path, "Office")
        from_environment()
        invoke("keys", "revoke", "Office", FORECASTER_DATA=str(tmp_path))


def test_the_refusal_is_said_before_anything_starts(tmp_path: Path) -> None:
    environment = clean_environment(FORECASTER_DATA=str(tmp_path), FORECASTER_HOST="0.0.0.0", FORECASTER_PORT=str(free_port()))
    done = subprocess.run(
        [sys.executable, "-m", "forecaster", "serve"], env=environment, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 1
    assert "FORECASTER_HOST" in done.stderr
    assert "keys add" in done.stderr
    assert "Traceback" not in done.stderr
    engine = open_database(f"sqlite:///{tmp_path / 'forecaster.db'}")
    migrate(engine)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM cycle").scalar() == 0
    engine.dispose()
