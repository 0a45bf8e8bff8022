"""A fresh, migrated database with one ground in it, once of each kind."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.grounds import save_ground
from tests.storage.builders import NOON, ground


@pytest.fixture
def database(database_url: str) -> Iterator[Engine]:
    engine = open_database(database_url)
    migrate(engine)
    with transaction(engine) as session:
        save_ground(session, ground(), NOON)
    yield engine
    engine.dispose()
