"""Work windows and keep-off times as a calendar (RFC 5545, with the names and the refresh interval of RFC 7986)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

REFRESH = timedelta(hours=3)
"""How often a calendar program should ask again: as often as a cycle runs."""


@dataclass(frozen=True)
class CalendarEvent:
    """One event, UTC. ``sequence`` grows when its time changes or it is called off; ``stamped_at``: when it last changed.

    ``busy``: whether it blocks the time: keep-off hours do, hours in which one could work do not.
    """

    uid: str
    sequence: int
    stamped_at: datetime
    starts_at: datetime
    ends_at: datetime
    summary: str
    description: str
    busy: bool
    cancelled: bool = False


def render_calendar(events: Iterable[CalendarEvent], *, name: str) -> bytes:
    """The calendar as a file; the same events give the same bytes. Source: RFC 5545, RFC 7986 (published)."""
    # Loaded here: the web process makes few calendars.
    from icalendar import Calendar, Event
    from icalendar.prop import vDuration

    calendar = Calendar()
    calendar.add("prodid", "-//forecaster//work windows and keep-off times//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", vDuration(REFRESH), parameters={"VALUE": "DURATION"})
    for one in sorted(events, key=lambda event: (event.starts_at, event.uid)):
        event = Event()
        event.add("uid", one.uid)
        event.add("sequence", one.sequence)
        event.add("dtstamp", one.stamped_at.replace(microsecond=0))
        event.add("last-modified", one.stamped_at.replace(microsecond=0))
        event.add("dtstart", one.starts_at.replace(microsecond=0))
        event.add("dtend", one.ends_at.replace(microsecond=0))
        event.add("summary", one.summary)
        event.add("description", one.description)
        event.add("status", "CANCELLED" if one.cancelled else "CONFIRMED")
        event.add("transp", "OPAQUE" if one.busy and not one.cancelled else "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())
