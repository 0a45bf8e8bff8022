"""Open-Meteo: recent days and forecast in one answer. This is the only module that knows its names, units and habits.

Asked for hourly values only, in UTC with unix times and m/s: its local times carry one fixed offset for the whole answer and go wrong
across clock changes, and its daily values follow from the hourly ones.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd
import requests

from forecaster.errors import WeatherMalformed
from forecaster.sources.http import Patience, Query, fetch_json
from forecaster.weather import frame
from forecaster.weather.frame import VARIABLES, HourlyWeather, WeatherSource, origins_by_time
from forecaster.weather.quality import HOURLY_RANGES

SOURCE = WeatherSource(
    name="Open-Meteo",
    attribution="Weather data by Open-Meteo.com",
    licence="CC BY 4.0",
    link="https://open-meteo.com/",
)
FREE_ADDRESS = "https://api.open-meteo.com"
FORECAST_PATH = "/v1/forecast"


@dataclass(frozen=True)
class Variable:
    """One of the provider's hourly variables. ``ends_hour``: its label is the end of the hour it covers, ours is the start."""

    ours: str
    unit: str
    ends_hour: bool


# Source: the provider's documentation of hourly variables (units as answered, valid time "instant" or "preceding hour").
VARIABLE_MAP: dict[str, Variable] = {
    "temperature_2m": Variable(frame.AIR_TEMPERATURE, "°C", ends_hour=False),
    "dew_point_2m": Variable(frame.DEW_POINT, "°C", ends_hour=False),
    "relative_humidity_2m": Variable(frame.RELATIVE_HUMIDITY, "%", ends_hour=False),
    "wind_speed_10m": Variable(frame.WIND_SPEED, "m/s", ends_hour=False),
    "shortwave_radiation": Variable(frame.SHORTWAVE, "W/m²", ends_hour=True),
    "precipitation": Variable(frame.PRECIPITATION, "mm", ends_hour=True),
    "soil_temperature_6cm": Variable(frame.SOIL_TEMPERATURE, "°C", ends_hour=False),
}
WIND_HEIGHT_M = 10.0
SOIL_TEMPERATURE_DEPTH_CM = 6.0

# Not every model has soil temperature, so a column of nulls is an answer; without the others there is no weather.
_MAY_BE_EMPTY = frozenset({"soil_temperature_6cm"})
# An answer with more holes than this is a fault at the provider and not weather. Status: practice.
_LEAST_PRESENT_SHARE = 0.5
# The answer names the middle of its grid cell, not the place asked for. Status: practice.
_FARTHEST_DEGREES = 0.3
_SECONDS_PER_HOUR = 3600
_HINT = "Nothing was stored; the last good weather stays in use. If it stays like this, the service has changed."


@dataclass(frozen=True)
class Service:
    """Which Open-Meteo to ask, and how much of it. With a key, give the address of the paid service."""

    base_url: str = FREE_ADDRESS
    api_key: str | None = field(default=None, repr=False)
    past_days: int = 92
    forecast_days: int = 16


class Place(Protocol):
    """Anything that knows where it lies: a ground, for one."""

    @property
    def latitude(self) -> float: ...
    @property
    def longitude(self) -> float: ...
    @property
    def elevation_m(self) -> float: ...


def fetch_forecast(
    place: Place, *, session: requests.Session, now: datetime, service: Service | None = None, patience: Patience | None = None
) -> HourlyWeather:
    """Fetch recent days and the forecast of a place into the canonical frame.

    The answer does not say when its model ran: ``issued_at`` is ``now``, the time at which it was handed out; hours before the
    hour of ``now`` count as modelled, the rest as forecast. Nulls become NaN. Temperature, humidity and wind are values at the
    hour's start; radiation and rain, labelled by the provider with the end of their hour, are moved one hour back.

    Raises: WeatherUnavailable, WeatherRefused (see ``fetch_json``); WeatherMalformed when units, place, hours, number of values
    or ranges are not those of the weather that was asked for.
    """
    service = service or Service()
    query = Query(
        source=SOURCE.name,
        url=service.base_url.rstrip("/") + FORECAST_PATH,
        params={
            "latitude": f"{place.latitude:.4f}",
            "longitude": f"{place.longitude:.4f}",
            "elevation": f"{place.elevation_m:.0f}",
            "hourly": ",".join(VARIABLE_MAP),
            "timezone": "GMT",
            "timeformat": "unixtime",
            "wind_speed_unit": "ms",
            "past_days": str(service.past_days),
            "forecast_days": str(service.forecast_days),
        },
        # In a header, not in the address: addresses end up in logs.
        headers={"X-Api-Key": service.api_key} if service.api_key else {},
        limit_hint=limit_hint,
    )
    answer = fetch_json(session, query, patience=patience)
    return read_answer(answer, latitude=place.latitude, longitude=place.longitude, now=now)


def read_answer(answer: Any, *, latitude: float, longitude: float, now: datetime) -> HourlyWeather:
    """Check a parsed answer and turn it into the canonical frame. Raises: WeatherMalformed, which says what is wrong and where."""
    if not isinstance(answer, Mapping):
        raise _malformed(f"sent {_kind(answer)} in place of one place's weather")
    _check_place(answer, latitude, longitude)
    hourly = _block(answer, "hourly")
    _check_units(_block(answer, "hourly_units"))
    stamps = _stamps(hourly.get("time"))
    columns = {name: _column(name, hourly.get(name), stamps) for name in VARIABLE_MAP}

    # One hour more at the front: what ends with the first label began an hour before it.
    index = pd.to_datetime(np.concatenate(([stamps[0] - _SECONDS_PER_HOUR], stamps)), unit="s", utc=True)
    values = pd.DataFrame(np.nan, index=index, columns=list(VARIABLES))
    for name, variable in VARIABLE_MAP.items():
        blank = [math.nan]
        values[variable.ours] = np.concatenate((columns[name], blank) if variable.ends_hour else (blank, columns[name]))
    values[frame.SHORTWAVE] = values[frame.SHORTWAVE].clip(lower=0.0)
    values = values + 0.0  # turns -0.0 into 0.0

    notes: tuple[str, ...] = ("Open-Meteo does not say when its models ran; the age counts from the time of asking.",)
    if index[-1] < pd.Timestamp(now):
        notes += (f"The answer ends at {index[-1]:%Y-%m-%d %H:%M} UTC, before it was asked for.",)
    return HourlyWeather(
        values=values,
        origins=origins_by_time(values, now=now),
        source=SOURCE,
        issued_at=now.astimezone(UTC),
        wind_height_m=WIND_HEIGHT_M,
        soil_temperature_depth_cm=SOIL_TEMPERATURE_DEPTH_CM,
        notes=notes,
    )


def limit_hint(reason: str) -> str:
    """What to do about a 429, by the reason the service gives."""
    said = reason.lower()
    if "minutely" in said:
        return "Try again after the next full minute."
    if "hourly" in said:
        return "Try again after the next full hour."
    if "daily" in said:
        return "Try again after midnight UTC; ask less often, or use a key."
    if "concurrent" in said:
        return "Try again in about a minute; others behind the same address are asking too."
    return "Try again in an hour; ask less often, or use a key."


def _malformed(what: str) -> WeatherMalformed:
    return WeatherMalformed(f"{SOURCE.name} {what}", source=SOURCE.name, hint=_HINT)


def _kind(value: Any) -> str:
    words = {list: "a list", dict: "an object", str: "text", bool: "a truth value", int: "a number", float: "a number"}
    return words.get(type(value), "nothing")


def _block(answer: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    block = answer.get(name)
    if not isinstance(block, Mapping):
        raise _malformed(f"sent {_kind(block)} where {name!r} should be")
    return block


def _check_place(answer: Mapping[str, Any], latitude: float, longitude: float) -> None:
    for name, asked in (("latitude", latitude), ("longitude", longitude)):
        given = answer.get(name)
        if type(given) not in (int, float):
            raise _malformed(f"does not say for which {name} its answer is")
        answered = _number(given)
        away = abs(answered - asked)
        if name == "longitude":
            away = min(away, abs(360.0 - away))  # 179.9 and -179.9 are neighbours
        if not away <= _FARTHEST_DEGREES:
            raise _malformed(f"answered for {name} {answered:g} where {asked:g} was asked")


def _check_units(units: Mapping[str, Any]) -> None:
    expected = {"time": "unixtime", **{name: variable.unit for name, variable in VARIABLE_MAP.items()}}
    # "undefined" is the unit of a variable that no model has at the place (memory).
    wrong = [
        f"{name} in {units[name]!r}, not {unit!r}" if name in units else f"no {name}"
        for name, unit in expected.items()
        if units.get(name) != unit and not (name in _MAY_BE_EMPTY and units.get(name) == "undefined")
    ]
    if wrong:
        raise _malformed(f"sent other variables or units than asked for: {'; '.join(wrong)}")


def _stamps(times: Any) -> npt.NDArray[np.int64]:
    if not isinstance(times, list) or not times:
        raise _malformed("sent no hours")
    if not all(type(time) is int and abs(time) < 2**40 for time in times):
        raise _malformed("sent times that are not unix seconds")
    stamps = np.array(times, dtype=np.int64)
    broken = np.flatnonzero(np.diff(stamps) != _SECONDS_PER_HOUR)
    if broken.size:
        raise _malformed(f"sent hours that are not one hour apart after {_moment(stamps[broken[0]])}")
    if stamps[0] % _SECONDS_PER_HOUR:
        raise _malformed(f"sent times that are not full hours, the first {_moment(stamps[0])}")
    return stamps


def _column(name: str, given: Any, stamps: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    if not isinstance(given, list) or len(given) != len(stamps):
        what = f"{len(given)} values" if isinstance(given, list) else _kind(given)
        raise _malformed(f"sent {what} of {name} for {len(stamps)} hours")
    odd = [position for position, value in enumerate(given) if value is not None and type(value) not in (int, float)]
    if odd:
        raise _malformed(f"sent {_kind(given[odd[0]])} as {name} at {_moment(stamps[odd[0]])}")
    values = np.array([_number(value) for value in given], dtype=np.float64)
    present = np.isfinite(values)
    if present.mean() < _LEAST_PRESENT_SHARE and name not in _MAY_BE_EMPTY:
        raise _malformed(f"sent {int(present.sum())} values of {name} for {len(stamps)} hours")
    allowed = HOURLY_RANGES[VARIABLE_MAP[name].ours]
    outside = np.flatnonzero((values < allowed.lowest) | (values > allowed.highest))
    if outside.size:
        worst = outside[0]
        raise _malformed(f"sent {name} = {values[worst]:g} {VARIABLE_MAP[name].unit} at {_moment(stamps[worst])}, which cannot be")
    return values


def _number(value: Any) -> float:
    if value is None:
        return math.nan
    try:
        return float(value)
    except OverflowError:  # JSON knows whole numbers of any length
        return math.inf


def _moment(stamp: np.int64) -> str:
    return f"{datetime.fromtimestamp(int(stamp), tz=UTC):%Y-%m-%d %H:%M} UTC"
