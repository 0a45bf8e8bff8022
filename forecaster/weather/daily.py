"""From the hourly frame to the ground's local days, with reference evapotranspiration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics import humidity, soil_heat
from forecaster.physics.evapotranspiration import WeatherDay
from forecaster.units import MEGAJOULES_PER_WATT_HOUR
from forecaster.weather import procedures
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    USED_SOIL_DEPTH_CM,
    WIND_SPEED,
    HourlyWeather,
)
from forecaster.weather.hourly import checked_frame, hourly_sun
from forecaster.weather.local_days import LocalDays, local_days
from forecaster.weather.place import Place as Place
from forecaster.weather.procedures import HUMIDITY_ESTIMATED as HUMIDITY_ESTIMATED
from forecaster.weather.procedures import SHORTWAVE_ESTIMATED as SHORTWAVE_ESTIMATED
from forecaster.weather.procedures import WIND_ASSUMED as WIND_ASSUMED
from forecaster.weather.quality import DAY_RANGES, check
from forecaster.weather.station_days import Evaporation, evaporation_of_days

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

SHORTWAVE_FILLED = "radiation of missing hours from the other hours"
SOIL_TEMPERATURE_SIMULATED = "soil temperature from the weather"
# FAO-56's procedures for an inland and humid place: the service does not ask how far the sea is. Status: assumption.
CIRCUMSTANCES = procedures.Circumstances()
TEMPERATURE_GAPS = "air temperature of the day without some missing hours"
RAIN_GAPS = "no rain assumed in missing hours"


@dataclass(frozen=True)
class DailyWeather:
    """Weather of consecutive local days; arrays have shape (day,), NaN where the day is missing.

    ``complete``: False where rain or ET0 could not be had for the day (too few hours), or came out beyond ``quality.DAY_RANGES``: the soil
    state is then held.
    ``estimated``: per day, which values were taken out by which rule and what missing-data procedure was used. ``origin_code``: the least
    sure origin among the day's hours.
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
    estimated_share: Floats
    """0 to 1: share of the day's hours of rain, temperature, humidity, radiation and wind that were missing or taken out; night hours of
    radiation do not count, and the five count alike."""
    complete: npt.NDArray[np.bool_]
    origin_code: npt.NDArray[np.int8]
    estimated: tuple[tuple[str, ...], ...]
    soil_heat: tuple[soil_heat.SoilHeat, ...] = ()
    """Heat of the soil at the end of each day, to go on from."""


def _mean(table: Floats, *, at_least: npt.NDArray[np.intp] | int) -> Floats:
    """Mean of each row over the hours present; NaN where fewer than ``at_least``."""
    present = np.isfinite(table)
    count = present.sum(axis=1)
    total = np.where(present, table, 0.0).sum(axis=1)
    return np.divide(total, count, out=np.full(len(table), np.nan), where=(count > 0) & (count >= at_least))


def _shortwave_of_day(table: Floats, potential: Floats) -> tuple[Floats, Floats]:
    """Radiation of each day [MJ/m²/d], and the share of the day's potential radiation in hours that have a value.

    Missing hours are filled in proportion to the potential radiation of each hour; NaN where the hours present cover too little of the
    day. Hours without sun may always be missing.
    """
    present = np.isfinite(table)
    measured = np.where(present, np.maximum(table, 0.0), 0.0).sum(axis=1) * MEGAJOULES_PER_WATT_HOUR
    whole = np.nansum(potential, axis=1)
    seen = np.where(present, np.nan_to_num(potential), 0.0).sum(axis=1)
    # Polar night: nothing to fill; one value is enough to know it.
    share = np.asarray(present.any(axis=1), dtype=np.float64)
    np.divide(seen, whole, out=share, where=whole > 0.0)
    filled: Floats = np.full(len(table), np.nan)
    np.divide(measured, share, out=filled, where=share >= SHORTWAVE_COVERAGE_AT_LEAST)
    return filled, share


@dataclass(frozen=True)
class DayAmounts:
    """What the hours of days make of them, without the soil; arrays of shape (day,), NaN where too few hours are there.

    ``hours_of``: how many hours of each variable were there. ``shortwave_measured_mj``: filled up in proportion, not yet estimated;
    ``shortwave_seen``: share of the day's potential radiation in hours with a value.
    """

    rain_mm: Floats
    air_temperature_mean_c: Floats
    air_temperature_min_c: Floats
    air_temperature_max_c: Floats
    relative_humidity_min_percent: Floats
    et0_mm: Floats
    evaporation: Evaporation
    shortwave_measured_mj: Floats
    shortwave_seen: Floats
    hours_of: Mapping[str, npt.NDArray[np.intp]]


def amounts_of_days(
    table: Mapping[str, Floats],
    *,
    length: npt.NDArray[np.intp],
    potential: Floats,
    day_of_year: npt.NDArray[Any],
    place: Place,
    wind_height_m: float,
) -> DayAmounts:
    """Work the days out from their hours; days stand by themselves, so they may be of several members, one after the other.

    ``table``: rain, temperature, humidity, radiation, wind and vapour pressure, each (day, hour of the day), NaN where there is none.
    ``length``: hours of each day; ``potential``: extraterrestrial radiation of each hour [MJ/m²]. Sources and status: see daily_weather.
    """
    hours_of = {name: np.isfinite(values).sum(axis=1) for name, values in table.items()}
    warm_at_least = length - TEMPERATURE_HOURS_MISSING_AT_MOST

    # rain and temperature: without them the day is not complete
    rain_known = hours_of[PRECIPITATION] >= length - RAIN_HOURS_MISSING_AT_MOST
    rain = np.where(rain_known, np.nansum(table[PRECIPITATION], axis=1), np.nan)
    warm_known = hours_of[AIR_TEMPERATURE] >= warm_at_least
    t_mean = _mean(table[AIR_TEMPERATURE], at_least=warm_at_least)
    t_min = np.where(warm_known, np.fmin.reduce(table[AIR_TEMPERATURE], axis=1, initial=np.inf), np.nan)
    t_max = np.where(warm_known, np.fmax.reduce(table[AIR_TEMPERATURE], axis=1, initial=-np.inf), np.nan)

    # humidity, radiation, wind: the day's from its hours, what is missing from the day's other values
    ea_table = table[procedures.VAPOUR_PRESSURE]
    rs_measured, rs_seen = _shortwave_of_day(table[SHORTWAVE], potential)
    evaporation = evaporation_of_days(
        {
            "air_temperature_max_c": t_max,
            "air_temperature_min_c": t_min,
            procedures.VAPOUR_PRESSURE: _mean(ea_table, at_least=HUMIDITY_AND_WIND_HOURS_AT_LEAST),
            procedures.SHORTWAVE_AMOUNT: rs_measured,
            WIND_SPEED: _mean(table[WIND_SPEED], at_least=HUMIDITY_AND_WIND_HOURS_AT_LEAST),
        },
        day_of_year=day_of_year,
        place=place,
        wind_height_m=wind_height_m,
        circumstances=CIRCUMSTANCES,
    )

    # lowest relative humidity
    by_hour_percent = 100.0 * ea_table / humidity.saturation_vapour_pressure(table[AIR_TEMPERATURE])
    rh_table = np.where(np.isnan(table[RELATIVE_HUMIDITY]), by_hour_percent, table[RELATIVE_HUMIDITY])
    rh_enough = np.isfinite(rh_table).sum(axis=1) >= warm_at_least
    rh_from_day = 100.0 * evaporation.vapour_pressure_kpa / humidity.saturation_vapour_pressure(t_max)
    return DayAmounts(
        rain_mm=rain,
        air_temperature_mean_c=t_mean,
        air_temperature_min_c=t_min,
        air_temperature_max_c=t_max,
        relative_humidity_min_percent=np.clip(
            np.where(rh_enough, np.fmin.reduce(rh_table, axis=1, initial=np.inf), rh_from_day), 0.0, 100.0
        ),
        et0_mm=np.maximum(evaporation.et0_mm, 0.0),
        evaporation=evaporation,
        shortwave_measured_mj=rs_measured,
        shortwave_seen=rs_seen,
        hours_of=hours_of,
    )


def daily_weather(
    frame: HourlyWeather, *, place: Place, time_zone: ZoneInfo, previous_heat: soil_heat.SoilHeat | None = None
) -> DailyWeather:
    """Weather of every whole local day in the frame, with FAO-56 reference evapotranspiration.

    An hour belongs to the local day in which it starts; a first or last day that the frame covers only in part is dropped.
    Impossible values are taken out first (see quality). Missing data: rain may miss 2 hours (taken as dry), temperature 4; beyond that
    the value is NaN and the day not complete. What else is missing is filled by the table of procedures (FAO-56 ch. 3-4), for an inland
    and humid place. All of it is named in ``estimated``. ET0 below 0 is taken as 0: dew is not rain. Soil temperature is the
    provider's within 4-8 cm of depth, else simulated under rain-fed grass: watering, which cools the soil, is not in it. ``previous_heat``:
    heat of the soil at the end of the day before the first (None: assumed). Raises ValueError where the frame's wind height is outside 0.5
    to 200 m.
    Source: FAO-56 ch. 3-4. Status: published; the numbers of hours, inland and humid for every place, and the floor of ET0: assumption.
    """
    frame, removed_hours = checked_frame(frame, place)
    index = pd.DatetimeIndex(frame.values.index)
    days = local_days(index, time_zone)
    hourly = {name: frame.values[name].to_numpy(dtype=np.float64) for name in frame.values.columns}
    table = {name: days.spread(series) for name, series in hourly.items()}
    day_of_year = days.dates.day_of_year.to_numpy()

    # what the hours make of each day
    by_hour = procedures.resolve(procedures.MEASURED_HUMIDITY_OF_HOURS, hourly, CIRCUMSTANCES, (len(index),))
    table[procedures.VAPOUR_PRESSURE] = days.spread(by_hour.values[procedures.VAPOUR_PRESSURE])
    potential = days.spread(hourly_sun(index, place).extraterrestrial_mj)
    made = amounts_of_days(
        table, length=days.length, potential=potential, day_of_year=day_of_year, place=place, wind_height_m=frame.wind_height_m
    )
    evaporation = made.evaporation
    ea, rs = evaporation.vapour_pressure_kpa, evaporation.shortwave_mj
    rain, et0 = made.rain_mm, made.et0_mm
    t_mean, t_min, t_max = made.air_temperature_mean_c, made.air_temperature_min_c, made.air_temperature_max_c
    rs_estimated = evaporation.resolved.estimated(procedures.SHORTWAVE_AMOUNT)

    # soil temperature
    depth = frame.soil_temperature_depth_cm
    usable = depth is not None and USED_SOIL_DEPTH_CM[0] <= depth <= USED_SOIL_DEPTH_CM[1]
    soil_measured = _mean(table[SOIL_TEMPERATURE], at_least=days.length - TEMPERATURE_HOURS_MISSING_AT_MOST)
    soil_measured = soil_measured if usable else np.full(len(days.dates), np.nan)
    driven = soil_heat.heat_weather(
        WeatherDay(t_max, t_min, ea, evaporation.wind_speed_2m_ms, rs, day_of_year, place.latitude, place.elevation_m),
        air_temperature_mean_c=t_mean,
        water_mm=rain,
    )
    # Heat of days none of which was known is no heat to go on from.
    goes_on = previous_heat is not None and bool(np.isfinite(previous_heat.temperature_5cm_c).all())
    before = previous_heat if previous_heat is not None and goes_on else soil_heat.start_of_soil_heat(driven)
    soil, heat_by_day = soil_heat.soil_heat_by_day(driven, state=before, measured_c=soil_measured)

    # what cannot be although every hour could: the day is held rather than simulated on a fault
    worked_out = {"rain_mm": rain, "et0_mm": et0, "soil_temperature_c": soil, "wind_speed_2m_ms": evaporation.wind_speed_2m_ms}
    impossible = check(worked_out, DAY_RANGES, ())
    rain, et0, soil, wind = (impossible.values[name] for name in worked_out)
    complete = np.isfinite(rain) & np.isfinite(et0) & np.isfinite(soil) & np.isfinite(wind)
    hours_of = made.hours_of
    seen = [hours_of[name] / days.length for name in (PRECIPITATION, AIR_TEMPERATURE, WIND_SPEED)]
    seen += [hours_of[procedures.VAPOUR_PRESSURE] / days.length, np.where(rs_estimated, 0.0, made.shortwave_seen)]
    notes: list[tuple[str, Flags]] = [
        *((told, days.any_hour(where)) for told, where in removed_hours),
        *evaporation.removed,
        *impossible.removed,
        (RAIN_GAPS, np.isfinite(made.rain_mm) & (hours_of[PRECIPITATION] < days.length)),
        (TEMPERATURE_GAPS, np.isfinite(t_mean) & (hours_of[AIR_TEMPERATURE] < days.length)),
        (SHORTWAVE_FILLED, np.isfinite(made.shortwave_measured_mj) & (made.shortwave_seen < 1.0 - 1e-9) & ~rs_estimated),
        *evaporation.resolved.notes(),
        (SOIL_TEMPERATURE_SIMULATED, np.isnan(soil_measured) & np.isfinite(soil)),
    ]
    return DailyWeather(
        days=tuple(stamp.date() for stamp in days.dates),
        rain_mm=rain,
        air_temperature_mean_c=t_mean,
        air_temperature_min_c=t_min,
        air_temperature_max_c=t_max,
        vapour_pressure_kpa=ea,
        relative_humidity_min_percent=made.relative_humidity_min_percent,
        wind_speed_2m_ms=wind,
        shortwave_mj=rs,
        soil_temperature_c=soil,
        et0_mm=et0,
        estimated_share=np.where(complete, 1.0 - np.mean(seen, axis=0), np.nan),
        complete=complete,
        origin_code=_least_sure(frame, days),
        soil_heat=heat_by_day,
        estimated=tuple(tuple(text for text, where in notes if where[day]) for day in range(len(days.dates))),
    )


def _least_sure(frame: HourlyWeather, days: LocalDays) -> npt.NDArray[np.int8]:
    """The largest origin code among the rain and temperature hours of each day; 0 where all are missing."""
    code = frame.origins[[PRECIPITATION, AIR_TEMPERATURE]].to_numpy().max(axis=1).astype(np.int8)
    result = np.zeros(len(days.dates), dtype=np.int8)
    np.maximum.at(result, days.day, code[days.inside])
    return result
