"""Weather × columns → soil state, day by day. (contract; the body is being written)"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Forcing:
    """What drives the columns; every array has shape (day, column). NaN only on days that are not ``known``."""

    rain_mm: Floats
    irrigation_mm: Floats
    et0_mm: Floats
    air_temperature_mean_c: Floats
    air_temperature_min_c: Floats
    soil_temperature_c: Floats
    wind_speed_2m_ms: Floats
    relative_humidity_min_percent: Floats
    known: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class SoilState:
    """State of every column at the end of a local day, with the memory that fruiting needs.

    Shapes: (column,), and (look-back day, column) for the ``recent_*`` arrays, oldest first.
    """

    exposed_depletion_mm: Floats
    surface_depletion_mm: Floats
    lower_depletion_mm: Floats
    repellency_log10_s: Floats
    green_cover: Floats
    live_crowns: Floats
    drought_days: Floats
    recent_water_in_mm: Floats
    recent_available_fraction: Floats
    recent_stress_coefficient: Floats
    recent_soil_temperature_c: Floats
    recent_air_temperature_min_c: Floats


@dataclass(frozen=True)
class Simulation:
    """Series of shape (day, column): states at the end of the day, amounts over the day.

    On a day that is not known the states repeat the day before and the amounts are NaN.
    """

    depletion_mm: Floats
    available_water_fraction: Floats
    surface_water_m3m3: Floats
    surface_available_fraction: Floats
    stress_coefficient: Floats
    repellency_log10_s: Floats
    green_cover: Floats
    live_crowns: Floats
    drought_days: Floats
    infiltration_mm: Floats
    water_lost_mm: Floats
    runoff_mm: Floats
    bypass_mm: Floats
    drainage_mm: Floats
    evaporation_mm: Floats
    transpiration_mm: Floats
    flush_hazard_per_day: Floats
    final: SoilState
