"""NASA POWER: daily weather of the past from reanalysis and satellites. The only module that knows its names, units and habits.

A whole day cannot honestly become hours; ``nasa_power_hours`` does it as a marked assumption for those who need hours. The newest days are
missing for a while, radiation longest, and values of the last weeks are later replaced by better ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import requests

from forecaster.errors import WeatherUnavailable
from forecaster.sources import checks
from forecaster.sources.checks import Located, kind_of, number_of
from forecaster.sources.http import Patience, Query, fetch_json
from forecaster.weather.frame import WeatherSource
from forecaster.weather.place import Place
from forecaster.weather.quality import DAILY_RANGES, Plausible

Floats = npt.NDArray[np.float64]
TimeStandard = Literal["LST", "UTC"]

SOURCE = WeatherSource(
    name="NASA POWER",
    attribution="Data obtained from the NASA Langley Research Center POWER Project",
    licence="open data, acknowledgement asked",
    link="https://power.larc.nasa.gov/",
)
ADDRESS = "https://power.larc.nasa.gov"
PATH = "/api/temporal/daily/point"


@dataclass(frozen=True)
class Parameter:
    """One of the provider's parameters: our name, what a person calls it, how units become ours, and what it can be."""

    ours: str
    called: str
    factors: Mapping[str, float]
    allowed: Plausible


_CELSIUS, _PERCENT, _SPEED = {"C": 1.0}, {"%": 1.0}, {"m/s": 1.0}
# The most ever measured in a day is 1825 mm (Foc-Foc, Réunion, 1966; memory).
_RAIN_OF_DAY = Plausible("rain of a day", 0.0, 2000.0, "mm")
_COLDEST = DAILY_RANGES["air_temperature_min_c"]
_MEAN = Plausible("mean air temperature", _COLDEST.lowest, _COLDEST.highest, _COLDEST.unit)
# Source: the provider's answers; the unit of radiation depends on the user community that is asked for.
PARAMETERS: dict[str, Parameter] = {
    "PRECTOTCORR": Parameter("precipitation_mm", "rain", {"mm/day": 1.0}, _RAIN_OF_DAY),
    "T2M_MIN": Parameter("air_temperature_min_c", "lowest temperature", _CELSIUS, _COLDEST),
    "T2M_MAX": Parameter("air_temperature_max_c", "highest temperature", _CELSIUS, DAILY_RANGES["air_temperature_max_c"]),
    "T2M": Parameter("air_temperature_mean_c", "mean temperature", _CELSIUS, _MEAN),
    "T2MDEW": Parameter("dew_point_c", "dew point", _CELSIUS, DAILY_RANGES["dew_point_c"]),
    "RH2M": Parameter("relative_humidity_mean_percent", "humidity", _PERCENT, DAILY_RANGES["relative_humidity_mean_percent"]),
    "WS2M": Parameter("wind_speed_2m_ms", "wind", _SPEED, DAILY_RANGES["wind_speed_ms"]),
    "ALLSKY_SFC_SW_DWN": Parameter(
        "shortwave_mj",
        "radiation",
        {"MJ/m^2/day": 1.0, "MJ/m2/day": 1.0, "kW-hr/m^2/day": 3.6, "kW-hr/m2/day": 3.6},
        DAILY_RANGES["shortwave_mj"],
    ),
}
# The value that stands for missing is compared with this much room, before any arithmetic; no weather lies so near to it.
_FILL_ROOM = 0.5
# Cells are about 55 km wide: above this difference in height temperatures are not those of the place. Status: assumption.
_HEIGHT_APART_M = 100.0
_LATE_HINT = "Its values come some days late, and begin in 1981: ask for other days, or try again later."


@dataclass(frozen=True)
class DailySeries:
    """Consecutive whole days of one place; arrays have shape (day,), NaN where the source has no value (yet).

    ``time_standard``: whether a day runs from midnight to midnight of the sun's time at the place (LST) or of UTC. ``wind_speed_2m_ms`` and
    ``dew_point_c``: means of the day. ``shortwave_mj`` [MJ/m²/d].
    """

    days: tuple[date, ...]
    time_standard: TimeStandard
    place: Place
    precipitation_mm: Floats
    air_temperature_min_c: Floats
    air_temperature_max_c: Floats
    air_temperature_mean_c: Floats
    dew_point_c: Floats
    relative_humidity_mean_percent: Floats
    wind_speed_2m_ms: Floats
    shortwave_mj: Floats
    notes: tuple[str, ...] = ()


def fetch_daily(
    place: Located,
    *,
    session: requests.Session,
    start: date,
    end: date,
    time_standard: TimeStandard = "LST",
    base_url: str = ADDRESS,
    patience: Patience | None = None,
) -> DailySeries:
    """Fetch the days from ``start`` to ``end``, both included.

    By the sun's time unless UTC is asked for: far from Greenwich a day of UTC begins at noon, and its lowest and highest temperature do not
    belong together. Days that the source does not have (yet) are NaN, and a note counts them.

    Raises: ValueError where the end lies before the start; WeatherUnavailable, also where no day has both temperatures or none has rain;
    WeatherRefused (see ``fetch_json``); WeatherMalformed when units, place, days or ranges are not those of the weather asked for.
    """
    if end < start:
        raise ValueError(f"the last day, {end}, lies before the first, {start}")
    query = Query(
        source=SOURCE.name,
        url=base_url.rstrip("/") + PATH,
        params={
            "parameters": ",".join(PARAMETERS),
            "community": "AG",
            "longitude": f"{place.longitude:.4f}",
            "latitude": f"{place.latitude:.4f}",
            "start": f"{start:%Y%m%d}",
            "end": f"{end:%Y%m%d}",
            "format": "JSON",
            "time-standard": time_standard,
            "user": "forecaster",
        },
        limit_hint=lambda reason: "Try again in an hour; ask less often.",
    )
    answer = fetch_json(session, query, patience=patience)
    return read_answer(answer, place, start=start, end=end, time_standard=time_standard)


def read_answer(answer: Any, place: Located, *, start: date, end: date, time_standard: TimeStandard) -> DailySeries:
    """Check a parsed answer and turn it into whole days. Raises: WeatherMalformed and WeatherUnavailable as ``fetch_daily``."""
    coordinates = checks.block_of(SOURCE.name, answer, "geometry").get("coordinates")
    checks.require_near(SOURCE.name, coordinates, place)
    header = checks.block_of(SOURCE.name, answer, "header")
    if header.get("time_standard") != time_standard:
        raise checks.malformed(SOURCE.name, f"sent days in {header.get('time_standard')!r}, not {time_standard!r}")
    fill = number_of(SOURCE.name, "fill_value", header.get("fill_value"), "its head")
    if not np.isfinite(fill):
        raise checks.malformed(SOURCE.name, "does not say which number stands for a missing value")
    found = checks.block_of(SOURCE.name, answer, "properties", "parameter")
    units = checks.block_of(SOURCE.name, answer, "parameters")
    days = tuple(start + timedelta(days=number) for number in range((end - start).days + 1))
    series = {name: _series(name, found, units, days, fill) for name in PARAMETERS}

    known = np.isfinite(series["T2M_MIN"]) & np.isfinite(series["T2M_MAX"])
    if not known.any() or not np.isfinite(series["PRECTOTCORR"]).any():
        raise WeatherUnavailable(f"{SOURCE.name} has no weather from {start} to {end}", source=SOURCE.name, hint=_LATE_HINT)
    reversed_days = np.flatnonzero(series["T2M_MIN"] > series["T2M_MAX"])
    if reversed_days.size:
        raise checks.malformed(SOURCE.name, f"sent a lowest temperature above the highest on {days[reversed_days[0]]}")
    return DailySeries(
        days=days,
        time_standard=time_standard,
        place=Place(place.latitude, place.longitude, place.elevation_m),
        **{parameter.ours: series[name] for name, parameter in PARAMETERS.items()},
        notes=_notes(series, coordinates, place),
    )


def _series(name: str, found: Mapping[str, Any], units: Mapping[str, Any], days: tuple[date, ...], fill: float) -> Floats:
    """One parameter in our unit; a day that is not there is missing like one with the fill value."""
    parameter = PARAMETERS[name]
    unit = checks.block_of(SOURCE.name, units, name).get("units")
    factor = parameter.factors.get(unit) if isinstance(unit, str) else None
    if factor is None:
        raise checks.malformed(SOURCE.name, f"sent {name} in {unit!r}, not {next(iter(parameter.factors))!r}")
    given = found.get(name)
    if not isinstance(given, Mapping):
        raise checks.malformed(SOURCE.name, f"sent {kind_of(given)} where {name!r} should be")
    values = np.array([number_of(SOURCE.name, name, given.get(f"{day:%Y%m%d}"), str(day)) for day in days])
    values[np.abs(values - fill) < _FILL_ROOM] = np.nan
    values = values * factor
    for day, value in zip(days, values, strict=True):
        checks.require_possible(SOURCE.name, name, value, parameter.allowed, str(day))
    return values


def _notes(series: Mapping[str, Floats], coordinates: Any, place: Located) -> tuple[str, ...]:
    notes = []
    missing = {PARAMETERS[name].called: int(np.isnan(values).sum()) for name, values in series.items()}
    gaps = ", ".join(f"{called} on {count}" for called, count in missing.items() if count)
    if gaps:
        notes.append(f"{SOURCE.name} has no value, or none yet: {gaps} of {len(series['T2M'])} days.")
    height = number_of(SOURCE.name, "elevation", coordinates[2] if len(coordinates) > 2 else None, "its place")
    if abs(height - place.elevation_m) > _HEIGHT_APART_M:
        notes.append(f"{SOURCE.name} stands for a cell about 55 km wide, {height:.0f} m high; the place is {place.elevation_m:.0f} m high.")
    return tuple(notes)
