"""Join the newest weather with older issues of it: what the newest does not say, an older one may."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from forecaster.weather.frame import SOIL_TEMPERATURE, VARIABLES, WIND_SPEED, HourlyWeather


def overlay(newest: HourlyWeather, older: Sequence[HourlyWeather], *, since: datetime) -> HourlyWeather:
    """Join frames of one place, hour by hour and variable by variable: the newest value wins, older issues fill the rest.

    ``older`` may stand in any order; the later issue goes before the earlier. The result runs from the hour of ``since`` (or the
    first hour known after it) to the last hour of any frame; what nobody knows stays NaN, and every value keeps the origin it was
    issued with: a forecast of an hour that has passed is still a forecast. Source, attribution, time of issue and wind height are
    the newest's. Wind at another height and soil temperature at another depth are other quantities and are not joined in. Notes
    say when, and from which issue, older values were used. Status: practice.
    """
    frames = [newest, *sorted(older, key=lambda frame: frame.issued_at, reverse=True)]
    index = _joined_hours(frames, since=since)
    values = np.full((len(index), len(VARIABLES)), np.nan)
    codes = np.zeros((len(index), len(VARIABLES)), dtype=np.int8)
    filled_hours = np.zeros(len(index), dtype=np.bool_)
    used: list[HourlyWeather] = []
    for frame in frames:
        offered = frame.values.reindex(index).to_numpy()
        take = np.isnan(values) & ~np.isnan(offered) & _same_quantity(frame, newest)
        if frame is not newest and take.any():
            used.append(frame)
            filled_hours |= take.any(axis=1)
        values[take] = offered[take]
        codes[take] = frame.origins.reindex(index, fill_value=0).to_numpy()[take]
    return HourlyWeather(
        values=pd.DataFrame(values, index=index, columns=list(VARIABLES)),
        origins=pd.DataFrame(codes, index=index, columns=list(VARIABLES)),
        source=newest.source,
        issued_at=newest.issued_at,
        wind_height_m=newest.wind_height_m,
        soil_temperature_depth_cm=newest.soil_temperature_depth_cm,
        notes=(*newest.notes, *_notes(used, int(filled_hours.sum()))),
    )


def _joined_hours(frames: Sequence[HourlyWeather], *, since: datetime) -> pd.DatetimeIndex:
    """Every hour from ``since`` on that lies between the first and the last hour of any frame."""
    start = pd.Timestamp(since).tz_convert("UTC").floor("h")
    known = [frame.values.index for frame in frames if len(frame.values.index) and frame.values.index[-1] >= start]
    if not known:
        return pd.DatetimeIndex([], tz="UTC")
    first = max(start, min(index[0] for index in known))
    return pd.date_range(first, max(index[-1] for index in known), freq="h")


def _same_quantity(frame: HourlyWeather, newest: HourlyWeather) -> np.ndarray:
    """Which variables of ``frame`` mean the same thing as the newest's, shape (variable,)."""
    same = np.ones(len(VARIABLES), dtype=np.bool_)
    same[VARIABLES.index(WIND_SPEED)] = frame.wind_height_m == newest.wind_height_m
    same[VARIABLES.index(SOIL_TEMPERATURE)] = frame.soil_temperature_depth_cm == newest.soil_temperature_depth_cm
    return same


def _notes(used: Sequence[HourlyWeather], hours: int) -> tuple[str, ...]:
    if not used:
        return ()
    last = used[0]
    others = f" and {len(used) - 1} earlier" if len(used) > 1 else ""
    which = f"{last.source.name} of {last.issued_at:%Y-%m-%d %H:%M} UTC{others}"
    return (f"{hours} {'hour is' if hours == 1 else 'hours are'} filled in from older weather: {which}.",)
