"""What the weather members say of a surface's coming days: how far they lie apart, and how many of them reach the level of each rule.

This is a count of members, not a calibrated probability: members of one model lie too close together, and all share one soil.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.ground.ground import Ground
from forecaster.ground.surface import Surface
from forecaster.member_documents import MemberChance, MemberDay, MemberSpread
from forecaster.risk.evaluate import allowed_months
from forecaster.risk.judgement import OUTLOOK_DAYS, applies
from forecaster.risk.measures import SurfaceColumns, risk_quantities
from forecaster.risk.rule import Condition, Rule
from forecaster.soil.simulate import Simulation
from forecaster.weather.daily import DailyWeather

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

PERCENTILES = (10.0, 50.0, 90.0)
SURFACE_WATER = {"sound_surface_water_m3m3": "sound_margin_to_critical_m3m3", "band_surface_water_m3m3": "band_margin_to_critical_m3m3"}
SHOWN = (
    "rain_mm",
    "et0_mm",
    "sound_available_water_fraction",
    "band_available_water_fraction",
    "band_repellency_log10_s",
    "ring_contrast",
    "flush_chance_7_days",
)
"""Quantities whose spread is kept, with the surface water of both turf states."""
# A day that fewer of the members know says too little about their spread. Status: assumption.
KNOWN_SHARE_AT_LEAST = 0.5


@dataclass(frozen=True)
class MemberRun:
    """Everything computed for one surface under all members; past days are the same in each.

    ``daily``: arrays of shape (day, member). ``simulation``: series of shape (day, column), of which ``sound`` and ``band``, shape
    (member,), number this surface's. ``irrigation_mm``: shape (day,) [mm/d].
    """

    ground: Ground
    surface: Surface
    daily: DailyWeather
    simulation: Simulation
    sound: npt.NDArray[np.intp]
    band: npt.NDArray[np.intp]
    irrigation_mm: Floats


def member_spread(run: MemberRun, rules: Sequence[Rule], *, today: date) -> dict[date, MemberDay]:
    """The spread of the members on today and the coming days, by day; days that too few of them know are left out.

    A member counts for a rule where the rule's quantity lies at or beyond its ``raise_at`` and all its conditions hold on that very day:
    how many days in a row a rule asks for does not count. Status: definition; percentiles 10, 50 and 90: own choice.
    """
    soil = run.surface.root_zone
    quantities = risk_quantities(
        run.daily,
        run.simulation,
        SurfaceColumns(
            sound=run.sound,
            band=run.band,
            irrigation_mm=run.irrigation_mm[:, None],
            critical_water_sound_m3m3=soil.critical_water_sound_m3m3,
            critical_water_band_m3m3=soil.critical_water_band_m3m3,
            potential_repellency_band_log10_s=soil.potential_repellency_band_log10_s,
            ring_count=len(run.surface.rings),
        ),
    )
    critical = (soil.critical_water_sound_m3m3, soil.critical_water_band_m3m3)
    shown = {name: quantities[name] for name in SHOWN}
    shown |= {name: quantities[margin] + at for (name, margin), at in zip(SURFACE_WATER.items(), critical, strict=True)}
    horizon = today + timedelta(days=OUTLOOK_DAYS - 1)
    asked = [rule for rule in rules if applies(rule, run.surface)]
    southern = run.ground.latitude < 0.0
    told = [
        number
        for number, day in enumerate(run.daily.days)
        if today <= day <= horizon and run.daily.complete[number].mean() >= KNOWN_SHARE_AT_LEAST
    ]
    spreads = _spreads({name: values[told] for name, values in shown.items()})
    found = {}
    for row, number in enumerate(told):
        day, known = run.daily.days[number], run.daily.complete[number]
        counts = [
            (rule, int((reaches(rule, quantities, number) & known).sum()))
            for rule in asked
            if not rule.months or day.month in allowed_months(rule.months, southern=southern)
        ]
        found[day] = MemberDay(
            members=int(known.sum()),
            spread=spreads[row],
            chances=tuple(
                MemberChance(rule_id=rule.id, title=rule.title, members=count)
                for rule, count in sorted(counts, key=lambda pair: -pair[1])
                if count
            ),
        )
    return found


def reaches(rule: Rule, quantities: Mapping[str, Floats], day: int) -> Flags:
    """Which members have a rule's quantity at or beyond its level, and its conditions, on a day; shape (member,). NaN never does."""
    values = quantities[rule.quantity][day]
    there = values >= rule.raise_at if rule.rising else values <= rule.raise_at
    for condition in rule.conditions:
        there = there & _holds(condition, quantities[condition.quantity][day])
    return there


def _holds(condition: Condition, values: Floats) -> Flags:
    above = np.isfinite(values) if condition.at_least is None else values >= condition.at_least
    below = np.isfinite(values) if condition.at_most is None else values <= condition.at_most
    return above & below


def _spreads(shown: Mapping[str, Floats]) -> list[tuple[MemberSpread, ...]]:
    """The spread of each quantity on each day; a quantity that no member has on a day is left out there."""
    stacked = np.stack(list(shown.values()), axis=1)  # (day, quantity, member)
    some = np.isfinite(stacked).any(axis=-1)
    levels = np.full((len(PERCENTILES), *stacked.shape[:2]), np.nan)
    levels[:, some] = np.nanpercentile(stacked[some], PERCENTILES, axis=-1)
    found = []
    for day in range(len(stacked)):
        spreads = []
        for number, name in enumerate(shown):
            low, median, high = (round(float(level), 4) for level in levels[:, day, number])
            if math.isfinite(median):
                spreads.append(MemberSpread(quantity=name, low=low, median=median, high=high))
        found.append(tuple(spreads))
    return found
