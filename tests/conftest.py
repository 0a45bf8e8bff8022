"""Shared fixtures. Tests never need the network; loopback only."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def shared() -> Path:
    """Folder of measured series and recorded answers that a fresh clone does not have."""
    folder = Path(os.environ.get("FORECASTER_TEST_SHARED", REPOSITORY.parent / "shared"))
    if not (folder / "observations").is_dir():
        pytest.skip("measured series of shared/ are not beside this clone")
    return folder
