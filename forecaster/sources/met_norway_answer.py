"""MET Norway's Locationforecast: what its answer (`complete` or `compact`) means. The only module that knows its names, units and habits.

Steps are an hour apart for two or three days, then six. Temperature, dew point, humidity and wind are instants; rain is the sum of the one
or six hours that *begin* at the step, so nothing is moved. Sums of six hours overlap where steps are closer: they are not added up.

There is no radiation. The cloud that the service gives is not turned into some on purpose: it would look as if the service had said it,
and would keep out an older forecast that knows better. Left missing, it comes from another source, or from the procedures for missing
weather, which name each day they had to help.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.errors import WeatherMalformed
from forecaster.physics.humidity import saturation_vapour_pressure
from forecaster.quantities import Origin
from forecaster.sources import checks
from forecaster.sources.checks import Located, kind_of, number_of
from forecaster.weather import frame
from forecaster.weather.frame import ORIGIN_CODES, VARIABLES, HourlyWeather, WeatherSource
from forecaster.weather.quality import HOURLY_RANGES, Plausible

Floats = npt.NDArray[np.float64]
Hours = npt.NDArray[np.int64]

SOURCE = WeatherSource(
    name="MET Norway", attribution="Data from MET Norway", licence="NLOD 2.0 / CC BY 4.0", link="https://api.met.no/"
)  # fmt: skip
WIND_HEIGHT_M = 10.0


@dataclass(frozen=True)
class Variable:
    """One of the provider's numbers: where in a step it stands, its unit, and what it can be."""

    period: str
    name: str
    unit: str
    allowed: Plausible


_AIR, _RAIN = HOURLY_RANGES[frame.AIR_TEMPERATURE], HOURLY_RANGES[frame.PRECIPITATION]
_RAIN_OF_SIX = Plausible(_RAIN.called, _RAIN.lowest, 6 * _RAIN.highest, _RAIN.unit)

# Source: the provider's data model of the forecast: names, units as answered in meta, instants and periods. All of them may be missing.
INSTANTS: dict[str, Variable] = {
    frame.AIR_TEMPERATURE: Variable("instant", "air_temperature", "celsius", _AIR),
    frame.DEW_POINT: Variable("instant", "dew_point_temperature", "celsius", HOURLY_RANGES[frame.DEW_POINT]),
    frame.RELATIVE_HUMIDITY: Variable("instant", "relative_humidity", "%", HOURLY_RANGES[frame.RELATIVE_HUMIDITY]),
    frame.WIND_SPEED: Variable("instant", "wind_speed", "m/s", HOURLY_RANGES[frame.WIND_SPEED]),
}
RAIN_OF_ONE = Variable("next_1_hours", "precipitation_amount", "mm", _RAIN)
RAIN_OF_SIX = Variable("next_6_hours", "precipitation_amount", "mm", _RAIN_OF_SIX)
WARMEST_OF_SIX = Variable("next_6_hours", "air_temperature_max", "celsius", _AIR)
COLDEST_OF_SIX = Variable("next_6_hours", "air_temperature_min", "celsius", _AIR)

SIX = 6
# Between steps further apart nothing is known. Status: practice.
LONGEST_STEP_HOURS = SIX
# The service forecasts nine to ten days; more is a wrong year, less than a day no forecast. Status: practice.
FEWEST_HOURS, MOST_HOURS = 24, 24 * 20
# An answer with more holes than this is a fault at the provider and not weather. Status: practice.
LEAST_PRESENT_SHARE = 0.5
NO_RADIATION_NOTE = "MET Norway gives no radiation: where no other weather has it, it is estimated from the temperatures."


def read_answer(answer: Any, place: Located, *, now: datetime) -> HourlyWeather:
    """Check a parsed answer and turn it into the canonical frame; everything in it is forecast.

    ``issued_at`` is when the service last worked the forecast out, or ``now`` if that should be later. Where steps are further apart than
    an hour, instants are interpolated linearly in time, the temperature by way of the six hours' highest and lowest where those lie
    outside its two ends (assumption: in their middle); humidity follows from temperature and dew point where both are known; a six-hour
    sum of rain, less what is known of its hours, is spread evenly. A note says from when on. What is missing stays NaN.

    Raises: WeatherMalformed when units, place, times, number of values or ranges are not those of a forecast for the place.
    """
    properties = checks.block_of(SOURCE.name, answer, "properties")
    checks.require_near(SOURCE.name, checks.block_of(SOURCE.name, answer, "geometry").get("coordinates"), place)
    meta = checks.block_of(SOURCE.name, properties, "meta")
    steps = properties.get("timeseries")
    if not isinstance(steps, list) or not steps:
        raise _malformed("sent no hours")
    first, hours = _hours([step.get("time") if isinstance(step, Mapping) else None for step in steps])
    series = _Series(steps, hours, first, checks.block_of(SOURCE.name, meta, "units"))

    length = int(hours[-1]) + SIX
    table = {name: np.full(length, np.nan) for name in VARIABLES}
    for name, variable in INSTANTS.items():
        known_hours, known = hours, series.values(variable)
        if name == frame.AIR_TEMPERATURE:
            known_hours, known = _with_extremes(hours, known, series.values(WARMEST_OF_SIX), series.values(COLDEST_OF_SIX))
        table[name] = _between(known_hours, known, length)
    _fit_humidity(table, interpolated=~np.isin(np.arange(length), hours))
    table[frame.PRECIPITATION] = _rain(hours, series.values(RAIN_OF_ONE), series.values(RAIN_OF_SIX), length)
    for name in (frame.AIR_TEMPERATURE, frame.PRECIPITATION):
        present = np.isfinite(table[name][: hours[-1] + 1])
        if present.mean() < LEAST_PRESENT_SHARE:
            raise _malformed(f"sent {name} for {int(present.sum())} of {len(present)} hours")
    return _frame(table, first, hours, issued_at=min(_moment(meta.get("updated_at"), "when it was made"), now.astimezone(UTC)), now=now)


class _Series:
    """The steps of an answer, from which one variable after the other is read and checked."""

    def __init__(self, steps: Sequence[Any], hours: Hours, first: datetime, units: Mapping[str, Any]) -> None:
        self._steps = steps
        self._when = [_said(first, hour) for hour in hours]
        self._units = units

    def values(self, variable: Variable) -> Floats:
        """Shape (step,); NaN where it is missing. Raises: WeatherMalformed."""
        name = variable.name
        found = np.array([self._value(variable, step, when) for step, when in zip(self._steps, self._when, strict=True)])
        if np.isfinite(found).any() and self._units.get(name) != variable.unit:
            raise _malformed(f"sent {name} in {self._units.get(name)!r}, not {variable.unit!r}")
        for value, when in zip(found, self._when, strict=True):
            checks.require_possible(SOURCE.name, name, value, variable.allowed, when)
        return found

    def _value(self, variable: Variable, step: Any, when: str) -> float:
        holder = step
        for name in ("data", variable.period, "details"):
            holder = holder.get(name, {})
            if not isinstance(holder, Mapping):
                raise _malformed(f"sent {kind_of(holder)} where {name!r} should be at {when}")
        return number_of(SOURCE.name, variable.name, holder.get(variable.name), when)


def _hours(times: Sequence[Any]) -> tuple[datetime, Hours]:
    """The first step's time, and how many hours after it each step lies."""
    moments = [_moment(time, "an hour") for time in times]
    hours = np.array([(moment - moments[0]).total_seconds() / 3600.0 for moment in moments])
    if moments[0] != moments[0].replace(minute=0, second=0, microsecond=0) or (hours % 1.0 > 0.0).any():
        raise _malformed("sent times that are not full hours")
    if (np.diff(hours) <= 0.0).any():
        raise _malformed("sent hours that do not follow each other")
    if not FEWEST_HOURS <= hours[-1] <= MOST_HOURS:
        raise _malformed(f"sent a forecast of {hours[-1]:.0f} hours")
    return moments[0], hours.astype(np.int64)


def _moment(text: Any, what: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
        if moment.utcoffset() is None:
            raise ValueError
        return moment.astimezone(UTC)
    except (TypeError, ValueError, OverflowError):
        pass  # told below, without the library's words
    raise _malformed(f"does not say {what} as a time in UTC")


def _with_extremes(hours: Hours, temperature: Floats, warmest: Floats, coldest: Floats) -> tuple[Hours, Floats]:
    """Steps with one more in the middle of six hours whose highest or lowest temperature lies outside both ends; two if both do."""
    known: list[tuple[int, float]] = []
    for step, (hour, value) in enumerate(zip(hours.tolist(), temperature.tolist(), strict=True)):
        known.append((hour, value))
        if step + 1 == len(hours) or hours[step + 1] - hour != SIX:
            continue
        ends = (value, float(temperature[step + 1]))
        between = [
            extreme for extreme, out in ((coldest[step], coldest[step] < min(ends)), (warmest[step], warmest[step] > max(ends))) if out
        ]
        if ends[1] < ends[0]:
            between.reverse()  # it gets colder: the highest comes first
        places = {1: (3,), 2: (2, 4)}.get(len(between), ())
        known += [(hour + place, float(extreme)) for place, extreme in zip(places, between, strict=True)]
    return np.array([hour for hour, _ in known]), np.array([value for _, value in known])


def _between(hours: Hours, values: Floats, length: int) -> Floats:
    """Hourly values from steps, linear in time between neighbours that both have a value."""
    series = np.full(length, np.nan)
    series[hours] = values
    for (left, earlier), (right, later) in pairwise(zip(hours.tolist(), values.tolist(), strict=True)):
        if 1 < right - left <= LONGEST_STEP_HOURS:
            series[left + 1 : right] = np.linspace(earlier, later, right - left + 1)[1:-1]
    return series


def _fit_humidity(table: dict[str, Floats], *, interpolated: npt.NDArray[np.bool_]) -> None:
    """In interpolated hours keep the dew point at most at the temperature, and take the humidity that follows from both."""
    air, dew, percent = table[frame.AIR_TEMPERATURE], table[frame.DEW_POINT], table[frame.RELATIVE_HUMIDITY]
    both = interpolated & np.isfinite(air) & np.isfinite(dew)
    dew[both] = np.minimum(dew[both], air[both])
    # At most 100 %: saturated air must not pass it by rounding, or it would be taken out as impossible.
    percent[both] = np.minimum(100.0 * saturation_vapour_pressure(dew[both]) / saturation_vapour_pressure(air[both]), 100.0)


def _rain(hours: Hours, of_one: Floats, of_six: Floats, length: int) -> Floats:
    """Hourly sums: those of one hour as they are; a sum of six, less what is known of its hours, evenly over the rest of them.

    A sum of six counts only where an hour before the next step is not known yet, so that none is counted twice.
    """
    rain = np.full(length, np.nan)
    rain[hours] = of_one
    until = [*hours[1:].tolist(), int(hours[-1]) + SIX]
    for hour, following, amount in zip(hours.tolist(), until, of_six.tolist(), strict=True):
        six = rain[hour : hour + SIX]
        unknown = np.isnan(six)
        if np.isfinite(amount) and unknown[: following - hour].any():
            six[unknown] = max(amount - float(np.nansum(six)), 0.0) / int(unknown.sum())
    return rain


def _frame(table: Mapping[str, Floats], first: datetime, hours: Hours, *, issued_at: datetime, now: datetime) -> HourlyWeather:
    known = np.flatnonzero(np.isfinite(np.array([table[name] for name in VARIABLES])).any(axis=0))
    index = pd.date_range(first, periods=int(known[-1]) + 1, freq="h")
    values = pd.DataFrame({name: table[name][: len(index)] + 0.0 for name in VARIABLES}, index=index)  # + 0.0 turns -0.0 into 0.0
    forecast = np.where(values.isna().to_numpy(), 0, ORIGIN_CODES[Origin.FORECAST]).astype(np.int8)
    notes = [NO_RADIATION_NOTE]
    wide = np.flatnonzero(np.diff(hours) > 1)
    rough = None
    if wide.size:
        rough = np.arange(len(index)) >= hours[wide[0]]
        since, widest = _said(first, hours[wide[0]]), int(np.diff(hours).max())
        notes.append(f"From {since} on in steps of up to {widest} hours: hours are interpolated, and rain is spread evenly over its hours.")
    if index[-1] < pd.Timestamp(now):
        notes.append(f"The answer ends at {index[-1]:%Y-%m-%d %H:%M} UTC, before it was asked for.")
    return HourlyWeather(
        values=values,
        origins=pd.DataFrame(forecast, index=index, columns=list(VARIABLES)),
        source=SOURCE,
        issued_at=issued_at,
        wind_height_m=WIND_HEIGHT_M,
        notes=tuple(notes),
        rough=rough,
    )


def _said(first: datetime, hour: np.int64) -> str:
    return f"{pd.Timestamp(first) + pd.Timedelta(hours=int(hour)):%Y-%m-%d %H:%M} UTC"


def _malformed(what: str) -> WeatherMalformed:
    return checks.malformed(SOURCE.name, what)
