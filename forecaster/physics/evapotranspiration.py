"""Reference evapotranspiration of grass, ET0 (FAO-56 chapters 2-4).

Source of every equation here: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56. Status: published.
All arguments are numbers or arrays that broadcast against each other; NaN in, NaN out. A number (not an array) outside its bounds raises
ValueError: see bounds. ET0 may come out slightly negative
on cold, dark, damp days; whoever uses it as a demand for water decides what to do with that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from forecaster.physics import bounds
from forecaster.physics.humidity import (
    SLOPE_CONSTANT_KPA_C,
    atmospheric_pressure,
    mean_saturation_vapour_pressure,
    psychrometric_constant,
    saturation_vapour_pressure,
    slope_of_saturation,
)
from forecaster.physics.radiation import (
    ASCE_2005_LIMITS,
    MILLIMETRES_PER_MEGAJOULE,
    STEFAN_BOLTZMANN_MJ_PER_DAY,
    CloudRatioLimits,
    clear_sky_radiation,
    cloud_ratio,
    extraterrestrial_radiation,
    net_longwave,
    net_longwave_hourly,
    net_radiation,
    net_shortwave,
)

Floats = npt.NDArray[np.float64]
Values = float | Floats

# FAO-56 below eq. 6 and in chapter 4: u2 is not taken below 0.5 m/s, because still air is never quite still over warm grass.
WIND_FLOOR_MS = 0.5
# FAO-56 chapter 3, missing data: 2 m/s, the mean of more than 2000 stations (memory).
WIND_DEFAULT_MS = 2.0
# Long series are worked through in blocks of this many values, which stay in the processor's cache.
BLOCK = 16384


@dataclass(frozen=True)
class Variant:
    """A published form of the reference equation: same structure, other constants."""

    name: str
    described: str
    wind_coefficient_daily: float
    """Cd of a day [s/m]; Cn is 900 in both."""
    wind_coefficient_day: float
    wind_coefficient_night: float
    """Cd of an hour [s/m]; Cn is 37 in both."""
    slope_constant_kpa_c: float
    stefan_boltzmann_mj: float
    limits: CloudRatioLimits
    wind_floor_ms: float
    night_by_net_radiation: bool
    """Night is where net radiation is below 0; otherwise where the sun is down."""


# FAO-56 itself only caps Rs/Rso at 1; the lower limit is that of ASCE-EWRI 2005, which the libraries share (see radiation).
FAO56 = Variant(
    "fao56", "FAO-56 (1998), eqs 6 and 53", 0.34, 0.34, 0.34, SLOPE_CONSTANT_KPA_C, STEFAN_BOLTZMANN_MJ_PER_DAY, ASCE_2005_LIMITS,
    WIND_FLOOR_MS, night_by_net_radiation=False,
)  # fmt: skip
# ASCE-EWRI 2005, table 1, short reference: Cn 900 and 37, Cd 0.34, by hour 0.24 and 0.96; eq. 5 and σ 4.901e-9 (memory; agrees with refet).
ASCE_SHORT = Variant(
    "asce-short", "ASCE-EWRI (2005) short reference", 0.34, 0.24, 0.96, 2503.0, 4.901e-9, ASCE_2005_LIMITS,
    0.0, night_by_net_radiation=True,
)  # fmt: skip
VARIANTS = {variant.name: variant for variant in (FAO56, ASCE_SHORT)}


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
class WeatherHour:
    """An hour's weather with its sun, radiation per hour, for the chain from solar radiation to ET0; broadcastable arrays."""

    air_temperature_c: Values
    vapour_pressure_kpa: Values
    wind_speed_2m_ms: Values
    shortwave_mj: Values
    cloud_ratio: Values
    """Rs/Rso, carried through the night: see radiation.cloud_ratio_of_hours."""
    extraterrestrial_mj: Values
    """0 where the sun is down."""
    elevation_m: Values


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

    NaN in, NaN out. Raises ValueError for a height outside 0.5 to 200 m. Source: FAO-56 eq. 47. Status: published.
    """
    bounds.WIND_HEIGHT.require(height_m)
    bounds.WIND_SPEED.require_unless_missing(wind_speed_ms)
    return np.asarray(wind_speed_ms, dtype=np.float64)[()] * 4.87 / np.log(67.8 * height_m - 5.42)


def reference_evapotranspiration_from_net_radiation(
    day: EvaporationDay, *, variant: Variant = FAO56, wind_floor_ms: float | None = None
) -> Floats:
    """ET0 of a day [mm/d], Penman-Monteith, from net radiation.

    The mean temperature is the middle of the extremes, as the paper defines it. ``wind_floor_ms``: lowest wind speed taken; 0 for none,
    None for the variant's. NaN in, NaN out. Source: FAO-56 eq. 6. Status: published.
    """
    bounds.WIND_SPEED.require_unless_missing(day.wind_speed_2m_ms)
    bounds.VAPOUR_PRESSURE.require_unless_missing(day.vapour_pressure_kpa)
    warm, cold = np.asarray(day.air_temperature_max_c), np.asarray(day.air_temperature_min_c)
    u2 = np.maximum(day.wind_speed_2m_ms, variant.wind_floor_ms if wind_floor_ms is None else wind_floor_ms)
    t = (warm + cold) / 2.0
    delta = slope_of_saturation(t, constant_kpa_c=variant.slope_constant_kpa_c)
    gamma = psychrometric_constant(atmospheric_pressure(day.elevation_m))
    deficit = mean_saturation_vapour_pressure(warm, cold) - day.vapour_pressure_kpa
    energy = MILLIMETRES_PER_MEGAJOULE * delta * (np.asarray(day.net_radiation_mj) - day.soil_heat_flux_mj)
    wind = gamma * 900.0 / (t + 273.0) * u2 * deficit
    return (energy + wind) / (delta + gamma * (1.0 + variant.wind_coefficient_daily * u2))


def reference_evapotranspiration(
    day: WeatherDay, *, variant: Variant = FAO56, limits: CloudRatioLimits | None = None, wind_floor_ms: float | None = None
) -> Floats:
    """ET0 of a day [mm/d] from its weather, by the radiation chain (eqs 21-40) and eq. 6; soil heat flux 0.

    ``limits`` of Rs/Rso in the longwave term (see radiation) and ``wind_floor_ms``: None for the variant's. NaN in, NaN out. Raises
    ValueError for a scalar day, latitude or elevation outside its bounds. Source: FAO-56; variant asce-short: ASCE-EWRI 2005. Status:
    published.
    """
    chosen = replace(
        variant,
        limits=variant.limits if limits is None else limits,
        wind_floor_ms=variant.wind_floor_ms if wind_floor_ms is None else wind_floor_ms,
    )
    inputs = {field.name: np.asarray(getattr(day, field.name)) for field in fields(day)}
    shape = np.broadcast_shapes(*(values.shape for values in inputs.values()))
    size = math.prod(shape)
    if size <= BLOCK:
        return _whole_chain(day, chosen)
    # Blocks of rows: an input that has the first axis is cut along it, the others are broadcast as they are.
    rows = max(1, BLOCK * shape[0] // size)
    result = np.empty(shape)
    for start in range(0, shape[0], rows):
        block = slice(start, start + rows)
        cut = {n: v[block] if v.ndim == len(shape) and v.shape[0] > 1 else v for n, v in inputs.items()}
        result[block] = _whole_chain(WeatherDay(**cut), chosen)
    return result


def _whole_chain(day: WeatherDay, variant: Variant) -> Floats:
    rso = clear_sky_radiation(extraterrestrial_radiation(day.latitude_deg, day.day_of_year), day.elevation_m)
    lost = net_longwave(
        day.air_temperature_max_c,
        day.air_temperature_min_c,
        day.vapour_pressure_kpa,
        cloud_ratio(day.shortwave_mj, rso, limits=variant.limits),
        stefan_boltzmann_mj=variant.stefan_boltzmann_mj,
    )
    inputs = EvaporationDay(
        air_temperature_max_c=day.air_temperature_max_c,
        air_temperature_min_c=day.air_temperature_min_c,
        vapour_pressure_kpa=day.vapour_pressure_kpa,
        wind_speed_2m_ms=day.wind_speed_2m_ms,
        net_radiation_mj=net_radiation(net_shortwave(day.shortwave_mj), lost),
        elevation_m=day.elevation_m,
    )
    return reference_evapotranspiration_from_net_radiation(inputs, variant=variant)


def reference_evapotranspiration_hourly(hour: EvaporationHour, *, variant: Variant = FAO56, wind_floor_ms: float | None = None) -> Floats:
    """ET0 of an hour [mm/h], Penman-Monteith with Cn 37, from net radiation.

    Cd is 0.34 day and night in FAO-56; ASCE-EWRI 2005 has 0.24, and 0.96 where net radiation is below 0: another number. NaN in, NaN out.
    Source: FAO-56 eq. 53; ASCE-EWRI 2005 table 1. Status: published.
    """
    bounds.WIND_SPEED.require_unless_missing(hour.wind_speed_2m_ms)
    bounds.VAPOUR_PRESSURE.require_unless_missing(hour.vapour_pressure_kpa)
    t = np.asarray(hour.air_temperature_c, dtype=np.float64)[()]
    net = np.asarray(hour.net_radiation_mj, dtype=np.float64)[()]
    u2 = np.maximum(hour.wind_speed_2m_ms, variant.wind_floor_ms if wind_floor_ms is None else wind_floor_ms)
    delta = slope_of_saturation(t, constant_kpa_c=variant.slope_constant_kpa_c)
    gamma = psychrometric_constant(atmospheric_pressure(hour.elevation_m))
    cd = np.where(net < 0.0, variant.wind_coefficient_night, variant.wind_coefficient_day)
    energy = MILLIMETRES_PER_MEGAJOULE * delta * (net - hour.soil_heat_flux_mj)
    wind = gamma * 37.0 / (t + 273.0) * u2 * (saturation_vapour_pressure(t) - hour.vapour_pressure_kpa)
    return (energy + wind) / (delta + gamma * (1.0 + cd * u2))


def reference_evapotranspiration_of_hour(hour: WeatherHour, *, variant: Variant = FAO56) -> Floats:
    """ET0 of an hour [mm/h] from its weather: net radiation (eqs 38-40), soil heat flux by day and by night (eqs 45, 46), eq. 53.

    NaN in, NaN out. Raises ValueError for a scalar elevation outside its bounds. Source: FAO-56; variant asce-short: ASCE-EWRI 2005.
    Status: published.
    """
    lost = net_longwave_hourly(
        hour.air_temperature_c, hour.vapour_pressure_kpa, hour.cloud_ratio, stefan_boltzmann_mj=variant.stefan_boltzmann_mj
    )
    net = net_radiation(net_shortwave(hour.shortwave_mj), lost)
    daylight = net >= 0.0 if variant.night_by_net_radiation else np.asarray(hour.extraterrestrial_mj) > 0.0
    inputs = EvaporationHour(
        air_temperature_c=hour.air_temperature_c,
        vapour_pressure_kpa=hour.vapour_pressure_kpa,
        wind_speed_2m_ms=hour.wind_speed_2m_ms,
        net_radiation_mj=net,
        elevation_m=hour.elevation_m,
        soil_heat_flux_mj=soil_heat_flux_of_hour(net, daylight=daylight),
    )
    return reference_evapotranspiration_hourly(inputs, variant=variant)


def hargreaves_evapotranspiration(air_temperature_max_c: Values, air_temperature_min_c: Values, extraterrestrial_mj: Values) -> Floats:
    """ET0 of a day [mm/d] from temperatures [°C] and Ra [MJ/m²/d] alone; good over weeks rather than single days.

    NaN in, NaN out, and NaN where the lowest temperature is above the highest. Source: FAO-56 eq. 52 (Hargreaves). Status: published.
    """
    bounds.TEMPERATURE.require_unless_missing(air_temperature_max_c)
    bounds.TEMPERATURE.require_unless_missing(air_temperature_min_c)
    warm, cold = np.asarray(air_temperature_max_c), np.asarray(air_temperature_min_c)
    ra_mm = MILLIMETRES_PER_MEGAJOULE * np.asarray(extraterrestrial_mj)
    return 0.0023 * ((warm + cold) / 2.0 + 17.8) * np.sqrt(np.where(warm < cold, np.nan, warm - cold)) * ra_mm


def soil_heat_flux_of_month(previous_month_c: Values, next_month_c: Values) -> Floats:
    """Mean soil heat flux of a month G [MJ/m²/d] from the mean temperatures of the months beside it. Source: FAO-56 eq. 43."""
    return 0.07 * (np.asarray(next_month_c, dtype=np.float64)[()] - previous_month_c)


def soil_heat_flux_of_month_so_far(previous_month_c: Values, this_month_c: Values) -> Floats:
    """The same where the next month is not known yet [MJ/m²/d]. Source: FAO-56 eq. 44. Status: published."""
    return 0.14 * (np.asarray(this_month_c, dtype=np.float64)[()] - previous_month_c)


def soil_heat_flux_of_hour(net_radiation_mj: Values, *, daylight: bool | npt.NDArray[np.bool_]) -> Floats:
    """Soil heat flux of an hour G [MJ/m²/h] from net radiation and whether the sun is up. Source: FAO-56 eqs 45 and 46."""
    return np.where(daylight, 0.1, 0.5)[()] * np.asarray(net_radiation_mj, dtype=np.float64)[()]
