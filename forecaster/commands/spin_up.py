"""``forecaster spin-up``: after how many days of weather nothing is left of the state a simulation was started from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from forecaster.commands.validate import read_files
from forecaster.commands.validation_weather import station_weather
from forecaster.ground.surface import Surface
from forecaster.physics import soil_heat
from forecaster.quantities import TurfState
from forecaster.settings.configuration import SOILS
from forecaster.settings.mistakes import MistakeList, nearest
from forecaster.settings.soils import RootZoneEntry, TurfDetails, root_zone, turf_type
from forecaster.soil import spin_up
from forecaster.soil.columns import ModelParameters
from forecaster.soil.surfaces import column_of, surface_columns
from forecaster.sources.station_file import StationSeries

Floats = npt.NDArray[np.float64]

ROOT_DEPTH_M, SURFACE_DEPTH_M = 0.20, 0.05  # a mown pitch; the surface layer that surfaces have where they do not say
STARTS = ("1 January", "1 April", "1 July", "1 October")
START_DAYS = (0, 90, 181, 273)
RUN_DAYS = 3 * 365
QUANTITIES = ("water", "repellency", "green_cover", "crowns")
HEADINGS = ("water", "repellency", "green cover", "lost crowns")
NO_END = f">{RUN_DAYS}"
INVENTED_YEARS = 3


@dataclass(frozen=True)
class Memory:
    """What one weather makes of the guesses. ``days``: by quantity, shape (start, column); ``heat``: shape (start,); NaN: not forgotten."""

    weather: str
    days: dict[str, Floats]
    heat: Floats
    estimated: tuple[str, ...]


def invented_weather(name: str, *, dry_summer: bool) -> StationSeries:
    """Three years of invented weather at 50° north, the same at every call: rain by fixed irregular steps instead of chance.

    Temperatures 3 to 18 °C. It rains on two days of five, 6 mm on average; with a dry summer on one day of thirty from June to August.
    """
    days = tuple(date(2001, 1, 1) + timedelta(days=number) for number in range(INVENTED_YEARS * 365))
    number = np.arange(len(days))
    month = np.array([day.month for day in days])
    # Multiples of irrational numbers are spread evenly over 0 to 1 and look like chance.
    wheel, size = np.mod((number + 1) * (np.sqrt(5.0) - 1.0) / 2.0, 1.0), np.mod((number + 1) * np.sqrt(2.0), 1.0)
    frequency = np.where(dry_summer & (month >= 6) & (month <= 8), 1.0 / 30.0, 0.4)
    mean = 10.5 - 7.5 * np.cos(2.0 * np.pi * (number - 20) / 365.0)
    values = {
        "air_temperature_min_c": mean - 4.5,
        "air_temperature_max_c": mean + 4.5,
        "precipitation_mm": np.where(wheel < frequency, -6.0 * np.log(np.maximum(size, 1e-3)), 0.0),
    }
    return StationSeries(name, days, values, {}, 50.0, 60.0)


def invented() -> list[StationSeries]:
    """The weather that is taken where no file is given."""
    return [
        invented_weather("invented, rain all year", dry_summer=False),
        invented_weather("invented, dry summers", dry_summer=True),
    ]


def read_surfaces(folder: Path, turf_id: str) -> tuple[list[Surface], ModelParameters]:
    """A surface of every soil class in a configuration folder under one turf. Raises ConfigurationError with every mistake."""
    mistakes = MistakeList()
    soils, turf, model = read_files(folder, mistakes)
    kinds = {} if turf is None else {kind.id: kind for kind in turf.turf}
    if turf is not None and turf_id not in kinds:
        mistakes.add("command line", "--turf", turf_id, nearest(turf_id, kinds))
    zones = []
    if soils is not None:
        for number, soil in enumerate(soils.soil, start=1):
            note = mistakes.noter(SOILS, f"soil[{number}]", soil.id)
            depths = {"root_depth_m": ROOT_DEPTH_M, "surface_depth_m": SURFACE_DEPTH_M}
            zones.append((soil, root_zone(soil, RootZoneEntry(), soils.default, **depths, note=note)))
    mistakes.raise_if_any()
    if model is None:
        raise AssertionError("a file that cannot be used has a mistake noted")
    kind = turf_type(kinds[turf_id], TurfDetails())
    surfaces = [Surface(soil.id, soil.name, "", 1.0, 1.0, zone, kind, None) for soil, zone in zones if zone is not None]
    return surfaces, ModelParameters(**model.model_dump())


def memory_of(series: StationSeries, surfaces: Sequence[Surface], model: ModelParameters) -> Memory:
    """Days to forget for every column of the surfaces, from starts in four seasons; the weather is gone through again where it ends."""
    weather, notes = station_weather(series)
    columns = surface_columns(surfaces)
    begins = series.days[0]
    to_january = (date(begins.year + 1, 1, 1) - begins).days % 366
    found, heat = [], []
    for start in START_DAYS:
        part = weather.on((to_january + start + np.arange(RUN_DAYS)) % len(series.days))
        soil, _ = soil_heat.simulated_soil_temperature(part.heat)
        found.append(spin_up.days_to_forget(columns, model, part.forcing(soil, columns=columns.count)))
        heat.append(float(spin_up.days_to_forget_heat(part.heat)))
    by_quantity = {name: np.stack([getattr(days, name) for days in found]) for name in QUANTITIES}
    return Memory(series.id, by_quantity, np.array(heat), tuple(notes))


def as_document(memories: Sequence[Memory], surfaces: Sequence[Surface]) -> dict[str, Any]:
    """Days by weather, soil and turf state for JSON, one number per start; null: not forgotten in the three years looked at."""
    return {
        "starts": list(STARTS),
        "days_looked_at": RUN_DAYS,
        "weather": {
            memory.weather: {
                "soil_temperature": _plain(memory.heat),
                "soils": {
                    surface.id: {
                        str(state.value): {name: _plain(memory.days[name][:, column_of(number, state)]) for name in QUANTITIES}
                        for state in TurfState
                    }
                    for number, surface in enumerate(surfaces)
                },
            }
            for memory in memories
        },
    }


def print_tables(memories: Sequence[Memory], surfaces: Sequence[Surface], turf_id: str, console: Console) -> None:
    """A table per weather, the shortest and longest of the four starts, and in words what was compared and what is not forgotten."""
    for memory in memories:
        table = Table(box=SIMPLE_HEAD, title=f"Days until the first guess is forgotten. Weather: {memory.weather}. Turf: {turf_id}.")
        for heading in ("soil", "turf", *HEADINGS):
            table.add_column(heading, justify="left" if heading in ("soil", "turf") else "right")
        for number, surface in enumerate(surfaces):
            for state in TurfState:
                cells = (_cell(memory.days[name][:, column_of(number, state)]) for name in QUANTITIES)
                table.add_row(surface.id, str(state.value), *cells)
        console.print(table)
        console.print(f"Soil temperature at 5 cm, under any soil: {_cell(memory.heat)} days.", soft_wrap=True)
        for line in _not_forgotten(memory, surfaces):
            console.print(line, soft_wrap=True)
        if memory.estimated:
            console.print(f"Estimated: {'; '.join(memory.estimated)}.", soft_wrap=True)
    console.print(
        f"Starts on {', '.join(STARTS[:-1])} and {STARTS[-1]}: the shortest and the longest of the four. "
        f"Roots to {ROOT_DEPTH_M:g} m, no watering. "
        "Compared: soaked, wettable and green against dry, repellent and brown with living crowns; in the last column whole turf against "
        "half of its crowns lost. Forgotten: for good within "
        f"{spin_up.WATER_MM:g} mm of water, {spin_up.REPELLENCY_LOG10_S:g} of log10 seconds, {spin_up.COVER:g} of cover and "
        f"{spin_up.SOIL_TEMPERATURE_C:g} °C.",
        soft_wrap=True,
    )


def _not_forgotten(memory: Memory, surfaces: Sequence[Surface]) -> list[str]:
    lines = []
    for name, heading in zip(QUANTITIES, HEADINGS, strict=True):
        ever: npt.NDArray[np.bool_] = np.any(np.isnan(memory.days[name]), axis=0)
        by_state = {state: [surface.id for number, surface in enumerate(surfaces) if ever[column_of(number, state)]] for state in TurfState}
        for state, soils in by_state.items():
            if soils:
                which = "every soil" if len(soils) == len(surfaces) else ", ".join(soils)
                lines.append(f"Not forgotten within {RUN_DAYS} days from some start: {heading}, {state.value}, {which}.")
    return lines


def _plain(days: Floats) -> list[int | None]:
    return [int(number) if np.isfinite(number) else None for number in days]


def _cell(days: Floats) -> str:
    words = [f"{number:.0f}" if np.isfinite(number) else NO_END for number in sorted(days, key=lambda n: (np.isnan(n), n))]
    return words[0] if words[0] == words[-1] else f"{words[0]} to {words[-1]}"
