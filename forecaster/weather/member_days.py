"""Local days of every member of an ensemble, by the same rules as the days of a single forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics import soil_heat
from forecaster.physics.evapotranspiration import WeatherDay, wind_speed_at_2m
from forecaster.quantities import Origin
from forecaster.weather import procedures
from forecaster.weather.daily import CIRCUMSTANCES, DailyWeather, amounts_of_days
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    DEW_POINT,
    ORIGIN_CODES,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    WIND_SPEED,
    HourlyWeather,
)
from forecaster.weather.hourly import hourly_sun
from forecaster.weather.local_days import LocalDays, local_days
from forecaster.weather.members import MemberWeather
from forecaster.weather.place import Place
from forecaster.weather.quality import DAY_RANGES, check

Floats = npt.NDArray[np.float64]

NEEDED = (AIR_TEMPERATURE, DEW_POINT, RELATIVE_HUMIDITY, WIND_SPEED, SHORTWAVE, PRECIPITATION)


@dataclass(frozen=True)
class MemberDays:
    """Whole local days of all members. ``daily``: arrays of shape (day, member); ``estimated`` and ``soil_heat`` are not kept.

    ``rain_of_hours_mm``: shape (day, member, hour of the day), NaN where there is no hour.
    """

    daily: DailyWeather
    rain_of_hours_mm: Floats


def member_days(
    members: MemberWeather,
    known: HourlyWeather | None,
    *,
    place: Place,
    time_zone: ZoneInfo,
    since: datetime,
    now: datetime,
    previous_heat: soil_heat.SoilHeat | None,
) -> MemberDays:
    """Work out the days from the local midnight ``since`` on, as far as the members go.

    ``known``: checked hourly weather; before the hour of ``now`` its values stand for every member, and a member's own only where it has
    none. Soil temperature is simulated from each member's weather, ``previous_heat`` being the soil's at ``since`` (None: assumed).
    Members' hours are checked by their ranges where they come in and by the day here. Sources and status: as daily_weather.
    """
    hours = pd.date_range(pd.Timestamp(since).tz_convert("UTC").ceil("h"), members.hours[-1], freq="h")
    hourly = {name: _hours_of(name, members, known, hours=hours, now=now) for name in NEEDED}
    days = local_days(hours, time_zone)
    number, count = members.members, len(days.dates)
    flat = {name: values.ravel() for name, values in hourly.items()}
    vapour = procedures.resolve(procedures.MEASURED_HUMIDITY_OF_HOURS, flat, CIRCUMSTANCES, (number * len(hours),))
    hourly[procedures.VAPOUR_PRESSURE] = vapour.values[procedures.VAPOUR_PRESSURE].reshape(number, len(hours))
    table = {name: _spread(days, values) for name, values in hourly.items()}
    day_of_year = days.dates.day_of_year.to_numpy()
    made = amounts_of_days(
        table,
        length=np.tile(days.length, number),
        potential=np.tile(days.spread(hourly_sun(hours, place).extraterrestrial_mj), (number, 1)),
        day_of_year=np.tile(day_of_year, number),
        place=place,
        wind_height_m=members.wind_height_m,
    )

    def by_day(values: Floats) -> Floats:
        return values.reshape(number, count).T

    t_mean, t_min, t_max = (by_day(v) for v in (made.air_temperature_mean_c, made.air_temperature_min_c, made.air_temperature_max_c))
    rain, evaporation = by_day(made.rain_mm), made.evaporation
    ea, rs = by_day(evaporation.vapour_pressure_kpa), by_day(evaporation.shortwave_mj)
    wind = by_day(evaporation.wind_speed_2m_ms)
    driven = soil_heat.heat_weather(
        WeatherDay(t_max, t_min, ea, wind, rs, day_of_year[:, None], place.latitude, place.elevation_m),
        air_temperature_mean_c=t_mean,
        water_mm=rain,
    )
    soil, _ = soil_heat.simulated_soil_temperature(driven, state=_heat_of_all(previous_heat, number))
    worked_out = {"rain_mm": rain, "et0_mm": by_day(made.et0_mm), "soil_temperature_c": soil, "wind_speed_2m_ms": wind}
    possible = check(worked_out, DAY_RANGES, ()).values
    complete = np.logical_and.reduce([np.isfinite(values) for values in possible.values()])
    daily = DailyWeather(
        days=tuple(stamp.date() for stamp in days.dates),
        rain_mm=possible["rain_mm"],
        air_temperature_mean_c=t_mean,
        air_temperature_min_c=t_min,
        air_temperature_max_c=t_max,
        vapour_pressure_kpa=ea,
        relative_humidity_min_percent=by_day(made.relative_humidity_min_percent),
        wind_speed_2m_ms=possible["wind_speed_2m_ms"],
        shortwave_mj=rs,
        soil_temperature_c=possible["soil_temperature_c"],
        et0_mm=possible["et0_mm"],
        estimated_share=np.full((count, number), np.nan),
        complete=complete,
        origin_code=np.full(count, ORIGIN_CODES[Origin.FORECAST], dtype=np.int8),
        estimated=((),) * count,
    )
    return MemberDays(daily, table[PRECIPITATION].reshape(number, count, -1).swapaxes(0, 1))


def _hours_of(name: str, members: MemberWeather, known: HourlyWeather | None, *, hours: pd.DatetimeIndex, now: datetime) -> Floats:
    """Values of one variable, shape (member, hour): what is known before ``now``, and what each member tells from then on."""
    result = np.full((members.members, len(hours)), np.nan)
    place = hours.get_indexer(members.hours)
    if name in members.values:
        result[:, place[place >= 0]] = members.values[name][:, place >= 0]
    if known is not None:
        before = hours < pd.Timestamp(now).tz_convert("UTC").floor("h")
        told = known.values[name].reindex(hours).to_numpy(dtype=np.float64)
        if name == WIND_SPEED:
            told = wind_speed_at_2m(told, known.wind_height_m) / wind_speed_at_2m(np.ones(1), members.wind_height_m)
        result = np.where(before & np.isfinite(told), told, result)
    return result


def _spread(days: LocalDays, values: Floats) -> Floats:
    """Lay (member, hour) out as (member and day, hour of the day)."""
    width = int(days.length.max(initial=0))
    table = np.full((len(values), len(days.dates), width), np.nan)
    table[:, days.day, days.position] = values[:, days.inside]
    return table.reshape(-1, width)


def _heat_of_all(heat: soil_heat.SoilHeat | None, members: int) -> soil_heat.SoilHeat | None:
    if heat is None or not np.isfinite(heat.temperature_5cm_c).all():
        return None
    every: Mapping[str, Floats] = {f.name: np.full(members, getattr(heat, f.name)) for f in fields(soil_heat.SoilHeat)}
    return soil_heat.SoilHeat(**every)
