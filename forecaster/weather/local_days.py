"""Hours of the UTC frame sorted into the ground's local days."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class LocalDays:
    """Which hour of the frame belongs to which whole local day, and at which place in it."""

    dates: pd.DatetimeIndex
    inside: Flags
    """Shape (hour,): the hour belongs to a whole day; the other arrays cover only such hours."""
    day: npt.NDArray[np.intp]
    position: npt.NDArray[np.intp]
    length: npt.NDArray[np.intp]
    """Shape (day,): 23, 24 or 25 hours."""

    def spread(self, hourly: Floats) -> Floats:
        """Lay an hourly series out as (day, hour of the day), NaN where it has no value or the day no such hour."""
        width = int(self.length.max(initial=0))
        table = np.full((len(self.dates), width), np.nan)
        table[self.day, self.position] = hourly[self.inside]
        return table

    def any_hour(self, hourly: Flags) -> Flags:
        """Say for each day whether a flag stands in any of its hours."""
        return np.bincount(self.day, weights=hourly[self.inside], minlength=len(self.dates)) > 0


def local_days(index: pd.DatetimeIndex, time_zone: ZoneInfo) -> LocalDays:
    """Sort hours into local days; a day that the index only covers in part, first or last, is left out.

    ``index``: UTC hours, each once and without a gap, shape (hour,). An hour belongs to the local day in which it starts, so a day has 24
    hours also where the zone is a quarter hour off, and 23 or 25 on a clock change.
    """
    # With every hour there, only the two ends can cut a day: it is whole exactly if the hour beyond the end has another date.
    one_hour = pd.Timedelta(hours=1)
    around = index.union(index[:1] - one_hour).union(index[-1:] + one_hour)
    local = around.tz_convert(time_zone).tz_localize(None).normalize()
    inner, before, after = local[1:-1], local[:1], local[-1:]
    inside = ~np.asarray(inner.isin(before.union(after)), dtype=bool)
    dates, first, day, length = np.unique(inner[inside].to_numpy(), return_index=True, return_inverse=True, return_counts=True)
    position = np.arange(len(day)) - first[day]
    return LocalDays(pd.DatetimeIndex(dates), inside, day, position, length)
