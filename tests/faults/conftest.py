"""Processes to kill, a mail server that counts, and databases and weather to begin from."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from forecaster.storage.database import migrate, open_database
from tests.delivery.servers import Postbox, smtp_server
from tests.pipeline.conftest import START, Service, shipped_configuration

REPOSITORY = Path(__file__).parents[2]


@dataclass
class Workers:
    """Starts processes that do what is due. Never more than one of each at a time."""

    port: int
    postbox: Postbox
    _processes: list[subprocess.Popen[str]] = field(default_factory=list)

    def begin(self, number: int, *, url: str, folder: Path, now: datetime = START, **more: Any) -> None:
        """Let process ``number`` do what is due."""
        while len(self._processes) <= number:
            command = [sys.executable, "-m", "tests.faults.due_work"]
            self._processes.append(subprocess.Popen(command, cwd=REPOSITORY, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True))
        order = {"url": url, "folder": str(folder), "now": now.isoformat(), "port": self.port, "said": str(folder / "said")} | more
        pipe = self._processes[number].stdin
        assert pipe is not None
        pipe.write(json.dumps(order) + "\n")
        pipe.flush()

    def end(self, number: int) -> int:
        """Wait for it; gives its exit code."""
        pipe = self._processes[number].stdout
        assert pipe is not None
        return int(pipe.readline())

    def do(self, **order: Any) -> int:
        self.begin(0, **order)
        return self.end(0)

    def close(self) -> None:
        for process in self._processes:
            process.communicate(timeout=60)


@pytest.fixture
def workers() -> Iterator[Workers]:
    postbox = Postbox()
    with smtp_server(postbox) as port:
        made = Workers(port, postbox)
        yield made
        made.close()


@pytest.fixture(scope="session")
def weather_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The station's file as it is at the start."""
    folder = tmp_path_factory.mktemp("weather")
    engine = open_database(f"sqlite:///{folder / 'unused.db'}")
    service = Service(folder, engine, shipped_configuration())
    service.write_weather()
    engine.dispose()
    return service.weather_file


def folder_with_weather(parent: Path, name: str, weather_file: Path) -> Path:
    """A folder of its own for one trial."""
    folder = parent / name
    folder.mkdir()
    shutil.copy(weather_file, folder / "station.csv")
    return folder


def set_up(url: str) -> None:
    """Make the tables."""
    engine = open_database(url)
    migrate(engine)
    engine.dispose()
