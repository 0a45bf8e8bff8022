"""An application over the invented ground, asked without a network."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from forecaster.web.app import create_app
from tests.web import builders
from tests.web.keyed import Service, make_service


@pytest.fixture
def store() -> builders.MemoryStore:
    filled = builders.MemoryStore()
    filled.chart_map["thistlefold", "main-pitch"] = {
        name: f'<svg role="img" aria-label="{name}"></svg>' for name in ("water_phone", "water_wide", "ring_phone", "ring_wide")
    }
    return filled


@pytest.fixture
def client(store: builders.MemoryStore) -> Iterator[TestClient]:
    app = create_app(store, now=lambda: builders.NOW)
    with TestClient(app, base_url="http://localhost", raise_server_exceptions=False) as opened:
        yield opened


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A service that others can reach, without any key yet."""
    made, close = make_service(tmp_path)
    yield made
    close()
