"""Hours in which work on a surface is possible: the leaf is dry, nothing is booked, nobody is kept off."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from forecaster.documents import FixtureSummary, SurfaceOutlook

WORK_BEGINS, WORK_ENDS = time(6), time(20)
"""Local hours of work. Status: common practice, no source; in winter the light ends it sooner."""
DAYS_AHEAD = 4
"""Today and three more days: beyond, forecasts tell the wet hours of a day too badly. Status: assumption."""
SHORTEST = timedelta(hours=2)
BEFORE_FIXTURE = timedelta(hours=1)
"""Work is cleared away so long before a booking. Status: common practice, no source."""

QUARTER = 15

Span = tuple[datetime, datetime]


@dataclass(frozen=True)
class WorkWindow:
    """The longest free and dry hours of one surface on one local day, UTC. ``work``: titles of what speaks there now."""

    surface_id: str
    surface_name: str
    day: date
    starts_at: datetime
    ends_at: datetime
    work: tuple[str, ...]


def work_windows(
    outlook: SurfaceOutlook, fixtures: Iterable[FixtureSummary], keep_off: Iterable[Span], *, now: datetime
) -> tuple[WorkWindow, ...]:
    """One window a day at most, for a surface where a rule speaks now; none where its wet hours are not known. Status: definition.

    Wet and unknown hours of the leaf are taken out, booked hours with an hour before them, hours of ``keep_off``, and what is past.
    Raised dew on a shaded corner and the state of the soil are not in it: the person looks.
    """
    work = tuple(signal.title for signal in outlook.signals if signal.present and not signal.trial and signal.advice)
    if outlook.wet_hours is None or not outlook.known or not work:
        return ()
    zone = ZoneInfo(outlook.time_zone)
    taken: list[Span] = [(spell.starts_at_utc, spell.ends_at_utc) for spell in outlook.wet_hours]
    taken += [(f.starts_at_utc - BEFORE_FIXTURE, f.ends_at_utc) for f in fixtures if f.surface_id == outlook.surface_id]
    taken += keep_off
    found = []
    today = now.astimezone(zone).date()
    for day in (today + timedelta(days=ahead) for ahead in range(DAYS_AHEAD)):
        begins, ends = (datetime.combine(day, at, tzinfo=zone) for at in (WORK_BEGINS, WORK_ENDS))
        free = _free(max(begins, now), ends, taken)
        free = [(_up(start), _down(end)) for start, end in free]
        longest = max(free, key=lambda span: (span[1] - span[0], -span[0].timestamp()), default=None)
        if longest is not None and longest[1] - longest[0] >= SHORTEST:
            found.append(WorkWindow(outlook.surface_id, outlook.surface_name, day, *longest, work))
    return tuple(found)


def _down(moment: datetime) -> datetime:
    return moment.replace(minute=moment.minute - moment.minute % QUARTER, second=0, microsecond=0)


def _up(moment: datetime) -> datetime:
    """The next whole quarter of an hour: a forecast knows no minutes."""
    down = _down(moment)
    return down if down == moment else down + timedelta(minutes=QUARTER)


def _free(begins: datetime, ends: datetime, taken: Sequence[Span]) -> list[Span]:
    """What is left of a span of time, in order."""
    free, at = [], begins
    for start, end in sorted(taken):
        if start > at:
            free.append((at, min(start, ends)))
        at = max(at, end)
    free.append((at, ends))
    return [(start, end) for start, end in free if end > start]
