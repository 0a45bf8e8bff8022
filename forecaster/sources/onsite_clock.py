"""Times of an on-site file → minutes in UTC: formats, clock changes both ways, clocks that keep winter time, offsets of any kind."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.ground.onsite import FileClock

Minutes = npt.NDArray[np.int64]
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
DAY = 1440

ONCE_OF_TWO = "this hour comes twice when the clocks go back, and the file does not tell which one is meant"
SKIPPED = "this time does not exist: the clocks go forward over it"


@dataclass(frozen=True)
class Times:
    """Starts of intervals in minutes since 1970 UTC, and the lines that have none, by position, with the reason."""

    starts: Minutes
    local: Minutes
    """The same on the file's own clock as it is written, before the interval is taken off."""
    faults: dict[int, str]
    problems: tuple[str, ...]


def written_like(format_: str) -> str:
    """How the third of April 2026, 17:05, looks in a format."""
    return datetime(2026, 4, 3, 17, 5, tzinfo=UTC).strftime(format_)


def read_times(clock: FileClock, texts: list[str]) -> Times:
    """Read the times of a file in the order in which they stand there. Seconds are rounded to the minute."""
    if clock.read_at is not None:
        texts = [f"{text} {clock.read_at:%H:%M}" for text in texts]
        clock = replace(clock, format=f"{clock.format} %H:%M", read_at=None)
    naive = _parsed(clock, texts)
    known = ~np.asarray(naive.isna())
    local = np.zeros(len(texts), dtype=np.int64)
    local[known] = (naive[known].as_unit("s").asi8 + 30) // 60
    wanted = f"a time like {written_like(clock.format)!r}"
    faults = {int(row): f"must be {wanted}" for row in np.flatnonzero(~known)}
    problems = _swapped(clock, texts, naive)
    if texts and not known.any():
        problems.append(f"time_format = {clock.format!r}: no line has {wanted}; the first is {texts[0]!r}")
    ends = _to_utc(clock, local, known, faults)
    starts = ends - clock.interval_minutes if clock.stamp == "end" else ends
    return Times(starts, local, faults, tuple(problems))


def local_minutes(clock: FileClock, utc: Minutes) -> Minutes:
    """What the file's own clock shows, in minutes since 1970; UTC where the format carries the offset."""
    if clock.zone is None:
        return utc
    if clock.clock_changes:
        index = pd.DatetimeIndex(utc.astype("datetime64[m]").astype("datetime64[s]"), tz="UTC")
        return index.tz_convert(clock.zone).tz_localize(None).as_unit("s").asi8 // 60
    return utc + _winter_offsets(clock, utc)


def _parsed(clock: FileClock, texts: list[str]) -> pd.DatetimeIndex:
    """Times as they stand there, NaT where they do not have the format; with an offset in the format, UTC."""
    format_ = clock.format
    cleaned = [text if any(letter.isdigit() for letter in text) else "" for text in texts]
    if "%p" in format_:
        cleaned = [re.sub(r"\b([aApP])\.\s?[mM]\.", r"\1m", text) for text in cleaned]
    parsed = _to_datetime(cleaned, format_)
    # Some instruments call the end of a day 24:00.
    midnight = [row for row in np.flatnonzero(np.asarray(parsed.isna())) if re.search(r"\b24:00", cleaned[row])]
    if midnight and "%H" in format_:
        again = _to_datetime([re.sub(r"\b24:00", "00:00", cleaned[row]) for row in midnight], format_)
        values = parsed.to_numpy(copy=True)
        values[midnight] = (again + timedelta(days=1)).to_numpy()
        parsed = pd.DatetimeIndex(values)
    return parsed


def _to_datetime(texts: list[str], format_: str) -> pd.DatetimeIndex:
    found = pd.DatetimeIndex(pd.to_datetime(pd.Series(texts, dtype=object), format=format_, errors="coerce", utc="%z" in format_))
    return (found.tz_localize(None) if found.tz is not None else found).as_unit("s")


def _swapped(clock: FileClock, texts: list[str], naive: pd.DatetimeIndex) -> list[str]:
    """Say where day and month have changed places: lines up to the twelfth read well and wrong, so none of the file may be used."""
    if not ("%d" in clock.format and "%m" in clock.format) or clock.format.startswith("%Y"):  # 2026-04-03 has one meaning
        return []
    other = clock.format.replace("%d", "%~").replace("%m", "%d").replace("%~", "%m")
    unread = [text for text, missing in zip(texts, naive.isna(), strict=True) if missing and text]
    # One such line is a slip of the pen, which is told by itself.
    swapped = int(np.count_nonzero(_to_datetime(unread, other).notna())) >= max(2, len(texts) // 100) if unread else False
    if not swapped:
        # A short file need not have a thirteenth day: then days in a row look like months in a row.
        there = [text for text, missing in zip(texts, naive.isna(), strict=True) if not missing]
        as_read, as_other = (np.unique(times[times.notna()].normalize().asi8) // 86400 for times in (naive, _to_datetime(there, other)))
        swapped = len(as_read) == len(as_other) > 2 and np.median(np.diff(as_read)) > 20 and np.median(np.diff(as_other)) <= 2
    if not swapped:
        return []
    return [f"time_format = {clock.format!r}: day and month have changed places in this file; {other!r} may be meant"]


def _to_utc(clock: FileClock, local: Minutes, known: npt.NDArray[np.bool_], faults: dict[int, str]) -> Minutes:
    if clock.zone is None:
        return local.copy()
    if not clock.clock_changes:
        return local - _winter_offsets(clock, local)
    utc = np.zeros(len(local), dtype=np.int64)
    rows = np.flatnonzero(known)
    stamps = pd.DatetimeIndex(local[rows].astype("datetime64[m]").astype("datetime64[s]"))
    sure = stamps.tz_localize(clock.zone, ambiguous="NaT", nonexistent="NaT")
    fine = ~np.asarray(sure.isna())
    utc[rows[fine]] = sure[fine].tz_convert("UTC").as_unit("s").asi8 // 60
    exists = ~np.asarray(stamps.tz_localize(clock.zone, ambiguous=np.ones(len(stamps), dtype=bool), nonexistent="NaT").isna())
    for row in rows[~exists]:
        faults[int(row)] = SKIPPED
    twice = rows[~fine & exists]
    put_back = _of_two(clock, int(local[twice[0]]), fold=1) - _of_two(clock, int(local[twice[0]]), fold=0) if twice.size else 0
    folds = _folds(local[rows], np.isin(rows, twice), interval=clock.interval_minutes, put_back=put_back)
    for row, fold in folds.items():
        at = int(rows[row])
        if fold is None:
            faults[at] = ONCE_OF_TWO
        else:
            utc[at] = _of_two(clock, int(local[at]), fold=fold)
    return utc


def _of_two(clock: FileClock, local: int, *, fold: int) -> int:
    """Minutes UTC of a time that comes twice: the first of both, or the second."""
    moment = (EPOCH.replace(tzinfo=None) + timedelta(minutes=local)).replace(tzinfo=clock.zone, fold=fold)
    return round((moment.astimezone(UTC) - EPOCH).total_seconds() / 60)


def _folds(local: Minutes, twice: npt.NDArray[np.bool_], *, interval: int, put_back: int) -> dict[int, int | None]:
    """For each time that comes twice, by its position: 0 the first time, 1 the second, None where the order of lines does not tell.

    A step back in a run of such times is where the clock was put back. Without one, the lines before and after say to which hour the run
    belongs, unless it joins both. Status: practice.
    """
    order = np.arange(len(local))
    steps = np.diff(local)
    if (steps < 0).sum() > (steps > 0).sum():
        order = order[::-1]  # newest first
    found: dict[int, int | None] = {}
    position = 0
    while position < len(order):
        if not twice[order[position]]:
            position += 1
            continue
        start = position
        while position < len(order) and twice[order[position]]:
            position += 1
        run = order[start:position]
        times = local[run]
        # Lines as far apart as the clock is put back show one time twice in a row; closer ones step back, and the same line twice in a row
        # is only doubled.
        backs = np.flatnonzero(np.diff(times) < 0 if interval < put_back else np.diff(times) <= 0)
        if len(backs) == 1:
            found |= {int(row): int(place > backs[0]) for place, row in enumerate(run)}
            continue
        joins_before = start > 0 and times[0] - local[order[start - 1]] == interval
        joins_after = position < len(order) and local[order[position]] - times[-1] == interval
        fold = None if len(backs) > 1 or joins_before == joins_after else 0 if joins_before else 1
        found |= {int(row): fold for row in run}
    return found


def _winter_offsets(clock: FileClock, minutes: Minutes) -> Minutes:
    """Offset from UTC [minutes] of a clock without changes. Winter time is the smaller of the offsets of January and July of the year."""
    years = minutes.astype("datetime64[m]").astype("datetime64[Y]").astype(np.int64) + 1970
    offsets = np.zeros(len(minutes), dtype=np.int64)
    for year in np.unique(years):
        both = (datetime(int(year), month, 1, tzinfo=clock.zone).utcoffset() for month in (1, 7))
        offsets[years == year] = min(round(offset.total_seconds() / 60) for offset in both if offset is not None)
    return offsets
