"""One surface judged: every rule over every day, from the first with weather to the end of the outlook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.documents import WeatherStatus
from forecaster.ground.ground import Ground
from forecaster.ground.surface import Surface
from forecaster.quantities import Origin
from forecaster.risk.evaluate import RuleDay, allowed_months, evaluate
from forecaster.risk.measures import COLD_SEASON_DAYS, PREVENTIVE_THRESHOLD_C, SurfaceColumns, risk_quantities
from forecaster.risk.rule import Rule
from forecaster.soil.simulate import Simulation
from forecaster.soil.spells import days_in_a_row
from forecaster.weather.daily import DailyWeather
from forecaster.weather.frame import ORIGINS_BY_CODE

Floats = npt.NDArray[np.float64]

OUTLOOK_DAYS = 14


@dataclass(frozen=True)
class SurfaceRun:
    """Everything one cycle computed for one surface.

    ``daily`` and ``simulation`` cover the same days, ``irrigation_mm`` has shape (day,) [mm/d]; ``sound`` and ``band`` are column numbers.
    ``simulated_from``: first simulated day, earlier than ``daily`` where the run went on from a stored state.
    """

    ground: Ground
    surface: Surface
    daily: DailyWeather
    simulation: Simulation
    sound: int
    band: int
    irrigation_mm: Floats
    weather: WeatherStatus
    simulated_from: date


@dataclass(frozen=True)
class Judgement:
    """Quantities and rules of a surface over every day from the first with weather to the end of the outlook.

    Arrays have shape (day,), NaN where there is no weather; ``complete``: the day is known; ``numbers``: per day its row in
    the simulation, -1 where it has none. ``by_rule``: what each rule that applies here says, day by day.
    """

    days: tuple[date, ...]
    numbers: tuple[int, ...]
    complete: npt.NDArray[np.bool_]
    origins: tuple[Origin, ...]
    quantities: Mapping[str, Floats]
    by_rule: tuple[tuple[Rule, tuple[RuleDay, ...]], ...]


def applies(rule: Rule, surface: Surface) -> bool:
    """Whether a rule looks at this surface at all: it may ask for surveyed rings of some type."""
    return not rule.ring_types or any(ring.type in rule.ring_types for ring in surface.rings)


def judge(run: SurfaceRun, rules: Sequence[Rule], *, today: date) -> Judgement:
    """Run every rule that applies over the days of a run, padded with missing days to the end of the outlook."""
    daily, soil = run.daily, run.surface.root_zone
    measured = risk_quantities(
        daily,
        run.simulation,
        SurfaceColumns(
            sound=run.sound,
            band=run.band,
            irrigation_mm=run.irrigation_mm,
            critical_water_sound_m3m3=soil.critical_water_sound_m3m3,
            critical_water_band_m3m3=soil.critical_water_band_m3m3,
            potential_repellency_band_log10_s=soil.potential_repellency_band_log10_s,
            ring_count=len(run.surface.rings),
        ),
    )
    first = min((*daily.days[:1], today))
    last = max((*daily.days[-1:], today + timedelta(days=OUTLOOK_DAYS - 1)))
    days = tuple(first + timedelta(days=n) for n in range((last - first).days + 1))
    row = {day: number for number, day in enumerate(daily.days)}
    numbers = tuple(row.get(day, -1) for day in days)
    quantities = {name: np.array([series[n] if n >= 0 else np.nan for n in numbers]) for name, series in measured.items()}
    complete = np.array([n >= 0 and bool(daily.complete[n]) for n in numbers])
    origins = tuple(
        ORIGINS_BY_CODE[int(daily.origin_code[n])] if known else Origin.MISSING for n, known in zip(numbers, complete, strict=True)
    )
    southern = run.ground.latitude < 0.0
    by_rule = tuple(
        (rule, evaluate(rule, days=days, quantities=quantities, known=complete, southern=southern))
        for rule in rules
        if applies(rule, run.surface)
    )
    return Judgement(days, numbers, complete, origins, quantities, by_rule)


def cold_season_unseen(run: SurfaceRun, judged: Judgement, *, today: date) -> bool:
    """Whether a preventive rule would ask for the spring rise of soil temperature now, and no cold season is there to count from."""
    southern = run.ground.latitude < 0.0
    asking = any(
        rule.quantity == "preventive_season_day" and (not rule.months or today.month in allowed_months(rule.months, southern=southern))
        for rule, _ in judged.by_rule
    )
    mean = judged.quantities["soil_temperature_5_days_c"]
    known = ~np.isnan(mean)
    below = days_in_a_row(np.where(known, mean, np.inf) < PREVENTIVE_THRESHOLD_C, known)
    return asking and int(below.max(initial=0)) < COLD_SEASON_DAYS
