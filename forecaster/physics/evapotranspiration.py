"""Reference evapotranspiration of grass, ET0 (FAO-56 chapters 2-4).

Source of every equation here: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56. Status: published.
All arguments are numbers or arrays that broadcast against each other; NaN in, NaN out. ET0 may come out slightly negative
on cold, dark, damp days; whoever uses it as a demand for water decides what to do with that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.physics.humidity import (
    atmospheric_pressure,
    mean_saturation_vapour_pressure,
    psychrometric_constant,
    saturation_vapour_pressure,
    slope_of_saturation,
)
from forecaster.physics.radiation import (
    ASCE_2005_LIMITS,
    MILLIMETRES_PER_MEGAJOULE,
    CloudRatioLimits,
    clear_sky_radiation,
    cloud_ratio,
    extraterrestrial_radiation,
    net_longwave,
    net_radiation,
    net_shortwave,
)

Floats = npt.NDArray[np.float64]
Values = float | Floats

# FAO-56 below eq. 6 and in chapter 4: u2 is not taken below 0.5 m/s, because still air is never quite still over warm grass.
WIND_FLOOR_MS = 0.5
# FAO-56 chapter 3, missing data: 2 m/s, the mean of more than 2000 stations (memory).
WIND_DEFAULT_MS = 2.0
# Below this the logarithm of eq. 47 has no meaning: the grass itself is 0.12 m high.
LOWEST_WIND_HEIGHT_M = 0.5


@dataclass(frozen=True)
class EvaporationDay:
    """What eq. 6 needs; broadcastable arrays."""

    air_temperature_max_c: Values
    air_temperature_min_c: Values
    vapour_pressure_kpa: Values
    wind_speed_2m_ms: Values
    net_radiation_mj: Values
    elevation_m: Values
    soil_heat_flux_mj: Values = 0.0
    """Near zero beneath a grass reference over a day (eq. 42)."""


@dataclass(frozen=True)
class EvaporationHour:
    """What eq. 53 needs, radiation per hour; broadcastable arrays."""

    air_temperature_c: Values
    vapour_pressure_kpa: Values
    wind_speed_2m_ms: Values
    net_radiation_mj: Values
    elevation_m: Values
    soil_heat_flux_mj: Values


@dataclass(frozen=True)
class WeatherDay:
    """A day's weather and place, for the whole chain from solar radiation to ET0; broadcastable arrays."""

    air_temperature_max_c: Values
    air_temperature_min_c: Values
    vapour_pressure_kpa: Values
    wind_speed_2m_ms: Values
    shortwave_mj: Values
    day_of_year: Values
    latitude_deg: Values
    elevation_m: Values


def wind_speed_at_2m(wind_speed_ms: Values, height_m: float) -> Floats:
    """Wind speed at 2 m [m/s] from the one measured at a height [m] over short grass.

    NaN in, NaN out. Raises ValueError for a height below 0.5 m. Source: FAO-56 eq. 47. Status: published.
    """
    if not height_m >= LOWEST_WIND_HEIGHT_M:
        raise ValueError(f"wind height must be at least {LOWEST_WIND_HEIGHT_M} m, got {height_m}")
    return np.asarray(wind_speed_ms, dtype=np.float64)[()] * 4.87 / np.log(67.8 * height_m - 5.42)


def reference_evapotranspiration_from_net_radiation(day: EvaporationDay, *, wind_floor_ms: float = WIND_FLOOR_MS) -> Floats:
    """ET0 of a day [mm/d], Penman-Monteith, from net radiation.

    The mean temperature is the middle of the extremes, as the paper defines it. ``wind_floor_ms``: lowest wind speed taken; 0 for none.
    NaN in, NaN out. Source: FAO-56 eq. 6. Status: published.
    """
    t = (np.asarray(day.air_temperature_max_c) + day.air_temperature_min_c) / 2.0
    u2 = np.maximum(day.wind_speed_2m_ms, wind_floor_ms)
    delta, gamma = slope_of_saturation(t), psychrometric_constant(atmospheric_pressure(day.elevation_m))
    deficit = mean_saturation_vapour_pressure(day.air_temperature_max_c, day.air_temperature_min_c) - day.vapour_pressure_kpa
    energy = MILLIMETRES_PER_MEGAJOULE * delta * (np.asarray(day.net_radiation_mj) - day.soil_heat_flux_mj)
    wind = gamma * 900.0 / (t + 273.0) * u2 * deficit
    return (energy + wind) / (delta + gamma * (1.0 + 0.34 * u2))


def reference_evapotranspiration(
    day: WeatherDay, *, limits: CloudRatioLimits = ASCE_2005_LIMITS, wind_floor_ms: float = WIND_FLOOR_MS
) -> Floats:
    """ET0 of a day [mm/d] from its weather, by the radiation chain (eqs 21-40) and eq. 6; soil heat flux 0.

    ``limits``: where Rs/Rso is kept in the longwave term (see radiation). NaN in, NaN out. Source: FAO-56. Status: published.
    """
    rso = clear_sky_radiation(extraterrestrial_radiation(day.latitude_deg, day.day_of_year), day.elevation_m)
    ratio = cloud_ratio(day.shortwave_mj, rso, limits=limits)
    lost = net_longwave(day.air_temperature_max_c, day.air_temperature_min_c, day.vapour_pressure_kpa, ratio)
    inputs = EvaporationDay(
        air_temperature_max_c=day.air_temperature_max_c,
        air_temperature_min_c=day.air_temperature_min_c,
        vapour_pressure_kpa=day.vapour_pressure_kpa,
        wind_speed_2m_ms=day.wind_speed_2m_ms,
        net_radiation_mj=net_radiation(net_shortwave(day.shortwave_mj), lost),
        elevation_m=day.elevation_m,
    )
    return reference_evapotranspiration_from_net_radiation(inputs, wind_floor_ms=wind_floor_ms)


def reference_evapotranspiration_hourly(hour: EvaporationHour, *, wind_floor_ms: float = WIND_FLOOR_MS) -> Floats:
    """ET0 of an hour [mm/h], Penman-Monteith with Cn 37 and Cd 0.34 day and night.

    ASCE-EWRI 2005 uses Cd 0.24 by day and 0.96 by night: another number. NaN in, NaN out. Source: FAO-56 eq. 53. Status: published.
    """
    t = np.asarray(hour.air_temperature_c, dtype=np.float64)[()]
    u2 = np.maximum(hour.wind_speed_2m_ms, wind_floor_ms)
    delta, gamma = slope_of_saturation(t), psychrometric_constant(atmospheric_pressure(hour.elevation_m))
    energy = MILLIMETRES_PER_MEGAJOULE * delta * (np.asarray(hour.net_radiation_mj) - hour.soil_heat_flux_mj)
    wind = gamma * 37.0 / (t + 273.0) * u2 * (saturation_vapour_pressure(t) - hour.vapour_pressure_kpa)
    return (energy + wind) / (delta + gamma * (1.0 + 0.34 * u2))


def hargreaves_evapotranspiration(air_temperature_max_c: Values, air_temperature_min_c: Values, extraterrestrial_mj: Values) -> Floats:
    """ET0 of a day [mm/d] from temperatures [°C] and Ra [MJ/m²/d] alone; good over weeks rather than single days.

    NaN in, NaN out. Source: FAO-56 eq. 52 (Hargreaves). Status: published.
    """
    warm, cold = np.asarray(air_temperature_max_c), np.asarray(air_temperature_min_c)
    ra_mm = MILLIMETRES_PER_MEGAJOULE * np.asarray(extraterrestrial_mj)
    return 0.0023 * ((warm + cold) / 2.0 + 17.8) * np.sqrt(warm - cold) * ra_mm


def soil_heat_flux_of_month(previous_month_c: Values, next_month_c: Values) -> Floats:
    """Mean soil heat flux of a month G [MJ/m²/d] from the mean temperatures of the months beside it. Source: FAO-56 eq. 43."""
    return 0.07 * (np.asarray(next_month_c, dtype=np.float64)[()] - previous_month_c)


def soil_heat_flux_of_month_so_far(previous_month_c: Values, this_month_c: Values) -> Floats:
    """The same where the next month is not known yet [MJ/m²/d]. Source: FAO-56 eq. 44. Status: published."""
    return 0.14 * (np.asarray(this_month_c, dtype=np.float64)[()] - previous_month_c)


def soil_heat_flux_of_hour(net_radiation_mj: Values, *, daylight: bool | npt.NDArray[np.bool_]) -> Floats:
    """Soil heat flux of an hour G [MJ/m²/h] from net radiation and whether the sun is up. Source: FAO-56 eqs 45 and 46."""
    return np.where(daylight, 0.1, 0.5)[()] * np.asarray(net_radiation_mj, dtype=np.float64)[()]
