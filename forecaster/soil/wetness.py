"""Wetness of leaf and surface by the hour: the frame's weather and the watering plan through the film of each surface.

Only the film on leaf and thatch: whether the soil below is soft is the daily balance's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.ground.surface import Surface
from forecaster.physics.evapotranspiration import WIND_DEFAULT_MS, wind_speed_at_2m
from forecaster.physics.humidity import saturation_vapour_pressure, vapour_pressure_from_dew_point
from forecaster.physics.leaf_wetness import Cause, LeafWetness, SurfaceHours, film_capacity, leaf_wetness
from forecaster.soil.surfaces import planned_irrigation
from forecaster.weather.daily import SHORTWAVE_FILLED, WIND_ASSUMED, Place
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    DEW_POINT,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    WIND_SPEED,
    HourlyWeather,
)
from forecaster.weather.hourly import checked_frame
from forecaster.weather.net_radiation import hourly_net_radiation

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# Local hour in which the planned amount is given, all of it. Status: assumption, until a log of what was really given exists.
IRRIGATION_HOUR = 5
# The film is taken as dry so long before the first hour asked for; days of weather make it forget that. Status: assumption.
SPIN_UP = timedelta(days=3)
BEFORE, AHEAD = timedelta(days=1), timedelta(days=14)
# Underfoot a film counts from here on: the drops of a light dew do not join up. Status: assumption, no published number found.
SURFACE_WET_FROM_MM = 0.1


@dataclass(frozen=True)
class HourlyWetness:
    """Film of each surface by the hour: ``film`` arrays have shape (hour, surface), ``exact`` (hour,).

    ``exact``: False where the hour lies beyond what a forecast tells hour by hour. ``estimated``: what had to be estimated, in words.
    """

    hours: pd.DatetimeIndex
    film: LeafWetness
    added_water: Flags
    """Rain fell or water was given in the hour; shape (hour, surface)."""
    exact: Flags
    estimated: tuple[str, ...]

    @property
    def surface_wet(self) -> Flags:
        """Slippery: the film under the foot is more than a light dew, or frozen; shape (hour, surface)."""
        return (self.film.water_mm >= SURFACE_WET_FROM_MM) | (self.film.cause == Cause.FROST)


def hourly_wetness(
    frame: HourlyWeather | None, surfaces: Sequence[Surface], *, place: Place, time_zone: ZoneInfo, now: datetime
) -> HourlyWetness:
    """Wetness from one day before ``now`` to 14 days after it; hours without weather are there and not known.

    Impossible values are taken out. Without wind 2 m/s, without radiation the cloud of the hours before: both named in ``estimated``.
    Hours without temperature, humidity or rain hold the film. The film three days before the first hour is taken as dry; watering comes
    by the plan at 05:00 local time.
    Source: physics.leaf_wetness. Status: assumption.
    """
    first = pd.Timestamp(now).tz_convert("UTC").floor("h") - BEFORE
    hours = pd.date_range(first - SPIN_UP, first + BEFORE + AHEAD, freq="h", inclusive="left")
    series = {name: np.full(len(hours), np.nan) for name in _NEEDED}
    if frame is not None:
        found = checked_frame(frame, place)[0].values.reindex(hours)
        series = {name: found[name].to_numpy(dtype=np.float64) for name in _NEEDED}

    air = series[AIR_TEMPERATURE]
    by_dew_point = vapour_pressure_from_dew_point(series[DEW_POINT])
    by_humidity = saturation_vapour_pressure(air) * series[RELATIVE_HUMIDITY] / 100.0
    vapour = np.where(np.isnan(by_dew_point), by_humidity, by_dew_point)
    wind = wind_speed_at_2m(series[WIND_SPEED], 2.0 if frame is None else frame.wind_height_m)
    sun = hourly_net_radiation(
        hours,
        series[SHORTWAVE],
        air,
        vapour,
        latitude_deg=place.latitude,
        longitude_deg=place.longitude,
        elevation_m=place.elevation_m,
    )
    watering = _watering(surfaces, hours, time_zone)
    rain = series[PRECIPITATION][:, None]
    film = leaf_wetness(
        SurfaceHours(
            air_temperature_c=air[:, None],
            vapour_pressure_kpa=vapour[:, None],
            wind_speed_2m_ms=np.where(np.isnan(wind), WIND_DEFAULT_MS, wind)[:, None],
            net_radiation_mj=sun.net_mj[:, None],
            rain_mm=rain,
            irrigation_mm=watering,
            elevation_m=place.elevation_m,
        ),
        film_capacity(np.array([surface.turf.height_m for surface in surfaces])),
    )
    asked = slice(int(SPIN_UP / timedelta(hours=1)), None)
    there = film.known.any(axis=1)
    named = [(WIND_ASSUMED, there & np.isnan(wind)), (SHORTWAVE_FILLED, there & sun.estimated)]
    # Hours that nobody has told are no more exact than those that are spread from steps of several.
    exact = np.zeros(len(hours), dtype=np.bool_)
    if frame is not None:
        exact = np.asarray(hours.isin(frame.values.index[~frame.rough_hours]))
    return HourlyWetness(
        hours=hours[asked],
        film=LeafWetness(**{name: values[asked] for name, values in vars(film).items()}),
        added_water=((np.nan_to_num(rain) > 0.0) | (watering > 0.0))[asked],
        exact=exact[asked],
        estimated=tuple(text for text, where in named if where[asked].any()),
    )


_NEEDED = (AIR_TEMPERATURE, DEW_POINT, RELATIVE_HUMIDITY, WIND_SPEED, SHORTWAVE, PRECIPITATION)


def _watering(surfaces: Sequence[Surface], hours: pd.DatetimeIndex, time_zone: ZoneInfo) -> Floats:
    """Planned water [mm] of each hour and surface: the whole amount in the hour in which 05:00 local time falls."""
    local = hours.tz_convert(time_zone)
    at_hour = np.asarray(local.hour == IRRIGATION_HOUR)
    days = [stamp.date() for stamp in local[at_hour]]
    amounts = np.zeros((len(hours), len(surfaces)))
    for number, surface in enumerate(surfaces):
        amounts[at_hour, number] = planned_irrigation(surface.irrigation, days)
    return amounts
