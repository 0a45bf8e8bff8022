"""``forecaster spin-up``: what it prints, and that its invented weather is what it says."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from rich.console import Console

from forecaster.commands.spin_up import (
    QUANTITIES,
    RUN_DAYS,
    Memory,
    as_document,
    invented,
    memory_of,
    print_tables,
    read_surfaces,
)
from forecaster.errors import ConfigurationError
from forecaster.ground.surface import Surface
from forecaster.settings.shipped import shipped_folder
from forecaster.soil.columns import ModelParameters
from tests.command.test_cli import forecaster

CONFIG = shipped_folder("config")


@pytest.fixture(scope="module")
def shipped() -> tuple[list[Surface], ModelParameters]:
    return read_surfaces(CONFIG, "cool-season")


@pytest.fixture(scope="module")
def memory(shipped: tuple[list[Surface], ModelParameters]) -> Memory:
    surfaces, model = shipped
    return memory_of(invented()[1], surfaces, model)


def test_there_is_a_row_for_every_shipped_soil_in_both_turf_states(memory: Memory, shipped: tuple[list[Surface], ModelParameters]) -> None:
    surfaces, _ = shipped
    assert len(surfaces) == 10
    document = as_document([memory], surfaces)
    soils = document["weather"]["invented, dry summers"]["soils"]
    assert list(soils) == [surface.id for surface in surfaces]
    assert all(set(states) == {"sound", "band"} for states in soils.values())
    assert all(len(states["band"][name]) == len(document["starts"]) for states in soils.values() for name in QUANTITIES)
    told = io.StringIO()
    print_tables([memory], surfaces, "cool-season", Console(width=140, file=told))
    assert sum(line.strip().startswith(tuple(soils)) for line in told.getvalue().splitlines()) == 20
    assert "Soil temperature at 5 cm, under any soil:" in told.getvalue()


def test_sound_turf_forgets_within_a_year_and_bands_stay_locked_longer(
    memory: Memory, shipped: tuple[list[Surface], ModelParameters]
) -> None:
    """Dry summers: every sound column forgets water, repellency and cover within a year; a repellent band of loam is worse by far."""
    surfaces, _ = shipped
    sound, band = slice(0, None, 2), slice(1, None, 2)
    for name in ("water", "repellency", "green_cover"):
        assert np.nanmax(memory.days[name][:, sound]) < 365
        assert np.isfinite(memory.days[name][:, sound]).all()
    loam = [surface.id for surface in surfaces].index("loam")
    locked = np.nan_to_num(memory.days["repellency"][:, band][:, loam], nan=RUN_DAYS)
    assert locked.max() > 3 * memory.days["repellency"][:, sound].max()
    assert memory.heat.max() < 200


def test_the_invented_weather_is_as_wet_and_warm_as_it_says() -> None:
    """Two days of five at 6 mm are 876 mm a year; the dry summer keeps to one day of thirty."""
    wet, dry = invented()
    rain = wet.value("precipitation_mm")
    assert rain.sum() / 3 == pytest.approx(876.0, rel=0.05)
    assert (rain > 0).mean() == pytest.approx(0.4, abs=0.01)
    summer = np.array([day.month in (6, 7, 8) for day in dry.days])
    assert (dry.value("precipitation_mm")[summer] > 0).mean() == pytest.approx(1 / 30, abs=0.02)
    assert np.array_equal(dry.value("precipitation_mm")[~summer], rain[~summer])
    assert np.array_equal(invented()[0].value("precipitation_mm"), rain)


def test_mistakes_are_told_and_the_command_prints_json() -> None:
    with pytest.raises(ConfigurationError) as caught:
        read_surfaces(CONFIG, "cool-saison")
    assert 'did you mean "cool-season"?' in str(caught.value.mistakes[0])
    wrong = forecaster("spin-up", "nowhere.csv")
    assert wrong.returncode == 1
    assert "nowhere.csv" in wrong.stderr
    assert "Traceback" not in wrong.stderr
    done = forecaster("spin-up", "--json", "--turf", "warm-season")
    assert done.returncode == 0, done.stderr
    assert list(json.loads(done.stdout)["weather"]) == ["invented, rain all year", "invented, dry summers"]
