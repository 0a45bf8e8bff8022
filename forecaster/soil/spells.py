"""Spells and sliding sums over days: small pure functions on arrays of shape (day,), or (day, member), each member by itself.

Everywhere a missing day is NaN (or not ``known``), and a missing day is never taken for a dry, calm or safe one.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# Rain below this does not end a dry spell: "absolute drought", Meteorological Glossary 1963. Status: published.
DRY_DAY_BELOW_MM = 0.2


def runs(flags: Flags) -> tuple[tuple[int, int], ...]:
    """Find the unbroken runs of true days.

    ``flags``: shape (day,). Returns (first, last) day numbers of each run, both inside it, in order. Source: own; status: definition.
    """
    padded = np.concatenate(([False], np.asarray(flags, dtype=bool), [False])).astype(np.int8)
    steps = np.diff(padded)
    return tuple((int(a), int(b) - 1) for a, b in zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True))


def days_in_a_row(flags: Flags, known: Flags) -> npt.NDArray[np.int64]:
    """Count, for each day, the days in a row up to it that are true.

    ``flags``, ``known``: shape (day,) or (day, member). A day that is not known neither adds to a run nor ends it: the count is held, so
    it is a lower bound after a gap. Source: own; status: assumption.
    """
    counts = np.zeros(np.shape(flags), dtype=np.int64)
    count: npt.NDArray[np.int64] = np.zeros(np.shape(flags)[1:], dtype=np.int64)
    for day, (flag, is_known) in enumerate(zip(flags, known, strict=True)):
        counts[day] = count = np.where(is_known, (count + 1) * flag, count)
    return counts


def dry_days(rain_mm: Floats) -> Floats:
    """Days in a row, up to each day, with less than 0.2 mm of rain.

    ``rain_mm``: shape (day,) or (day, member) [mm/d]. NaN on a day without rain data; the count is held over it (a lower bound).
    Source: threshold of "absolute drought", Meteorological Glossary 1963. Status: published; the handling of gaps is ours.
    """
    known = ~np.isnan(rain_mm)
    counts = days_in_a_row(np.where(known, rain_mm, 0.0) < DRY_DAY_BELOW_MM, known)
    return np.where(known, counts.astype(np.float64), np.nan)


def trailing_sum(values: Floats, *, days: int) -> Floats:
    """Sum of each day and the ``days`` - 1 before it.

    ``values``: shape (day,) or (day, member) [any]. NaN where a day of the window is missing or lies before the series. Source: definition.
    """
    result = np.full(np.shape(values), np.nan)
    if len(values) >= days:
        result[days - 1 :] = np.lib.stride_tricks.sliding_window_view(values, days, axis=0).sum(axis=-1)
    return result


def trailing_mean(values: Floats, *, days: int) -> Floats:
    """Mean of each day and the ``days`` - 1 before it; NaN as in ``trailing_sum``. ``values``: as there."""
    return trailing_sum(values, days=days) / days


def coming_sum(values: Floats, *, days: int) -> Floats:
    """Sum of each day and the ``days`` - 1 after it, over those that are there.

    ``values``: shape (day,) or (day, member) [any]. Missing days, and days past the end of the series, are left out, so the sum of values
    that cannot be negative is a lower bound. NaN on a day that is itself missing. Source: own; status: assumption.
    """
    padded = np.concatenate((np.where(np.isnan(values), 0.0, values), np.zeros((days - 1, *np.shape(values)[1:]))))
    sums = np.lib.stride_tricks.sliding_window_view(padded, days, axis=0).sum(axis=-1) if len(values) else np.empty(np.shape(values))
    return np.where(np.isnan(values), np.nan, sums)


def days_since_rising_through(values: Floats, *, threshold: float, below_for_days: int, closes_after_days: int) -> Floats:
    """Days since a slow series rose through a threshold after a long time below it: 1 on the day it does, 0 outside such a season.

    ``values``: shape (day,) or (day, member) [any]. The season opens on the first day at or above ``threshold`` after at least
    ``below_for_days`` days in a row below it, all inside the series; it closes when it is ``closes_after_days`` old or after another such
    time below. A shorter dip does not close it. NaN on missing days, which neither open nor close anything; the age counts calendar days.
    A series that never was below for so long gives 0 throughout: that means "cannot be told", and callers must say so.
    Source: own; status: assumption.
    """
    result = np.full(np.shape(values), np.nan)
    below: npt.NDArray[np.int64] = np.zeros(np.shape(values)[1:], dtype=np.int64)
    armed = np.zeros(below.shape, dtype=bool)
    opened_on: npt.NDArray[np.int64] = np.full(below.shape, -1)
    for day, value in enumerate(values):
        known = ~np.isnan(value)
        below = np.where(known, (below + 1) * (value < threshold), below)
        cold = known & (below >= below_for_days)
        opens = known & ~cold & armed & (below == 0)
        armed = (armed | cold) & ~opens
        opened_on = np.where(cold, -1, np.where(opens, day, opened_on))
        age = np.where(opened_on < 0, 0, day - opened_on + 1)
        result[day] = np.where(known, np.where(age <= closes_after_days, age, 0), np.nan)
    return result
