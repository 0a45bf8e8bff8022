"""The series that a simulation can keep: their names, and how the state is told in them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from forecaster.soil import day
from forecaster.soil.day_inputs import Column

Floats = npt.NDArray[np.float64]

# States are described from what moves; the others are amounts of the day.
STATES = (
    "depletion_mm",
    "available_water_fraction",
    "surface_water_m3m3",
    "surface_available_fraction",
    "repellency_log10_s",
    "green_cover",
    "live_crowns",
    "drought_days",
    "snow_mm",
    "intercepted_mm",
)
AMOUNTS = (
    "stress_coefficient",
    "interception_mm",
    "infiltration_mm",
    "water_lost_mm",
    "runoff_mm",
    "bypass_mm",
    "drainage_mm",
    "evaporation_mm",
    "transpiration_mm",
    "flush_hazard_per_day",
)
SERIES = (*STATES, *AMOUNTS)


def described(name: str, now: day.Moving, column: Column) -> Floats:
    """One of the states, in the words of the series."""
    if name == "depletion_mm":
        return day.root_zone_depletion(now)
    if name == "available_water_fraction":
        return day.available_water_fraction(now, column)
    if name == "surface_water_m3m3":
        return day.surface_water(now, column)
    if name == "surface_available_fraction":
        return day.surface_available_fraction(now, column)
    return {
        "repellency_log10_s": now.repellency_log10_s,
        "green_cover": now.cover.green,
        "live_crowns": now.cover.crowns,
        "drought_days": now.cover.drought_days,
        "snow_mm": now.snow_mm,
        "intercepted_mm": now.intercepted_mm,
    }[name]
