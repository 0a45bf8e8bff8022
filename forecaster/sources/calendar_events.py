"""What stands in a calendar file (RFC 5545) between two moments, repeats unfolded.

Promise: bounded work. A file that repeats something oftener than daily, or holds more than a ground can have booked, is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from forecaster.errors import CalendarRefused

REPEATS_AT_MOST = 500
EVENTS_AT_MOST = 2000
"""Within the span asked for: 30 a day for two months. Status: assumption."""
LENGTH_NOT_SAID = timedelta(hours=2)
"""Of an event that has a beginning only. Common practice, no source."""
_OFTEN = frozenset({"SECONDLY", "MINUTELY", "HOURLY"})
_CHECK = "Look at the calendar in the program that it comes from."


@dataclass(frozen=True)
class CalendarEvent:
    """One event. Times are tz-aware UTC; ``key`` is the same each time the calendar is read."""

    key: str
    title: str
    place: str
    starts_at: datetime
    ends_at: datetime


def calendar_events(text: bytes, *, zone: ZoneInfo, since: datetime, until: datetime) -> tuple[CalendarEvent, ...]:
    """The events of a calendar that touch the span, in order of time; cancelled ones are left out.

    ``zone``: where whole days, and times without a zone, are meant. Raises: CalendarRefused.
    """
    # Only a ground with a calendar needs them.
    import recurring_ical_events
    from icalendar import Calendar

    failure = ""
    try:
        calendar = Calendar.from_ical(text)
        _refuse_too_many(calendar)
        found = []
        for event in recurring_ical_events.of(calendar).between(since, until):
            if str(event.get("STATUS", "")).upper() != "CANCELLED":
                found.append(_event(event, zone))
    except CalendarRefused:
        raise
    except Exception as error:  # noqa: BLE001  (libraries on a stranger's text: told in our words, never passed over)
        failure = type(error).__name__
    if failure:
        raise CalendarRefused(f"The calendar cannot be read ({failure}).", hint=_CHECK)
    if len(found) > EVENTS_AT_MOST:
        raise CalendarRefused(f"The calendar has more than {EVENTS_AT_MOST} events in two months.", hint=_CHECK)
    return tuple(sorted(found, key=lambda event: (event.starts_at, event.key)))


def _refuse_too_many(calendar: Any) -> None:
    events = calendar.walk("VEVENT")
    repeats = [rule for event in events for rule in _listed(event.get("RRULE"))]
    often = any(
        _OFTEN.intersection(str(word).upper() for word in _listed(rule.get("FREQ")))
        or any(len(_listed(rule.get(part))) > 1 for part in ("BYHOUR", "BYMINUTE", "BYSECOND"))
        for rule in repeats
    )
    if often:
        raise CalendarRefused("The calendar repeats something oftener than daily.", hint=_CHECK)
    if len(repeats) > REPEATS_AT_MOST:
        raise CalendarRefused(f"The calendar repeats more than {REPEATS_AT_MOST} things.", hint=_CHECK)


def _listed(value: Any) -> list[Any]:
    if value is None:
        return []
    return list(value) if isinstance(value, list | tuple) and not isinstance(value, Mapping) else [value]


def _event(event: Any, zone: ZoneInfo) -> CalendarEvent:
    starts, ends = _moment(event.start, zone), _moment(event.end, zone)
    if ends <= starts:
        ends = starts + LENGTH_NOT_SAID
    key = f"{event.get('UID', '')} {starts.isoformat()}"
    return CalendarEvent(key, _words(event.get("SUMMARY")), _words(event.get("LOCATION")), starts, ends)


def _moment(value: date, zone: ZoneInfo) -> datetime:
    """A whole day begins at the zone's midnight; its end is the day after (RFC 5545, 3.6.1)."""
    moment = value if isinstance(value, datetime) else datetime.combine(value, time())
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(UTC)


def _words(value: Any) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in str(value or "")).split())[:80]
