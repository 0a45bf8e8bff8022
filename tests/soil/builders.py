"""Columns and forcings made by hand for the tests of the simulation."""

from __future__ import annotations

import numpy as np

from forecaster.soil.columns import ColumnParameters, stack
from forecaster.soil.state import Forcing

# The soil of the expected behaviour: sandy loam of a rain-fed pitch.
SANDY_LOAM = {
    "field_capacity_m3m3": 0.23,
    "wilting_point_m3m3": 0.10,
    "saturation_m3m3": 0.40,
    "root_depth_m": 0.20,
    "surface_depth_m": 0.05,
    "readily_evaporable_mm": 4.0,
    "drains_per_day": 0.6,
    "basal_crop_coefficient": 0.90,
    "depletion_fraction": 0.40,
    "ground_cover": 0.95,
    "turf_height_m": 0.03,
    "growth_starts_c": 4.0,
    "growth_full_c": 14.0,
    "growth_falls_c": 26.0,
    "growth_stops_c": 34.0,
    "critical_water_m3m3": 0.10 + 0.45 * 0.13,
}
SOUND = SANDY_LOAM | {"potential_repellency_log10_s": 1.5, "crown_endurance_days": 60.0}
BAND = SANDY_LOAM | {"potential_repellency_log10_s": 4.0, "crown_endurance_days": 45.0}


def pair(**changes: float) -> ColumnParameters:
    """A sound column and a band column of the same soil."""
    return stack([SOUND | changes, BAND | changes])


def forcing(
    rain_mm: np.ndarray,
    et0_mm: np.ndarray | float,
    temperature_c: np.ndarray | float,
    *,
    irrigation_mm: np.ndarray | float = 0.0,
    columns: int = 2,
    known: np.ndarray | None = None,
) -> Forcing:
    """The same weather for every column; nights five degrees below the mean, wind 2 m/s, minimum humidity 45 %."""
    days = len(rain_mm)

    def spread(values: np.ndarray | float) -> np.ndarray:
        return np.repeat(np.broadcast_to(np.asarray(values, dtype=float), (days,))[:, None], columns, axis=1)

    temperature = spread(temperature_c)
    return Forcing(
        rain_mm=spread(rain_mm),
        irrigation_mm=spread(irrigation_mm),
        et0_mm=spread(et0_mm),
        air_temperature_mean_c=temperature,
        air_temperature_min_c=temperature - 5.0,
        soil_temperature_c=temperature,
        wind_speed_2m_ms=spread(2.0),
        relative_humidity_min_percent=spread(45.0),
        known=np.ones((days, columns), dtype=bool) if known is None else np.repeat(known[:, None], columns, axis=1),
    )
