"""The command in this process, where starting Python a dozen times would prove nothing, and a folder that a cycle has filled."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from unittest.mock import patch

import pytest
from click.testing import Result
from typer.testing import CliRunner

from forecaster.cli import app
from forecaster.pipeline.claims import run_cycles
from forecaster.settings.environment import read_environment
from forecaster.startup import make_context


def clean_environment(**variables: str) -> dict[str, str]:
    """The environment of this process without settings of the one that tests."""
    return {name: value for name, value in os.environ.items() if not name.startswith("FORECASTER_")} | variables


def invoke(*words: str, **variables: str) -> Result:
    """Run a command in this process. What a user would see as a traceback is raised here."""
    with patch.dict(os.environ, clean_environment(**variables), clear=True):
        result = CliRunner().invoke(app, words)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture(scope="session")
def _one_cycle(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("after-one-cycle")
    drawing = patch("forecaster.pipeline.cycle.chart_set", lambda _outlook: {})
    with drawing, patch.dict(os.environ, clean_environment(FORECASTER_DATA=str(folder)), clear=True):
        context = make_context(read_environment())
        assert [record.status for record in run_cycles(context)] == ["ok"]
        context.engine.dispose()
    return folder


@pytest.fixture
def run_once(_one_cycle: Path, tmp_path: Path) -> Path:
    """A data folder after one cycle of the invented ground: nothing is due but two messages, so a process starts at once."""
    return Path(shutil.copytree(_one_cycle, tmp_path / "data"))
