"""Join weather of one place from several frames: what the most trusted does not say, the next may, value by value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics.evapotranspiration import wind_speed_at_2m
from forecaster.weather.frame import (
    SOIL_TEMPERATURE,
    USED_SOIL_DEPTH_CM,
    VARIABLES,
    WIND_SPEED,
    HourlyWeather,
    TakenOut,
    WeatherSource,
)

NOBODY = -1


@dataclass(frozen=True)
class Joined:
    """A frame joined from a ladder of frames.

    ``rungs``: the frames, most trusted first. ``rung_of``: DataFrame of the frame's shape, int8: which rung a value came from, NOBODY where
    there is none. Model, time of issue and age of a value are its rung's; its origin stands in the frame.
    """

    frame: HourlyWeather
    rungs: tuple[HourlyWeather, ...]
    rung_of: pd.DataFrame


def join(rungs: Sequence[HourlyWeather], *, since: datetime) -> Joined:
    """Join frames by trust: of each value the first rung that has it counts.

    The result runs from the hour of ``since`` (or the first hour known after it) to the last hour of any rung; what nobody knows stays
    NaN, and every value keeps the origin it was issued with: a forecast of an hour that has passed is still a forecast. Wind of another
    height is brought to the first rung's by the profile of FAO-56 eq. 47. Soil temperature of another depth is another quantity and is not
    joined in: that of the first rung within ``USED_SOIL_DEPTH_CM`` is taken, or of the first that has one; notes name those left aside.
    An hour is rough where any of its values is. Of what checks took out, what would have counted is named. Source and attribution name
    every rung that gave a value; time of issue is the first rung's. Notes say what was filled in from where. Status: practice.
    """
    first = rungs[0]
    index = _joined_hours(rungs, since=since)
    values = np.full((len(index), len(VARIABLES)), np.nan)
    origins = np.zeros((len(index), len(VARIABLES)), dtype=np.int8)
    rung_of = np.full((len(index), len(VARIABLES)), NOBODY, dtype=np.int8)
    depth = _soil_depth(rungs)
    rough = np.zeros(len(index), dtype=np.bool_)
    for number, rung in enumerate(rungs):
        offered = _offered(rung, index, wind_height_m=first.wind_height_m, soil_depth_cm=depth)
        take = np.isnan(values) & ~np.isnan(offered)
        values[take] = offered[take]
        origins[take] = rung.origins.reindex(index, fill_value=0).to_numpy()[take]
        rung_of[take] = number
        rough |= take.any(axis=1) & pd.Series(rung.rough_hours, index=rung.values.index).reindex(index, fill_value=False).to_numpy()
    used = [rung for number, rung in enumerate(rungs) if number == 0 or (rung_of == number).any()]
    columns = list(VARIABLES)
    frame = HourlyWeather(
        values=pd.DataFrame(values, index=index, columns=columns),
        origins=pd.DataFrame(origins, index=index, columns=columns),
        source=_joined_source([rung.source for rung in used]),
        issued_at=first.issued_at,
        wind_height_m=first.wind_height_m,
        soil_temperature_depth_cm=depth,
        notes=tuple(
            dict.fromkeys((*(note for rung in used for note in rung.notes), *soil_notes(rungs, depth), *_filled_in(rungs, rung_of)))
        ),
        rough=rough,
        taken_out=_missed(rungs, index, rung_of),
    )
    return Joined(frame, tuple(rungs), pd.DataFrame(rung_of, index=index, columns=columns))


def _soil_depth(rungs: Sequence[HourlyWeather]) -> float | None:
    """The depth of the joined soil temperature: a probe at another depth must not keep out a forecast that can be used."""
    there = [rung for rung in rungs if rung.soil_temperature_depth_cm is not None and rung.values[SOIL_TEMPERATURE].notna().any()]
    depths = [rung.soil_temperature_depth_cm for rung in there or rungs if rung.soil_temperature_depth_cm is not None]
    return next((depth for depth in depths if USED_SOIL_DEPTH_CM[0] <= depth <= USED_SOIL_DEPTH_CM[1]), next(iter(depths), None))


def soil_notes(rungs: Sequence[HourlyWeather], used_cm: float | None) -> tuple[str, ...]:
    """Which soil temperature is used, which is left aside, and why; empty where there is nothing to choose."""
    names: dict[float, list[str]] = {}
    for rung in rungs:
        depth = rung.soil_temperature_depth_cm
        if depth is not None and rung.values[SOIL_TEMPERATURE].notna().any():
            names.setdefault(depth, []).append(rung.source.name)
    low, high = USED_SOIL_DEPTH_CM
    told = []
    for depth, sources in names.items():
        said = f"Soil temperature at {depth:g} cm from {' and '.join(dict.fromkeys(sources))}"
        fits = low <= depth <= high
        if depth != used_cm:
            why = "layers of different depth are never joined" if fits else f"it is wanted at 5 cm, which {low:g} to {high:g} cm stands for"
            instead = f"; used is that at {used_cm:g} cm from {' and '.join(dict.fromkeys(names[used_cm]))}" if used_cm in names else ""
            told.append(f"{said} is not used: {why}{instead}.")
        elif not fits:
            told.append(f"{said} is not used: it is wanted at 5 cm, which {low:g} to {high:g} cm stands for. It is simulated instead.")
        elif len(names) > 1:
            told.append(f"{said} is used; where it is missing, soil temperature is simulated from the weather.")
    return tuple(told)


def _missed(rungs: Sequence[HourlyWeather], index: pd.DatetimeIndex, rung_of: npt.NDArray[np.int8]) -> tuple[TakenOut, ...]:
    """What checks took out that would have counted: no rung above gave a value there."""
    found = []
    for number, rung in enumerate(rungs):
        for taken in rung.taken_out:
            codes = rung_of[:, VARIABLES.index(taken.variable)]
            counts = taken.at(index[(codes == NOBODY) | (codes > number)])
            if len(counts.hours):
                found.append(counts)
    return tuple(found)


def by_age(frames: Sequence[HourlyWeather]) -> list[HourlyWeather]:
    """Frames by their time of issue, latest first."""
    return sorted(frames, key=lambda frame: frame.issued_at, reverse=True)


def _offered(rung: HourlyWeather, index: pd.DatetimeIndex, *, wind_height_m: float, soil_depth_cm: float | None) -> npt.NDArray[np.float64]:
    """The values of a rung at the joined hours, as the same quantities as the joined ones, shape (hour, variable)."""
    offered = rung.values.reindex(index).to_numpy(dtype=np.float64, copy=True)
    if rung.wind_height_m != wind_height_m:
        per_2m = float(wind_speed_at_2m(1.0, wind_height_m))
        offered[:, VARIABLES.index(WIND_SPEED)] *= float(wind_speed_at_2m(1.0, rung.wind_height_m)) / per_2m
    if rung.soil_temperature_depth_cm != soil_depth_cm:
        offered[:, VARIABLES.index(SOIL_TEMPERATURE)] = np.nan
    return offered


def _joined_hours(frames: Sequence[HourlyWeather], *, since: datetime) -> pd.DatetimeIndex:
    """Every hour from ``since`` on that lies between the first and the last hour of any frame."""
    start = pd.Timestamp(since).tz_convert("UTC").floor("h")
    known = [frame.values.index for frame in frames if len(frame.values.index) and frame.values.index[-1] >= start]
    if not known:
        return pd.DatetimeIndex([], tz="UTC")
    first = max(start, min(index[0] for index in known))
    return pd.date_range(first, max(index[-1] for index in known), freq="h")


def _joined_source(sources: Sequence[WeatherSource]) -> WeatherSource:
    different = list(dict.fromkeys(sources))
    if len(different) == 1:
        return different[0]

    def listed(words: Sequence[str]) -> str:
        return "; ".join(dict.fromkeys(word for word in words if word))

    return replace(
        different[0],
        name=" and ".join(dict.fromkeys(source.name for source in different)),
        attribution=listed([source.attribution for source in different]),
        licence=listed([source.licence for source in different]),
        link=next((source.link for source in different if source.link), None),
        sample=any(source.sample for source in different),
    )


def _filled_in(rungs: Sequence[HourlyWeather], rung_of: npt.NDArray[np.int8]) -> tuple[str, ...]:
    """What older issues and other sources filled in, one sentence a source: how many hours, from which issue."""
    found: dict[str, tuple[int, datetime]] = {}
    for number, rung in enumerate(rungs[1:], start=1):
        hours = int((rung_of == number).any(axis=1).sum())
        if hours:
            whence = f"older weather from {rung.source.name}" if rung.source == rungs[0].source else rung.source.name
            before, latest = found.get(whence, (0, rung.issued_at))
            found[whence] = (before + hours, max(latest, rung.issued_at))
    told = []
    for whence, (hours, latest) in found.items():
        verb = "hour is" if hours == 1 else "hours are"
        told.append(f"{hours} {verb} filled in from {whence}, issued at {latest:%Y-%m-%d %H:%M} UTC at the latest.")
    return tuple(told)
