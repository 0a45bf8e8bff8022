"""Where two sources know the same hours: how far they are apart, and whether an instrument looks as if its unit were another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics.evapotranspiration import wind_speed_at_2m
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    CALLED,
    DEW_POINT,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    VARIABLES,
    WIND_SPEED,
    HourlyWeather,
    TakenOut,
)
from forecaster.weather.quality import TAKEN_OUT

Floats = npt.NDArray[np.float64]

OVERLAP_HOURS_AT_LEAST = 48


@dataclass(frozen=True)
class Overlap:
    """How two sources differ on the hours that both know: first minus second, mean [unit of the variable], and both sums of rain [mm]."""

    variable: str
    first: str
    second: str
    hours: int
    mean_difference: float
    sums: tuple[float, float]


def overlaps(rungs: Sequence[HourlyWeather], *, until: pd.Timestamp | None = None) -> list[Overlap]:
    """Differences between every pair of different sources, on their common hours, two days at least; wind as at 2 m, rain by its sums.

    Of one source the latest issue of an hour counts. ``until``: only hours before it. Soil temperature of different depth is not compared.
    Status: practice.
    """
    by_name: dict[str, list[HourlyWeather]] = {}
    for rung in rungs:
        by_name.setdefault(rung.source.name, []).append(rung)
    series = {name: {variable: _of_source(issues, variable, until) for variable in VARIABLES} for name, issues in by_name.items()}
    depths = {name: issues[0].soil_temperature_depth_cm for name, issues in by_name.items()}
    names, found = list(by_name), []
    for number, first in enumerate(names):
        for second in names[number + 1 :]:
            for variable in VARIABLES:
                if variable == SOIL_TEMPERATURE and depths[first] != depths[second]:
                    continue
                one, two = common(series[first][variable], series[second][variable])
                if len(one) >= OVERLAP_HOURS_AT_LEAST:
                    sums = (float(one.sum()), float(two.sum()))
                    found.append(Overlap(variable, first, second, len(one), float(np.mean(one - two)), sums))
    return found


def _of_source(issues: Sequence[HourlyWeather], variable: str, until: pd.Timestamp | None) -> pd.Series:
    joined: pd.Series | None = None
    for issue in issues:
        values = _comparable(issue, variable).dropna()
        joined = values if joined is None else joined.combine_first(values)
    assert joined is not None
    return joined if until is None else joined[joined.index < until]


def _comparable(frame: HourlyWeather, variable: str) -> pd.Series:
    """Wind as at 2 m, everything else as it is."""
    values = frame.values[variable]
    return values * float(wind_speed_at_2m(1.0, frame.wind_height_m)) if variable == WIND_SPEED else values


def common(first: pd.Series, second: pd.Series) -> tuple[Floats, Floats]:
    """The values of both at the hours that both know."""
    both = pd.concat([first, second], axis=1, join="inner").dropna()
    return both.iloc[:, 0].to_numpy(dtype=np.float64), both.iloc[:, 1].to_numpy(dtype=np.float64)


@dataclass(frozen=True)
class UnitMixUp:
    """An instrument's numbers that are ``factor`` times a model's, plus ``offset``: one unit taken for another.

    ``does``: whether the whole column is taken out, or only told where a strange site could look alike.
    """

    variable: str
    factor: float
    offset: float
    meant: str
    does: Literal["taken out", "told"]


# Factors are definitions (see units). Status of the whole comparison, and of its margins: assumption.
UNIT_MIX_UPS: tuple[UnitMixUp, ...] = (
    UnitMixUp(PRECIPITATION, 1.0 / 25.4, 0.0, "inches taken for mm", "taken out"),
    UnitMixUp(PRECIPITATION, 25.4, 0.0, "mm taken for inches", "taken out"),
    UnitMixUp(AIR_TEMPERATURE, 1.8, 32.0, "°F taken for °C", "taken out"),
    UnitMixUp(AIR_TEMPERATURE, 1.0 / 1.8, -32.0 / 1.8, "°C taken for °F", "taken out"),
    UnitMixUp(DEW_POINT, 1.8, 32.0, "°F taken for °C", "taken out"),
    UnitMixUp(DEW_POINT, 1.0 / 1.8, -32.0 / 1.8, "°C taken for °F", "taken out"),
    UnitMixUp(RELATIVE_HUMIDITY, 0.01, 0.0, "a fraction taken for percent", "taken out"),
    UnitMixUp(WIND_SPEED, 3.6, 0.0, "km/h taken for m/s", "told"),
    UnitMixUp(WIND_SPEED, 3600.0 / 1609.344, 0.0, "miles an hour taken for m/s", "told"),
    UnitMixUp(WIND_SPEED, 3600.0 / 1852.0, 0.0, "knots taken for m/s", "told"),
    UnitMixUp(SHORTWAVE, 0.001, 0.0, "kW/m² taken for W/m²", "taken out"),
    UnitMixUp(SHORTWAVE, 1.0 / 3.6, 0.0, "kJ/m² an hour and W/m² mixed up", "taken out"),
    UnitMixUp(SHORTWAVE, 3.6, 0.0, "kJ/m² an hour and W/m² mixed up", "taken out"),
)
# Two weeks of hours show temperature, humidity, wind and sun; rain is patchy, and needs a month and enough of it.
HOURS_AT_LEAST, RAIN_HOURS_AT_LEAST, RAIN_AT_LEAST_MM = 336, 720, 60.0
RATIO_WITHIN, RAIN_RATIO_WITHIN = 1.12, 1.5
TEMPERATURE_WITHIN_C, TEMPERATURE_OFF_C = 4.0, 8.0
MIX_UP_BASIS = "factors by definition, margins assumption"
# A gauge that is silent for so long while the model has so much is blocked.
BLOCKED_HOURS, BLOCKED_MM = 336, 30.0


@dataclass(frozen=True)
class Suspicion:
    """What is odd about an instrument beside a model, in words; ``variable`` is not to be used where ``taken_out``."""

    variable: str
    told: str
    why: str
    taken_out: bool


def suspicions(instrument: HourlyWeather, model: HourlyWeather) -> tuple[Suspicion, ...]:
    """What an instrument's columns look like beside a model's: another unit, or a blocked gauge. Status: assumption."""
    found = []
    for variable in VARIABLES:
        one, two = common(_comparable(instrument, variable), _comparable(model, variable))
        called = CALLED[variable][0]
        mix_up = next((mixed for mixed in UNIT_MIX_UPS if mixed.variable == variable and _fits(mixed, one, two)), None)
        if mix_up is not None:
            used = "is not used" if mix_up.does == "taken out" else "is used; check its unit"
            means = f"mean {one.mean():.3g} against {two.mean():.3g} {CALLED[variable][1]}"
            whose = f"{called} of {instrument.source.name}"
            told = f"{whose} looks like {mix_up.meant} ({means} of {model.source.name} in {len(one)} common hours): it {used}."
            found.append(Suspicion(variable, told[0].upper() + told[1:], f"looks like {mix_up.meant}", mix_up.does == "taken out"))
        elif variable == PRECIPITATION and len(one) >= BLOCKED_HOURS:
            last, fell = one[-BLOCKED_HOURS:], float(two[-BLOCKED_HOURS:].sum())
            if last.sum() == 0.0 and fell >= BLOCKED_MM:
                whose = f"{instrument.source.name} has measured no rain in its last {BLOCKED_HOURS // 24} days"
                told = f"{whose}, where {model.source.name} has {fell:.0f} mm: is the gauge blocked? It is used."
                found.append(Suspicion(variable, told[0].upper() + told[1:], "no rain for weeks", False))
    return tuple(found)


def without(frame: HourlyWeather, odd: Sequence[Suspicion]) -> HourlyWeather:
    """The frame without the columns that are not to be used; ``taken_out`` keeps what stood there."""
    for suspicion in odd:
        column = frame.values[suspicion.variable].dropna()
        hours, values = pd.DatetimeIndex(column.index), column.to_numpy(dtype=np.float64)
        taken = TakenOut(
            suspicion.variable, f"{suspicion.why}{TAKEN_OUT}", hours, values, "unit mix-up", "as a model's in another unit", MIX_UP_BASIS
        )
        table = frame.values.assign(**{suspicion.variable: np.nan})
        origins = frame.origins.assign(**{suspicion.variable: np.int8(0)})
        frame = replace(frame, values=table, origins=origins, taken_out=(*frame.taken_out, taken))
    return frame


def _fits(mixed: UnitMixUp, one: Floats, two: Floats) -> bool:
    if len(one) < (RAIN_HOURS_AT_LEAST if mixed.variable == PRECIPITATION else HOURS_AT_LEAST):
        return False
    if mixed.offset:
        off, fits = np.mean(np.abs(one - two)), np.mean(np.abs(one - (mixed.factor * two + mixed.offset)))
        return bool(off > TEMPERATURE_OFF_C and fits < TEMPERATURE_WITHIN_C)
    rain = mixed.variable == PRECIPITATION
    least = 0.0 if not rain else RAIN_AT_LEAST_MM if mixed.factor < 1.0 else RAIN_AT_LEAST_MM / 3.0
    if one.sum() <= 0.0 or two.sum() <= least:
        return False
    within = RAIN_RATIO_WITHIN if rain else RATIO_WITHIN
    return bool(abs(np.log(one.sum() / two.sum() / mixed.factor)) < np.log(within))
