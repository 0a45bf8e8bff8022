"""Turf cover as two states, because dormant is not dead: green cover c and live crowns l, with c <= l.

The equations and all default numbers are assumptions, except the endurance of dormant turf (about five to nine weeks: Kansas
rainout-shelter trial 2017-18).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.physics.limits import between, choose, larger, unit_slope

Floats = npt.NDArray[np.float64]


class Cover(NamedTuple):
    """Green cover [1], live crowns [1] and drought days counted against the crowns [d], shape (column,)."""

    green: Floats
    crowns: Floats
    drought_days: Floats


class CoverRates(NamedTuple):
    """Time constants and limits; all assumptions. Days unless the name says otherwise."""

    decline_days: float
    recovery_days: float
    decline_reference_mm: float
    crown_drought_stress: float
    crown_payback: float
    crown_loss_per_day: float
    crown_recovery_days: float


def growth_response(temperature_c: Floats, *, starts_c: Floats, rise_per_c: Floats, stops_c: Floats, fall_per_c: Floats) -> Floats:
    """Growth g(T) [0-1] of turf at a daily mean air temperature: up from ``starts`` with ``rise_per_c``, down to ``stops``.

    ``fall_per_c`` is negative: the slope of the way down. Broadcasts; NaN in, NaN out. Status: assumption.
    """
    return unit_slope(temperature_c, starts_c, rise_per_c) * unit_slope(temperature_c, stops_c, fall_per_c)


def cover_day(
    cover: Cover,
    rates: CoverRates,
    *,
    stress_coefficient: Floats,
    potential_transpiration_mm: Floats,
    growth: Floats,
    endurance_days: Floats,
    cold: Floats | float = 0.0,
) -> Cover:
    """Advance the cover by one day; arrays have shape (column,).

    Green declines with missing transpiration and comes back with water and warmth, at most to the live crowns. Crowns count days of
    Ks below ``crown_drought_stress``; better days pay them back; past the endurance crowns die on each further dry day and regrow slowly.
    ``potential_transpiration_mm``: Kcb ET0 of full cover [mm]. ``cold``: share of full decline that cold asks of turf that goes dormant
    by it
    [0-1], see ``cold_dormancy``. Status: assumption.
    """
    dry = stress_coefficient < rates.crown_drought_stress
    # One more day of drought, or some paid back; a multiplication costs less than a choice.
    drought_days = larger(cover.drought_days + ((1.0 + rates.crown_payback) * dry - rates.crown_payback), 0.0)
    # Rain stops the dying at once, however long the drought was; the count is paid back slowly all the same.
    dying = dry & (drought_days > endurance_days)
    regrowth = stress_coefficient * growth * (1.0 - cover.crowns) * (1.0 / rates.crown_recovery_days)
    crowns = between(cover.crowns + choose(dying, -rates.crown_loss_per_day, regrowth), 0.0, 1.0)

    pull = larger(potential_transpiration_mm, 0.0) * (1.0 / rates.decline_reference_mm)
    decline = larger((1.0 - stress_coefficient) * pull, cold) * cover.green * (1.0 / rates.decline_days)
    recovery = stress_coefficient * growth * larger(crowns - cover.green, 0.0) * (1.0 / rates.recovery_days)
    green = between(cover.green - decline + recovery, 0.0, crowns)
    return Cover(green, crowns, drought_days)


def cold_dormancy(temperature_c: Floats, *, dormant_below_c: Floats) -> Floats:
    """Share of full decline [0-1] that a daily mean air temperature asks of turf going dormant by cold: all of it 4 °C below the limit.

    Broadcasts; NaN in, NaN out. Warm-season turf browns in winter (common practice, no source); the ramp is an assumption.
    """
    return unit_slope(temperature_c, dormant_below_c, -1.0 / 4.0)


def basal_coefficient_of_cover(full_cover_coefficient: Floats, green_cover: Floats, *, smallest: float) -> Floats:
    """Kcb of turf with this green cover [1]: dormant turf hardly transpires; broadcasts. Status: assumption."""
    return smallest + (full_cover_coefficient - smallest) * green_cover
