"""A configuration that is changed while the service runs."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecaster.errors import ConfigurationError
from forecaster.settings.last_valid import usable_configuration
from forecaster.settings.shipped import copy_shipped_config


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy_shipped_config(tmp_path / "config")
    return tmp_path / "config"


def change(folder: Path, old: str, new: str) -> None:
    file = folder / "grounds" / "brackenholt.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def test_a_valid_change_is_taken_up_a_wrong_one_is_told_and_the_last_valid_one_stays(folder: Path, tmp_path: Path) -> None:
    first, mistakes = usable_configuration(folder, tmp_path)
    assert mistakes is None
    change(folder, 'soil = "clay"', 'soil = "claey"')
    kept, mistakes = usable_configuration(folder, tmp_path)
    assert kept == first
    assert mistakes is not None
    assert [mistake.value for mistake in mistakes.mistakes] == ['"claey"']
    change(folder, 'soil = "claey"', 'soil = "sand"')
    changed, mistakes = usable_configuration(folder, tmp_path)
    assert mistakes is None
    assert changed != first


def test_files_beside_the_configuration_are_still_found_from_its_own_folder(folder: Path, tmp_path: Path) -> None:
    change(folder, 'source = "sample"', 'source = "csv"\nfile = "station.csv"')
    (folder / "station.csv").write_text("time_utc\n")
    first, _ = usable_configuration(folder, tmp_path)
    (folder / "rules.toml").write_text("not = [toml", encoding="utf-8")
    kept, mistakes = usable_configuration(folder, tmp_path)
    assert mistakes is not None
    assert kept.grounds[0].weather == first.grounds[0].weather
    assert kept.grounds[0].weather.path == str(folder / "station.csv")


def test_without_one_that_was_valid_every_mistake_is_raised(folder: Path, tmp_path: Path) -> None:
    change(folder, 'soil = "clay"', 'soil = "claey"')
    with pytest.raises(ConfigurationError):
        usable_configuration(folder, tmp_path)
