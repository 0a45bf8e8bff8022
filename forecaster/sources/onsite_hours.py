"""Intervals of an on-site file → whole UTC hours."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Minutes = npt.NDArray[np.int64]
HOUR = 60


def whole_hours(starts: Minutes, values: Floats, *, interval_minutes: int | Minutes, summed: bool) -> dict[int, float]:
    """Sums, or means, of the hours that are covered to the last minute: hour since 1970 UTC → value.

    ``starts``: starts of intervals [min UTC], each once, not overlapping; ``values``: shape (interval,), NaN = missing;
    ``interval_minutes``: of all, or of each. An interval that reaches over full hours, as on clocks that are a quarter of an hour off or of
    a gauge that is read once a day, is shared out by its minutes: sums keep their total.
    Status of the sharing: assumption (even rain, even sun within an interval).
    """
    known = np.isfinite(values)
    lengths = np.broadcast_to(np.asarray(interval_minutes, dtype=np.int64), starts.shape)[known]
    starts, values = starts[known], values[known]
    if not starts.size:
        return {}
    ends = starts + lengths
    hours = starts // HOUR
    origin = int(hours.min())
    size = int((ends.max() - 1) // HOUR) - origin + 1
    covered, total = np.zeros(size, dtype=np.int64), np.zeros(size)
    for offset in range(int(((ends - 1) // HOUR - hours).max()) + 1):
        hour = hours + offset
        minutes = np.minimum(ends, (hour + 1) * HOUR) - np.maximum(starts, hour * HOUR)
        there = minutes > 0
        at, share = (hour - origin)[there], minutes[there]
        covered += np.bincount(at, weights=share, minlength=size).astype(np.int64)
        weight = share / lengths[there] if summed else share / HOUR
        total += np.bincount(at, weights=values[there] * weight, minlength=size)
    whole = np.flatnonzero(covered == HOUR)
    return {origin + int(place): float(total[place]) for place in whole}


def reading_intervals(starts: Minutes, *, interval_minutes: int, slack_minutes: int, labels_end: bool) -> tuple[Minutes, Minutes]:
    """Starts and lengths [min] of intervals that are read by hand: one begins where the one before ended, if that is about when it should.

    ``starts``: as the times and the interval say, in order. ``labels_end``: whether times are sure at the ends. A reading after a
    gap keeps its interval: what fell before it is not known.
    """
    ends = starts + interval_minutes
    if len(starts) > 1:
        joined = np.abs(starts[1:] - ends[:-1]) <= slack_minutes
        if labels_end:
            starts = np.concatenate((starts[:1], np.where(joined, ends[:-1], starts[1:])))
        else:
            ends = np.concatenate((np.where(joined, starts[1:], ends[:-1]), ends[-1:]))
    return starts, ends - starts


def reaches_over_hours(starts: Minutes, *, interval_minutes: int) -> bool:
    """Whether any interval lies in two UTC hours."""
    return bool(((starts % HOUR) + interval_minutes > HOUR).any())
