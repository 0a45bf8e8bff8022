"""What every reader of an answer asks of it: the right kind of value, the right place, and an error that says what is wrong."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Protocol

from forecaster.errors import WeatherMalformed
from forecaster.weather.quality import Plausible

# An answer may name the middle of its grid cell in place of the place asked for. Status: practice.
FARTHEST_DEGREES = 0.3
HINT = "Nothing was stored; the last good weather stays in use. If it stays like this, the service has changed."


class Located(Protocol):
    """Anything that knows where it lies: a ground, for one."""

    @property
    def latitude(self) -> float: ...
    @property
    def longitude(self) -> float: ...
    @property
    def elevation_m(self) -> float: ...


def malformed(source: str, what: str) -> WeatherMalformed:
    """The error for an answer that is not the weather asked for; ``what`` goes on from the source's name."""
    return WeatherMalformed(f"{source} {what}", source=source, hint=HINT)


def kind_of(value: Any) -> str:
    """Name what a JSON value is, for a person."""
    words = {list: "a list", dict: "an object", str: "text", bool: "a truth value", int: "a number", float: "a number"}
    return words.get(type(value), "nothing")


def block_of(source: str, holder: Any, *names: str) -> Mapping[str, Any]:
    """The object below these names. Raises: WeatherMalformed where there is none."""
    for name in names:
        holder = holder.get(name) if isinstance(holder, Mapping) else None
        if not isinstance(holder, Mapping):
            raise malformed(source, f"sent {kind_of(holder)} where {name!r} should be")
    assert isinstance(holder, Mapping)
    return holder


def number_of(source: str, name: str, value: Any, when: str) -> float:
    """A JSON number as float, NaN for null. Raises: WeatherMalformed for text and truth values, which JSON also knows."""
    if value is None:
        return math.nan
    if type(value) not in (int, float):
        raise malformed(source, f"sent {kind_of(value)} as {name} at {when}")
    try:
        return float(value)
    except OverflowError:  # JSON knows whole numbers of any length
        return math.inf if value > 0 else -math.inf


def require_possible(source: str, name: str, value: float, allowed: Plausible, when: str) -> None:
    """Raises: WeatherMalformed where a number (NaN is none) is no weather: units or fill values have changed."""
    if value < allowed.lowest or value > allowed.highest:
        raise malformed(source, f"sent {name} = {value:g} at {when}, which cannot be: it must be {allowed}")


def require_near(source: str, coordinates: Any, place: Located) -> None:
    """Raises: WeatherMalformed where GeoJSON coordinates (longitude first) do not lie near the place asked for."""
    if not isinstance(coordinates, list) or len(coordinates) < 2:
        raise malformed(source, "does not say for which place its answer is")
    for name, given, asked in (("longitude", coordinates[0], place.longitude), ("latitude", coordinates[1], place.latitude)):
        answered = number_of(source, name, given, "its place")
        away = abs(answered - asked)
        if name == "longitude":
            away = min(away, abs(360.0 - away))  # 179.9 and -179.9 are neighbours
        if not away <= FARTHEST_DEGREES:
            raise malformed(source, f"answered for {name} {answered:g} where {asked:g} was asked")
