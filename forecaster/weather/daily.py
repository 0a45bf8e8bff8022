"""From the hourly frame to the ground's local days, with reference evapotranspiration."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics import evapotranspiration, humidity, radiation, soil_heat
from forecaster.units import MEGAJOULES_PER_WATT_HOUR
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    DEW_POINT,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    WIND_SPEED,
    HourlyWeather,
)
from forecaster.weather.local_days import LocalDays, local_days

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# How many hours of a day may be missing before the day counts as missing. Status: assumption. Two hours without rain data can hide a
# shower, so they are named; four hours hide the highest or lowest temperature only by bad luck.
RAIN_HOURS_MISSING_AT_MOST = 2
TEMPERATURE_HOURS_MISSING_AT_MOST = 4
# Humidity and wind change slowly or matter less: half a day of values gives a mean.
HUMIDITY_AND_WIND_HOURS_AT_LEAST = 12
# Share of the day's potential radiation that the hours with a value must cover; the rest is filled in proportion.
SHORTWAVE_COVERAGE_AT_LEAST = 0.8
# A provider's soil temperature is used as the 5 cm one within these depths: a daily mean changes little there (5 and 10 cm differ by
# 0.35 °C, median of 12 stations of the US Climate Reference Network 2020), far less than a simulated one is wrong by (1.3 °C).
SOIL_DEPTH_CM = (4.0, 8.0)

WIND_ASSUMED = "wind taken as 2 m/s"
HUMIDITY_ESTIMATED = "humidity from the lowest temperature of the day"
SHORTWAVE_ESTIMATED = "radiation from the temperature range"
SHORTWAVE_FILLED = "radiation of missing hours from the other hours"
SOIL_TEMPERATURE_SIMULATED = "soil temperature from air temperature and radiation"
TEMPERATURE_GAPS = "air temperature of the day without some missing hours"
RAIN_GAPS = "no rain assumed in missing hours"


@dataclass(frozen=True)
class Place:
    """Where the weather is: degrees north and east, metres above the sea."""

    latitude: float
    longitude: float
    elevation_m: float


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


def _mean(table: Floats, *, at_least: npt.NDArray[np.intp] | int) -> Floats:
    """Mean of each row over the hours present; NaN where fewer than ``at_least``."""
    present = np.isfinite(table)
    count = present.sum(axis=1)
    total = np.where(present, table, 0.0).sum(axis=1)
    return np.divide(total, count, out=np.full(len(table), np.nan), where=(count > 0) & (count >= at_least))


def _shortwave_of_day(table: Floats, potential: Floats) -> tuple[Floats, Flags]:
    """Radiation of each day [MJ/m²/d], and where missing hours were filled in proportion to the potential radiation of each hour.

    NaN where the hours present cover too little of the day; hours without sun may always be missing.
    """
    present = np.isfinite(table)
    measured = np.where(present, np.maximum(table, 0.0), 0.0).sum(axis=1) * MEGAJOULES_PER_WATT_HOUR
    whole = np.nansum(potential, axis=1)
    seen = np.where(present, np.nan_to_num(potential), 0.0).sum(axis=1)
    # Polar night: nothing to fill; one value is enough to know it.
    share = np.asarray(present.any(axis=1), dtype=np.float64)
    np.divide(seen, whole, out=share, where=whole > 0.0)
    enough = share >= SHORTWAVE_COVERAGE_AT_LEAST
    filled: Floats = np.full(len(table), np.nan)
    np.divide(measured, share, out=filled, where=enough)
    return filled, enough & (share < 1.0 - 1e-9)


def _potential_of_hours(index: pd.DatetimeIndex, place: Place) -> Floats:
    """Radiation at the top of the atmosphere in each UTC hour [MJ/m²/h], shape (hour,)."""
    day_of_year = index.day_of_year.to_numpy()
    middle_h = index.hour.to_numpy() + 0.5
    angle = radiation.solar_time_angle(middle_h, place.longitude, 0.0, day_of_year)
    return radiation.extraterrestrial_radiation_hourly(place.latitude, day_of_year, angle)


def daily_weather(
    frame: HourlyWeather, *, place: Place, time_zone: ZoneInfo, previous_soil_temperature_c: float | None = None
) -> DailyWeather:
    """Weather of every whole local day in the frame, with FAO-56 reference evapotranspiration.

    An hour belongs to the local day in which it starts; a first or last day that the frame covers only in part is dropped.
    Missing data: rain may miss 2 hours (taken as dry), temperature 4; beyond that the value is NaN and the day not complete. Without
    humidity the dew point is the lowest temperature (FAO-56 eq. 48), without radiation it comes from the temperature range (eq. 50, kRs
    0.16 inland, at most clear sky), without wind 2 m/s (FAO-56 ch. 3); each is named in ``estimated``. ET0 below 0 is taken as 0: dew is
    not rain. ``previous_soil_temperature_c``: of the day before the first, where simulated. Soil temperature is the provider's within
    4-8 cm of depth. Raises ValueError where the frame's wind height is below 0.5 m.
    Source: FAO-56 ch. 3-4. Status: published; the numbers of hours, kRs for every place and the floor of ET0: assumption.
    """
    index = pd.DatetimeIndex(frame.values.index)
    days = local_days(index, time_zone)
    hourly = {name: frame.values[name].to_numpy(dtype=np.float64) for name in frame.values.columns}
    table = {name: days.spread(series) for name, series in hourly.items()}
    day_of_year = days.dates.day_of_year.to_numpy()
    hours_of = {name: np.isfinite(values).sum(axis=1) for name, values in table.items()}

    # rain and temperature: without them the day is not complete
    rain_known = hours_of[PRECIPITATION] >= days.length - RAIN_HOURS_MISSING_AT_MOST
    rain = np.where(rain_known, np.nansum(table[PRECIPITATION], axis=1), np.nan)
    warm_known = hours_of[AIR_TEMPERATURE] >= days.length - TEMPERATURE_HOURS_MISSING_AT_MOST
    t_mean = _mean(table[AIR_TEMPERATURE], at_least=days.length - TEMPERATURE_HOURS_MISSING_AT_MOST)
    t_min = np.where(warm_known, np.fmin.reduce(table[AIR_TEMPERATURE], axis=1, initial=np.inf), np.nan)
    t_max = np.where(warm_known, np.fmax.reduce(table[AIR_TEMPERATURE], axis=1, initial=-np.inf), np.nan)

    # humidity: dew point hour by hour, else relative humidity with the hour's temperature, else the lowest temperature
    saturation = humidity.saturation_vapour_pressure(hourly[AIR_TEMPERATURE])
    by_dew_point = humidity.vapour_pressure_from_dew_point(hourly[DEW_POINT])
    ea_hourly = np.where(np.isnan(by_dew_point), saturation * hourly[RELATIVE_HUMIDITY] / 100.0, by_dew_point)
    ea_measured = _mean(days.spread(ea_hourly), at_least=HUMIDITY_AND_WIND_HOURS_AT_LEAST)
    ea = np.where(np.isnan(ea_measured), humidity.vapour_pressure_from_dew_point(t_min), ea_measured)
    rh_hourly = np.where(np.isnan(hourly[RELATIVE_HUMIDITY]), 100.0 * ea_hourly / saturation, hourly[RELATIVE_HUMIDITY])
    rh_table = days.spread(rh_hourly)
    rh_enough = np.isfinite(rh_table).sum(axis=1) >= days.length - TEMPERATURE_HOURS_MISSING_AT_MOST
    rh_from_day = 100.0 * ea / humidity.saturation_vapour_pressure(t_max)
    rh_min = np.clip(np.where(rh_enough, np.fmin.reduce(rh_table, axis=1, initial=np.inf), rh_from_day), 0.0, 100.0)

    # radiation
    ra = radiation.extraterrestrial_radiation(place.latitude, day_of_year)
    potential = days.spread(_potential_of_hours(index, place))
    rs_measured, rs_filled = _shortwave_of_day(table[SHORTWAVE], potential)
    rs_by_range = np.minimum(
        radiation.shortwave_from_temperature_range(t_max, t_min, ra), radiation.clear_sky_radiation(ra, place.elevation_m)
    )
    rs = np.where(np.isnan(rs_measured), rs_by_range, rs_measured)

    # wind
    wind_measured = _mean(table[WIND_SPEED], at_least=HUMIDITY_AND_WIND_HOURS_AT_LEAST)
    u2_measured = evapotranspiration.wind_speed_at_2m(wind_measured, frame.wind_height_m)
    wind_assumed = warm_known & np.isnan(u2_measured)
    u2 = np.where(wind_assumed, evapotranspiration.WIND_DEFAULT_MS, u2_measured)

    # soil temperature
    depth = frame.soil_temperature_depth_cm
    usable = depth is not None and SOIL_DEPTH_CM[0] <= depth <= SOIL_DEPTH_CM[1]
    soil_measured = _mean(table[SOIL_TEMPERATURE], at_least=days.length - TEMPERATURE_HOURS_MISSING_AT_MOST)
    soil_measured = soil_measured if usable else np.full(len(days.dates), np.nan)
    soil = soil_heat.soil_temperature_5cm(t_mean, rs, previous_c=previous_soil_temperature_c, measured_c=soil_measured)

    weather_day = evapotranspiration.WeatherDay(
        air_temperature_max_c=t_max,
        air_temperature_min_c=t_min,
        vapour_pressure_kpa=ea,
        wind_speed_2m_ms=u2,
        shortwave_mj=rs,
        day_of_year=day_of_year,
        latitude_deg=place.latitude,
        elevation_m=place.elevation_m,
    )
    et0 = np.maximum(evapotranspiration.reference_evapotranspiration(weather_day), 0.0)

    notes: list[tuple[str, Flags]] = [
        (RAIN_GAPS, rain_known & (hours_of[PRECIPITATION] < days.length)),
        (TEMPERATURE_GAPS, warm_known & (hours_of[AIR_TEMPERATURE] < days.length)),
        (HUMIDITY_ESTIMATED, warm_known & np.isnan(ea_measured)),
        (SHORTWAVE_FILLED, rs_filled),
        (SHORTWAVE_ESTIMATED, warm_known & np.isnan(rs_measured)),
        (WIND_ASSUMED, wind_assumed),
        (SOIL_TEMPERATURE_SIMULATED, np.isnan(soil_measured) & np.isfinite(soil)),
    ]
    return DailyWeather(
        days=tuple(stamp.date() for stamp in days.dates),
        rain_mm=rain,
        air_temperature_mean_c=t_mean,
        air_temperature_min_c=t_min,
        air_temperature_max_c=t_max,
        vapour_pressure_kpa=ea,
        relative_humidity_min_percent=rh_min,
        wind_speed_2m_ms=u2,
        shortwave_mj=rs,
        soil_temperature_c=soil,
        et0_mm=et0,
        complete=np.isfinite(rain) & np.isfinite(et0),
        origin_code=_least_sure(frame, days),
        estimated=tuple(tuple(text for text, where in notes if where[day]) for day in range(len(days.dates))),
    )


def _least_sure(frame: HourlyWeather, days: LocalDays) -> npt.NDArray[np.int8]:
    """The largest origin code among the rain and temperature hours of each day; 0 where all are missing."""
    code = frame.origins[[PRECIPITATION, AIR_TEMPERATURE]].to_numpy().max(axis=1).astype(np.int8)
    result = np.zeros(len(days.dates), dtype=np.int8)
    np.maximum.at(result, days.day, code[days.inside])
    return result
