"""A small sound configuration, and ways to spoil it one place at a time."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

MISTAKES = Path(__file__).resolve().parent.parent / "config_mistakes"

Edit = Callable[[str, str, str], None]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the sound configuration."""
    return Path(shutil.copytree(MISTAKES / "base", tmp_path / "config"))


@pytest.fixture
def edit(folder: Path) -> Edit:
    """Replace one piece of text that occurs exactly once in a file of the configuration."""

    def replace(file: str, find: str, put: str) -> None:
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert text.count(find) == 1, f"{find!r} must occur once in {file}"
        path.write_text(text.replace(find, put), encoding="utf-8")

    return replace
