"""The command line as people type it, mistakes included."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch

import pytest

from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.tasks import Task, claim_task, ensure_task
from forecaster.worker import only_worker
from tests.command.conftest import clean_environment, invoke


def forecaster(*words: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own, in an environment without settings of the one that tests."""
    return subprocess.run(
        [sys.executable, "-m", "forecaster", *words],
        env=clean_environment(**variables),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_check_of_the_shipped_configuration_finds_no_mistakes() -> None:
    done = invoke("check")
    assert done.exit_code == 0
    assert "no mistakes" in done.stdout


def test_init_then_a_mistake_then_check_lists_all_of_them(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    assert invoke("init", str(folder)).exit_code == 0
    file = folder / "grounds" / "brackenholt.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace('soil = "clay"', 'soil = "claey"').replace("root_depth_m = 0.20", "root_depth_m = 20"), encoding="utf-8")
    for command in ("check", "run", "serve"):
        # The service checks in a process of its own, whose words a runner in this one does not hear.
        started = forecaster if command == "serve" else invoke
        done = started(command, "--config", str(folder), FORECASTER_DATA=str(tmp_path / "data"))
        assert (done.returncode if isinstance(done, subprocess.CompletedProcess) else done.exit_code) == 1, command
        assert "2 mistakes" in done.stderr, command
        assert "brackenholt.toml" in done.stderr
        assert 'surface[2].soil = "claey"' in done.stderr
        assert 'did you mean "clay"?' in done.stderr
        assert "surface[1].root_depth_m = 20: a number from 0.05 to 1" in done.stderr
        assert "Traceback" not in done.stderr
    assert not (tmp_path / "data" / "mail").exists()


def test_init_never_writes_over_anything(tmp_path: Path) -> None:
    (tmp_path / "rules.toml").write_text("mine", encoding="utf-8")
    done = invoke("init", str(tmp_path))
    assert done.exit_code == 1
    assert (tmp_path / "rules.toml").read_text(encoding="utf-8") == "mine"


def test_run_says_how_each_ground_went_and_what_was_sent(run_once: Path) -> None:
    with patch("forecaster.pipeline.cycle.render_svg", lambda _chart: "<svg></svg>"):
        done = invoke("run", "--data", str(run_once))
        assert done.exit_code == 0, done.stderr
        assert "brackenholt: ok." in done.stdout
        assert "Messages: 2 sent." in done.stdout
        assert len(list((run_once / "mail").glob("*.eml"))) == 2
        again = invoke("run", "--data", str(run_once))
    assert "Messages: none due." in again.stdout


def test_run_says_which_ground_it_left_to_another_process_and_that_is_no_failure(tmp_path: Path) -> None:
    engine = open_database(f"sqlite:///{tmp_path / 'forecaster.db'}")
    migrate(engine)
    now = datetime.now(UTC)
    with transaction(engine) as session:
        ensure_task(session, Task("cycle", "brackenholt"), now)
        assert claim_task(session, Task("cycle", "brackenholt"), owner="host/7", now=now, lasts=timedelta(minutes=2))
    engine.dispose()
    done = invoke("run", "--data", str(tmp_path))
    assert done.exit_code == 0, done.stderr
    assert "brackenholt: left alone, another process (host/7) is at it and holds it until " in done.stdout
    assert not (tmp_path / "mail").exists()


@pytest.mark.parametrize("place", ["a file, not a folder", "a folder, not a database"])
def test_a_database_that_cannot_be_used_is_one_clear_line(tmp_path: Path, place: str) -> None:
    if place.startswith("a file"):
        (tmp_path / "data").write_text("", encoding="utf-8")
    else:
        (tmp_path / "data" / "forecaster.db").mkdir(parents=True)
    done = invoke("run", "--data", str(tmp_path / "data"))
    assert done.exit_code == 1
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("forecaster: ")
    assert "forecaster.db" in done.stderr


def test_an_invented_ground_cannot_stand_beside_a_real_one(tmp_path: Path) -> None:
    invoke("init", str(tmp_path / "mine"))
    grounds = tmp_path / "mine" / "grounds"
    text = (grounds / "brackenholt.toml").read_text(encoding="utf-8")
    real = text.replace('id = "brackenholt"', 'id = "home"').replace('source = "sample"', 'source = "open-meteo"')
    (grounds / "home.toml").write_text(real, encoding="utf-8")
    done = invoke("check", "--config", str(tmp_path / "mine"))
    assert done.exit_code == 1
    assert "cannot stand beside real ones" in done.stderr


def test_an_unknown_setting_is_named_not_ignored() -> None:
    done = invoke("check", FORECASTER_PROT="80")
    assert done.exit_code == 1
    assert "FORECASTER_PORT" in done.stderr


def test_a_mistyped_command_is_answered_with_the_nearest() -> None:
    done = forecaster("chekc")
    assert done.returncode == 2
    assert "check" in done.stderr


def test_a_copy_is_written_beside_a_running_service_and_restored_only_without_one(run_once: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    with only_worker(f"sqlite:///{run_once / 'forecaster.db'}"):
        done = invoke("backup", str(copy), "--data", str(run_once))
        assert done.exit_code == 0, done.stderr
        assert "checked." in done.stdout
        refused = invoke("restore", str(copy), "--data", str(run_once))
        assert refused.exit_code == 1
        assert "another service works with the database" in refused.stderr
    done = invoke("restore", str(copy), "--data", str(run_once))
    assert done.exit_code == 0, done.stderr
    assert "What was there before is in" in done.stdout
    with patch("forecaster.pipeline.cycle.render_svg", lambda _chart: "<svg></svg>"):
        assert "brackenholt: ok." in invoke("run", "--data", str(run_once)).stdout
