"""Intervals of an on-site file → whole UTC hours."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Minutes = npt.NDArray[np.int64]
HOUR = 60


def whole_hours(starts: Minutes, values: Floats, *, interval_minutes: int, summed: bool) -> dict[int, float]:
    """Sums, or means, of the hours that are covered to the last minute: hour since 1970 UTC → value.

    ``starts``: starts of intervals [min UTC], each once, not overlapping; ``values``: shape (interval,), NaN = missing. An interval that
    reaches over the full hour, as on clocks that are a quarter of an hour off, is shared out by its minutes: sums keep their total.
    Status of the sharing: assumption (even rain, even sun within an interval).
    """
    known = np.isfinite(values)
    starts, values = starts[known], values[known]
    if not starts.size:
        return {}
    hours, into = np.divmod(starts, HOUR)
    first_part = np.minimum(interval_minutes, HOUR - into)
    origin = int(hours[0] if len(hours) == 1 else hours.min())
    size = int(hours.max()) - origin + 2
    covered, total = np.zeros(size, dtype=np.int64), np.zeros(size)
    for offset, minutes in ((0, first_part), (1, interval_minutes - first_part)):
        at = hours - origin + offset
        covered += np.bincount(at, weights=minutes, minlength=size).astype(np.int64)
        total += np.bincount(at, weights=values * minutes, minlength=size)
    whole = np.flatnonzero(covered == HOUR)
    scale = interval_minutes if summed else HOUR
    return {origin + int(place): float(total[place] / scale) for place in whole}


def reaches_over_hours(starts: Minutes, *, interval_minutes: int) -> bool:
    """Whether any interval lies in two UTC hours."""
    return bool(((starts % HOUR) + interval_minutes > HOUR).any())
