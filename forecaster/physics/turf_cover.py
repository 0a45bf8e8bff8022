"""Turf cover as two states, because dormant is not dead: green cover c and live crowns l, with c <= l.

The equations and all default numbers are assumptions, except the endurance of dormant turf (about five to nine weeks: Kansas
rainout-shelter trial 2017-18).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Cover:
    """Green cover [1], live crowns [1] and drought days counted against the crowns [d], shape (column,)."""

    green: Floats
    crowns: Floats
    drought_days: Floats


@dataclass(frozen=True)
class CoverRates:
    """Time constants and limits; all assumptions. Days unless the name says otherwise."""

    decline_days: float
    recovery_days: float
    decline_reference_mm: float
    crown_drought_stress: float
    crown_payback: float
    crown_loss_per_day: float
    crown_recovery_days: float


def growth_response(temperature_c: Floats, *, starts_c: Floats, full_c: Floats, falls_c: Floats, stops_c: Floats) -> Floats:
    """Growth g(T) [0-1] of turf at a daily mean air temperature: up from ``starts`` to ``full``, down from ``falls`` to ``stops``.

    Broadcasts; NaN in, NaN out. Status: assumption.
    """
    up = np.clip((np.asarray(temperature_c) - starts_c) / (full_c - starts_c), 0.0, 1.0)
    down = np.clip((stops_c - np.asarray(temperature_c)) / (stops_c - falls_c), 0.0, 1.0)
    return up * down


def cover_day(
    cover: Cover,
    rates: CoverRates,
    *,
    stress_coefficient: Floats,
    potential_transpiration_mm: Floats,
    growth: Floats,
    endurance_days: Floats,
) -> Cover:
    """Advance the cover by one day; arrays have shape (column,).

    Green declines with missing transpiration and comes back with water and warmth, at most to the live crowns. Crowns count days of
    Ks below ``crown_drought_stress``; better days pay them back; past the endurance crowns die at a fixed rate and regrow slowly.
    ``potential_transpiration_mm``: Kcb ET0 of full cover [mm]. Status: assumption.
    """
    dry = stress_coefficient < rates.crown_drought_stress
    drought_days = np.where(dry, cover.drought_days + 1.0, np.maximum(cover.drought_days - rates.crown_payback, 0.0))
    dying = drought_days > endurance_days
    regrowth = stress_coefficient * growth * (1.0 - cover.crowns) / rates.crown_recovery_days
    crowns = np.clip(cover.crowns + np.where(dying, -rates.crown_loss_per_day, regrowth), 0.0, 1.0)

    pull = np.maximum(potential_transpiration_mm, 0.0) / rates.decline_reference_mm
    decline = (1.0 - stress_coefficient) * pull * cover.green / rates.decline_days
    recovery = stress_coefficient * growth * np.maximum(crowns - cover.green, 0.0) / rates.recovery_days
    green = np.clip(cover.green - decline + recovery, 0.0, crowns)
    return Cover(green, crowns, drought_days)


def basal_coefficient_of_cover(full_cover_coefficient: Floats, green_cover: Floats, *, smallest: float) -> Floats:
    """Kcb of turf with this green cover [1]: dormant turf hardly transpires; broadcasts. Status: assumption."""
    return smallest + (np.asarray(full_cover_coefficient) - smallest) * green_cover
