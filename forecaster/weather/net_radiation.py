"""Net radiation of turf hour by hour, from the frame's sunshine; the night keeps the cloud of the late afternoon."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics import radiation
from forecaster.units import MEGAJOULES_PER_WATT_HOUR

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class HourlyRadiation:
    """Net radiation of each hour [MJ/m²/h] and where the sun's radiation had to be estimated; shape (hour,)."""

    net_mj: Floats
    estimated: npt.NDArray[np.bool_]


def hourly_net_radiation(
    index: pd.DatetimeIndex,
    shortwave_wm2: Floats,
    air_temperature_c: Floats,
    vapour_pressure_kpa: Floats,
    *,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
) -> HourlyRadiation:
    """Net radiation of turf in consecutive UTC hours, from arrays of shape (hour,).

    An hour by day without radiation gets the cloud of the hours before (0.6 of a clear sky where there are none) and is named in
    ``estimated``; by night none is needed. NaN where temperature or vapour pressure is missing. Cloud that comes or goes at night is not
    known of. Source: FAO-56 eqs 28-31, 37-40. Status: published; radiation of missing hours: assumption.
    """
    day_of_year = index.day_of_year.to_numpy()
    angle = radiation.solar_time_angle(index.hour.to_numpy() + 0.5, longitude_deg, 0.0, day_of_year)
    potential = radiation.extraterrestrial_radiation_hourly(latitude_deg, day_of_year, angle)
    clear = radiation.clear_sky_radiation(potential, elevation_m)
    measured: Floats = np.maximum(shortwave_wm2, 0.0) * MEGAJOULES_PER_WATT_HOUR

    ratio, _ = radiation.cloud_ratio_of_hours(measured, clear, angle, radiation.sunset_hour_angle(latitude_deg, day_of_year))
    cloud: Floats = np.array(pd.Series(ratio).ffill().fillna(radiation.ASCE_2005_LIMITS.without_sun), dtype=np.float64)
    estimated = np.isnan(measured) & (clear > 0.0)
    shortwave = np.where(np.isnan(measured), cloud * clear, measured)
    lost = radiation.net_longwave_hourly(air_temperature_c, vapour_pressure_kpa, cloud)
    return HourlyRadiation(radiation.net_radiation(radiation.net_shortwave(shortwave), lost), estimated)
