"""Shared fixtures. Tests never need the network; loopback only."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.databases import KINDS, PostgresServer, database_of, postgres_server

REPOSITORY = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def shared() -> Path:
    """Folder of measured series and recorded answers that a fresh clone does not have."""
    folder = Path(os.environ.get("FORECASTER_TEST_SHARED", REPOSITORY.parent / "shared"))
    if not (folder / "observations").is_dir():
        pytest.skip("measured series of shared/ are not beside this clone")
    return folder


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgresServer]:
    """One PostgreSQL server for each process that tests, started by the first test that asks for it."""
    with postgres_server() as server:
        yield server


@pytest.fixture(params=KINDS)
def database_kind(request: pytest.FixtureRequest) -> str:
    """A test that uses this, itself or through another fixture, runs once on each database."""
    return str(request.param)


@pytest.fixture
def database_url(database_kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[str]:
    """An empty database, once of each kind."""
    server = request.getfixturevalue("postgresql") if database_kind == "postgresql" else None
    with database_of(database_kind, tmp_path, server) as url:
        yield url
