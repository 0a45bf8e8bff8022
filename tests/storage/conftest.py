"""A fresh, migrated SQLite file with one ground in it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.grounds import save_ground
from tests.storage.builders import NOON, ground


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Engine]:
    engine = open_database(f"sqlite:///{tmp_path / 'forecaster.db'}")
    migrate(engine)
    with transaction(engine) as session:
        save_ground(session, ground(), NOON)
    yield engine
    engine.dispose()
