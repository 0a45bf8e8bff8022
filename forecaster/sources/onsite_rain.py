"""Rain of an on-site file: running totals → amounts of intervals, resets and counter faults, and what no shower does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Minutes = npt.NDArray[np.int64]
DAY = 1440

# A bucket that is knocked or cleaned tips many times at once, in dry weather. Alone between two intervals without any rain, this much is
# taken for that. Status: assumption; longer intervals hold whole showers and are not looked at.
KNOCKED_MM, KNOCKED_MINUTES = 10.0, 15


@dataclass(frozen=True)
class IntervalRain:
    """mm per interval, NaN where not known; faults by position; and what fell in gaps, in no hour that is known."""

    amounts: Floats
    faults: dict[int, str]
    unplaced_mm: float


def most_possible_mm(interval_minutes: int) -> float:
    """The most rain of an interval. Source: world's greatest rainfalls, R = 422 T^0.475 with T in hours (WMO-No. 168 envelope; memory)."""
    return float(422.0 * (interval_minutes / 60.0) ** 0.475)


def amounts_from_totals(
    totals: Floats, ends: Minutes, local_ends: Minutes, *, interval_minutes: int, reset_minutes: tuple[int, ...], slack_minutes: int = 0
) -> IntervalRain:
    """Differences of a total in order of time; arrays of shape (reading,), NaN where a reading is missing.

    ``ends``: when each total was read [min UTC]; ``local_ends``: the same on the file's clock. ``reset_minutes``: minutes of the local day
    at which the counter begins anew. ``slack_minutes``: by how much an interval may be off. A total that falls and comes back is a fault of
    that reading; one that stays low has been restarted, and the rain of that interval is not known. What fell while readings were missing
    is summed up, not placed. Status: practice.
    """
    amounts = np.full(len(totals), np.nan)
    faults: dict[int, str] = {}
    unplaced = 0.0
    known = np.flatnonzero(np.isfinite(totals))
    shift = _reset_shift(totals[known], local_ends[known], reset_minutes)
    last: int | None = None
    for place, row in enumerate(known):
        if last is None:
            last = int(row)
            continue
        steps = int(ends[row] - ends[last] + slack_minutes) // interval_minutes
        most = most_possible_mm(max(int(ends[row] - ends[last]), interval_minutes))
        resets = _resets_between(local_ends[last], local_ends[row], reset_minutes, shift)
        step = totals[row] if resets else totals[row] - totals[last]
        if -1e-9 <= step <= most:
            if steps == 1:
                amounts[row] = max(step, 0.0)
            else:
                unplaced += max(step, 0.0)
            last = int(row)
            continue
        ahead = known[place + 1] if place + 1 < len(known) else None
        if ahead is not None and not resets:
            to_ahead = totals[ahead] - totals[last]
            if 0 <= to_ahead <= most_possible_mm(int(ends[ahead] - ends[last])):
                faults[int(row)] = f"the running total goes from {totals[last]:g} to {totals[row]:g} and back: a fault of the counter"
                continue
        word = "falls" if step < 0 else "jumps"
        faults[int(row)] = f"the running total {word} from {totals[last]:g} to {totals[row]:g} mm: the rain of this interval is not known"
        last = int(row)
    return IntervalRain(amounts, faults, unplaced)


def reset_doubt(totals: Floats, local_ends: Minutes, *, reset_minutes: tuple[int, ...]) -> str | None:
    """Say that a total falls day by day at another time than it is said to: then days cannot be told apart, and nothing of it is used."""
    known = np.isfinite(totals)
    totals, local = totals[known], local_ends[known]
    falls = [int(fall) for fall in np.flatnonzero(np.diff(totals) < 0)]
    others = [fall for fall in falls if not any(_resets_between(local[fall], local[fall + 1], reset_minutes, shift) for shift in (0, 1))]
    times = [int(local[fall + 1]) % DAY for fall in others]
    same = max(times, key=times.count, default=0)
    if times.count(same) < 2 or len(others) <= len(falls) - len(others):
        return None
    said = (
        f"begins anew at {' and '.join(f'{at // 60:02d}:{at % 60:02d}' for at in reset_minutes)}" if reset_minutes else "never begins anew"
    )
    return f"the running total {said}, as it is described, but falls on {times.count(same)} days at about {same // 60:02d}:{same % 60:02d}"


def _resets_between(before: int, after: int, reset_minutes: tuple[int, ...], shift: int | None) -> bool:
    return shift is not None and any((after - at - shift) // DAY > (before - at - shift) // DAY for at in reset_minutes)


def _reset_shift(totals: Floats, local: Minutes, reset_minutes: tuple[int, ...]) -> int | None:
    """0 where the reading at the time of reset shows the new total already, 1 where it still shows the old one: as most falls say.

    None where the total never falls at a reset: what was not there to be lost needs no care, and a counter that was not reset gets it.
    """
    if not reset_minutes:
        return None
    falls = np.flatnonzero(np.diff(totals) < 0)
    votes = [sum(_resets_between(local[fall], local[fall + 1], reset_minutes, shift) for fall in falls) for shift in (0, 1)]
    return int(votes[1] > votes[0]) if any(votes) else None


def rain_faults(amounts: Floats, starts: Minutes, *, interval_minutes: int) -> dict[int, str]:
    """Intervals whose rain no sky gives, by position: more than ever fell, or a knocked bucket."""
    most = most_possible_mm(interval_minutes)
    faults = {
        int(row): f"more rain than has ever fallen in {interval_minutes} minutes, {most:.0f} mm" for row in np.flatnonzero(amounts > most)
    }
    if interval_minutes > KNOCKED_MINUTES:
        return faults
    for row in np.flatnonzero(amounts >= KNOCKED_MM):
        if row in faults or not 0 < row < len(amounts) - 1:
            continue
        joined = starts[row + 1] - starts[row] == interval_minutes == starts[row] - starts[row - 1]
        if joined and amounts[row - 1] == 0.0 and amounts[row + 1] == 0.0:
            faults[int(row)] = f"{amounts[row]:.1f} mm in {interval_minutes} minutes between two dry intervals: a knocked or serviced gauge"
    return faults
