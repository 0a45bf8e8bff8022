"""The web process stays light, and settings, configuration and documentation name the same things."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from forecaster.settings.environment import Environment

REPOSITORY = Path(__file__).resolve().parents[2]
HEAVY = ("numpy", "pandas", "altair", "vl_convert", "scipy", "shapely", "apscheduler")
COMPUTING = ("physics", "weather", "soil", "risk", "alerts", "charts", "sources", "delivery", "pipeline", "ground")


def test_the_web_process_imports_nothing_that_computes() -> None:
    code = "import sys, forecaster.web.app; print(' '.join(sys.modules))"
    loaded = set(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split())
    assert "forecaster.web.app" in loaded
    assert not loaded & set(HEAVY)
    assert not loaded & {f"forecaster.{name}" for name in COMPUTING}


def test_the_readme_names_every_environment_variable_and_no_other() -> None:
    text = (REPOSITORY / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`(FORECASTER_[A-Z_]+)`", text))
    row = re.search(r"`FORECASTER_SMTP_HOST`(.*?)\|", text)
    assert row is not None
    named |= {f"FORECASTER_SMTP{suffix}" for suffix in re.findall(r"`(_[A-Z_]+)`", row.group(1))}
    assert named == {f"FORECASTER_{name.upper()}" for name in Environment.model_fields}


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=REPOSITORY, capture_output=True, text=True, check=True).stdout.split()
    top = {name.split("/")[0] for name in tracked}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "forecaster", "config", "tests", "sample_weather"}
    assert {name for name in top if not name.startswith(".")} == allowed


def test_no_module_has_grown_a_second_subject() -> None:
    long = {
        str(path.relative_to(REPOSITORY)): lines
        for path in (REPOSITORY / "forecaster").rglob("*.py")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 400
    }
    assert long == {}
