"""From the hourly frame to the ground's local days, with reference evapotranspiration. (contract; see brief)"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class DailyWeather:
    """Weather of consecutive local days; arrays have shape (day,), NaN where the day is missing.

    ``complete``: False where rain or ET0 could not be had for the day (too few hours): the soil state is then held.
    ``estimated``: per day, what missing-data procedure was used. ``origin_code``: the least sure origin among the day's hours.
    """

    days: tuple[date, ...]
    rain_mm: Floats
    air_temperature_mean_c: Floats
    air_temperature_min_c: Floats
    air_temperature_max_c: Floats
    vapour_pressure_kpa: Floats
    relative_humidity_min_percent: Floats
    wind_speed_2m_ms: Floats
    shortwave_mj: Floats
    soil_temperature_c: Floats
    """At 5 cm: the provider's, or simulated from air temperature and radiation."""
    et0_mm: Floats
    complete: npt.NDArray[np.bool_]
    origin_code: npt.NDArray[np.int8]
    estimated: tuple[tuple[str, ...], ...]
