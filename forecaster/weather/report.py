"""Say what is known of a ground's weather, from the frames that were joined."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from forecaster.quantities import Origin
from forecaster.weather.frame import CALLED, ORIGIN_CODES, ORIGINS_BY_CODE, PRECIPITATION, VARIABLES, HourlyWeather
from forecaster.weather.merge import NOBODY, Joined
from forecaster.weather.overlap import Overlap, overlaps
from forecaster.weather.series_checks import MISSING_HOURS
from forecaster.weather_report import Difference, KnownQuantity, KnownSource, NotUsed, OriginalValue, WeatherReport

SHOWN_DAYS = 92


def weather_report(
    ground_id: str, joined: Joined, *, now: datetime, unread: Sequence[NotUsed] = (), notes: Sequence[str] = ()
) -> WeatherReport:
    """What is known of the last 92 days and ahead.

    ``unread``: what readers of files did not take in; ``notes``: what else is to be told, before what the joined frame tells.
    """
    since = pd.Timestamp(now - timedelta(days=SHOWN_DAYS)).tz_convert("UTC").floor("h")
    index = pd.DatetimeIndex(joined.frame.values.index)
    shown = np.asarray(index >= since)
    codes = joined.rung_of.to_numpy()[shown]
    ahead = np.asarray(index >= pd.Timestamp(now).floor("h"))
    rough = index[joined.frame.rough_hours & ahead]
    return WeatherReport(
        ground_id=ground_id,
        made_at_utc=now,
        since_utc=since.to_pydatetime(),
        sources=tuple(_source(rung, int((codes == number).any(axis=1).sum()), since) for number, rung in enumerate(joined.rungs)),
        quantities=tuple(_quantity(joined, name, shown, ahead) for name in VARIABLES),
        not_used=(*_not_used(joined.rungs, since), *unread),
        differences=tuple(_difference(overlap) for overlap in overlaps(joined.rungs, until=pd.Timestamp(now))),
        rough_from_utc=rough[0].to_pydatetime() if len(rough) else None,
        notes=tuple(dict.fromkeys((*notes, *_gaps(joined.rungs, since), *joined.frame.notes))),
    )


def _source(rung: HourlyWeather, used: int, since: pd.Timestamp) -> KnownSource:
    index = rung.values.index
    silent = rung.values.isna().all(axis=1).to_numpy() & np.asarray(index >= since)
    return KnownSource(
        name=rung.source.name,
        issued_at_utc=rung.issued_at,
        first_hour_utc=index[0].to_pydatetime() if len(index) else None,
        last_hour_utc=index[-1].to_pydatetime() if len(index) else None,
        hours_used=used,
        hours_missing=int(silent.sum()),
    )


def _gaps(rungs: Sequence[HourlyWeather], since: pd.Timestamp) -> list[str]:
    """Hours within its own span in which an instrument told nothing at all, one sentence an instrument."""
    told = []
    for rung in rungs:
        observed = (rung.origins.to_numpy() == ORIGIN_CODES[Origin.OBSERVED]).any(axis=1)
        if not observed.any():
            continue
        known = np.flatnonzero(observed)
        silent = ~observed & np.asarray(rung.values.index >= since)
        silent[: known[0]] = silent[known[-1] :] = False
        hours = np.flatnonzero(silent)
        runs = np.split(hours, np.flatnonzero(np.diff(hours) > 1) + 1)
        longest = max(runs, key=len)
        if len(longest) >= MISSING_HOURS.least_hours:
            first = pd.DatetimeIndex(rung.values.index)[longest[0]]
            told.append(
                f"{rung.source.name} told nothing in {len(hours)} hours between its first and its last, {len(longest)} of them in a "
                f"row from {first:%Y-%m-%d %H:%M} UTC on: {MISSING_HOURS.told} (check: {MISSING_HOURS.check}; {MISSING_HOURS.status})."
            )
    return told


def _quantity(joined: Joined, name: str, shown: np.ndarray, ahead: np.ndarray) -> KnownQuantity:
    series = joined.frame.values[name]
    codes = joined.rung_of[name].to_numpy()[shown]
    origins = joined.frame.origins[name].to_numpy()[shown]
    known = pd.DatetimeIndex(series.dropna().index)
    return KnownQuantity(
        quantity=CALLED[name][0],
        unit=CALLED[name][1],
        missing_past=_share(series[shown & ~ahead]),
        missing_ahead=_share(series[ahead]),
        known_until_utc=known[-1].to_pydatetime() if len(known) else None,
        sources=tuple(dict.fromkeys(joined.rungs[code].source.name for code in np.unique(codes) if code != NOBODY)),
        origins=tuple(dict.fromkeys(ORIGINS_BY_CODE[int(code)].value for code in np.unique(origins) if code)),
    )


def _share(series: pd.Series) -> float | None:
    return float(series.isna().mean()) if len(series) else None


def _not_used(rungs: Sequence[HourlyWeather], since: pd.Timestamp) -> list[NotUsed]:
    """By source, variable and rule; an hour that several issues of a source hold counts once, as the most trusted has it."""
    kinds: dict[tuple[str, str, str], NotUsed] = {}
    values: dict[tuple[str, str, str], dict[pd.Timestamp, float]] = {}
    for rung in rungs:
        for taken in rung.taken_out:
            key = (rung.source.name, taken.variable, taken.told)
            hours = values.setdefault(key, {})
            for hour, value in zip(taken.hours, taken.values, strict=True):
                if hour >= since:
                    hours.setdefault(hour, float(value))
            if hours and key not in kinds:
                called, unit = CALLED[taken.variable]
                kinds[key] = NotUsed(
                    source=rung.source.name,
                    quantity=called,
                    unit=unit,
                    check=taken.check,
                    why=taken.told.partition(": taken out")[0],
                    limits=taken.limits,
                    basis=taken.basis,
                    count=0,
                    first_hour_utc=None,
                    last_hour_utc=None,
                )
    return [kind.model_copy(update=_counted(values[key])) for key, kind in kinds.items()]


def _counted(hours: dict[pd.Timestamp, float]) -> dict[str, object]:
    order = sorted(hours)
    return {
        "count": len(order),
        "first_hour_utc": order[0].to_pydatetime(),
        "last_hour_utc": order[-1].to_pydatetime(),
        "originals": tuple(
            OriginalValue(hour_utc=hour.to_pydatetime(), value=hours[hour] if math.isfinite(hours[hour]) else None) for hour in order
        ),
    }


def _difference(overlap: Overlap) -> Difference:
    called, unit = CALLED[overlap.variable]
    rain = overlap.variable == PRECIPITATION
    one, two = overlap.sums
    return Difference(
        quantity=called,
        unit=unit,
        first=overlap.first,
        second=overlap.second,
        hours=overlap.hours,
        mean_difference=overlap.mean_difference,
        first_mean=one / overlap.hours,
        second_mean=two / overlap.hours,
        first_sum=one if rain else None,
        second_sum=two if rain else None,
    )
