"""Checks of an Open-Meteo answer: a good status says nothing about units, place, hours, gaps or numbers that cannot be."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from types import NoneType
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.errors import WeatherMalformed
from forecaster.sources.openmeteo_service import SOURCE
from forecaster.weather import frame
from forecaster.weather.frame import VARIABLES
from forecaster.weather.quality import HOURLY_RANGES

Floats = npt.NDArray[np.float64]
Stamps = npt.NDArray[np.int64]

SECONDS_PER_HOUR = 3600
# An answer with more holes than this is a fault at the provider and not weather. Status: practice.
_LEAST_PRESENT_SHARE = 0.5
# The answer names the middle of its grid cell, not the place asked for. Status: practice.
_FARTHEST_DEGREES = 0.3
_HINT = "Nothing was stored; the last good weather stays in use. If it stays like this, the service has changed."
_NUMBERS = frozenset({float, int, NoneType})


@dataclass(frozen=True)
class Variable:
    """One of the provider's hourly variables. ``ends_hour``: its label is the end of the hour it covers, ours is the start.

    ``may_be_empty``: not every model has it, so a column of nulls is an answer; without the others there is no weather.
    """

    ours: str
    unit: str
    ends_hour: bool
    may_be_empty: bool = False


def malformed(what: str) -> WeatherMalformed:
    """The error for an answer that is not what was asked for; ``what`` goes on after the provider's name."""
    return WeatherMalformed(f"{SOURCE.name} {what}", source=SOURCE.name, hint=_HINT)


def block(answer: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """A named object inside the answer. Raises: WeatherMalformed."""
    found = answer.get(name)
    if not isinstance(found, Mapping):
        raise malformed(f"sent {kind(found)} where {name!r} should be")
    return found


def kind(value: Any) -> str:
    """What a JSON value is, in words."""
    words = {list: "a list", dict: "an object", str: "text", bool: "a truth value", int: "a number", float: "a number"}
    return words.get(type(value), "nothing")


def read_columns(answer: Any, columns: Mapping[str, Variable], *, latitude: float, longitude: float) -> tuple[Stamps, dict[str, Floats]]:
    """Labels [unix s], shape (hour,), and the values of each column of the answer, shape (hour,), NaN for null.

    Checked: kind, place, units, that hours are whole and without gaps, lengths, kinds of values, plausible ranges. Not checked: gaps,
    see ``check_present``. Raises: WeatherMalformed, which says what is wrong and where.
    """
    if not isinstance(answer, Mapping):
        raise malformed(f"sent {kind(answer)} in place of one place's weather")
    _check_place(answer, latitude, longitude)
    hourly = block(answer, "hourly")
    _check_units(block(answer, "hourly_units"), columns)
    stamps = _stamps(hourly.get("time"))
    return stamps, {name: _column(name, hourly.get(name), stamps, variable) for name, variable in columns.items()}


def check_present(values: Mapping[str, Floats], columns: Mapping[str, Variable]) -> None:
    """Refuse an answer with hardly any values in it. Raises: WeatherMalformed."""
    for name, variable in columns.items():
        present = np.isfinite(values[name])
        if not variable.may_be_empty and (not present.size or present.mean() < _LEAST_PRESENT_SHARE):
            raise malformed(f"sent {int(present.sum())} values of {name} for {present.size} hours")


def onto_hour_starts(stamps: Stamps, values: Mapping[str, Floats], columns: Mapping[str, Variable]) -> pd.DataFrame:
    """The values in canonical columns, shape (hour + 1, variable): sums and means moved one hour back, to the hour's start.

    One hour more at the front: what ends with the first label began an hour before it. Radiation a little below 0 becomes 0.
    """
    index = pd.to_datetime(np.concatenate(([stamps[0] - SECONDS_PER_HOUR], stamps)), unit="s", utc=True)
    canonical = pd.DataFrame(np.nan, index=index, columns=list(VARIABLES))
    for name, variable in columns.items():
        canonical[variable.ours] = shifted(values[name], variable)
    return canonical


def shifted(values: npt.NDArray[Any], variable: Variable) -> npt.NDArray[Any]:
    """Values along the last axis as hours from one before the first label on: one longer, NaN where nothing is said."""
    blank = np.full((*values.shape[:-1], 1), np.nan, dtype=values.dtype)
    moved = np.concatenate((values, blank) if variable.ends_hour else (blank, values), axis=-1)
    if variable.ours == frame.SHORTWAVE:
        np.maximum(moved, 0.0, out=moved)
    return moved + 0.0  # turns -0.0 into 0.0


def moment(stamp: np.int64 | int) -> str:
    """A label in words."""
    return f"{datetime.fromtimestamp(int(stamp), tz=UTC):%Y-%m-%d %H:%M} UTC"


def _check_place(answer: Mapping[str, Any], latitude: float, longitude: float) -> None:
    for name, asked in (("latitude", latitude), ("longitude", longitude)):
        given = answer.get(name)
        if type(given) not in (int, float):
            raise malformed(f"does not say for which {name} its answer is")
        answered = _number(given)
        away = abs(answered - asked)
        if name == "longitude":
            away = min(away, abs(360.0 - away))  # 179.9 and -179.9 are neighbours
        if not away <= _FARTHEST_DEGREES:
            raise malformed(f"answered for {name} {answered:g} where {asked:g} was asked")


def _check_units(units: Mapping[str, Any], columns: Mapping[str, Variable]) -> None:
    # "undefined" is the unit of a variable that no model has at the place (memory).
    wrong = [
        f"{name} in {units[name]!r}, not {unit!r}" if name in units else f"no {name}"
        for name, unit, may_be_empty in (("time", "unixtime", False), *((n, v.unit, v.may_be_empty) for n, v in columns.items()))
        if units.get(name) != unit and not (may_be_empty and units.get(name) == "undefined")
    ]
    if wrong:
        raise malformed(f"sent other variables or units than asked for: {'; '.join(wrong)}")


def _stamps(times: Any) -> Stamps:
    if not isinstance(times, list) or not times:
        raise malformed("sent no hours")
    if not all(type(time) is int and abs(time) < 2**40 for time in times):
        raise malformed("sent times that are not unix seconds")
    stamps = np.array(times, dtype=np.int64)
    broken = np.flatnonzero(np.diff(stamps) != SECONDS_PER_HOUR)
    if broken.size:
        raise malformed(f"sent hours that are not one hour apart after {moment(stamps[broken[0]])}")
    if stamps[0] % SECONDS_PER_HOUR:
        raise malformed(f"sent times that are not full hours, the first {moment(stamps[0])}")
    return stamps


def _column(name: str, given: Any, stamps: Stamps, variable: Variable) -> Floats:
    if not isinstance(given, list) or len(given) != len(stamps):
        what = f"{len(given)} values" if isinstance(given, list) else kind(given)
        raise malformed(f"sent {what} of {name} for {len(stamps)} hours")
    if not _NUMBERS.issuperset(map(type, given)):
        odd = next(position for position, value in enumerate(given) if type(value) not in _NUMBERS)
        raise malformed(f"sent {kind(given[odd])} as {name} at {moment(stamps[odd])}")
    try:
        values = np.array(given, dtype=np.float64)  # None becomes NaN
    except OverflowError:
        values = np.array([_number(value) for value in given], dtype=np.float64)
    allowed = HOURLY_RANGES[variable.ours]
    outside = np.flatnonzero((values < allowed.lowest) | (values > allowed.highest))
    if outside.size:
        worst = outside[0]
        raise malformed(f"sent {name} = {values[worst]:g} {variable.unit} at {moment(stamps[worst])}, which cannot be")
    return values


def _number(value: Any) -> float:
    if value is None:
        return math.nan
    try:
        return float(value)
    except OverflowError:  # JSON knows whole numbers of any length
        return math.inf
