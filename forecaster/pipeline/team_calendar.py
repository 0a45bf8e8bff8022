"""The team's own calendar: fetched at most hourly, the last good one kept, its events booked on the surfaces that they name."""

from __future__ import annotations

import hashlib
import logging
import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from forecaster.calendar_documents import CalendarStanding
from forecaster.errors import CalendarError
from forecaster.ground.fixture import Fixture
from forecaster.ground.ground import Ground, TeamCalendar
from forecaster.ground.surface import Surface
from forecaster.pipeline.context import Context
from forecaster.sources.calendar_events import CalendarEvent, calendar_events
from forecaster.storage.answers import StoredAnswer, save_answer, stored_answer
from forecaster.storage.database import reading, transaction

log = logging.getLogger(__name__)

EVERY = timedelta(hours=1)
AHEAD = timedelta(days=60)
BACK = timedelta(days=2)
TOLD_AT_MOST = 20


def refresh_calendar(ground: Ground, context: Context, *, now: datetime) -> None:
    """Fetch the ground's calendar where it has one and the last look is an hour ago. A failure is kept and told, never raised."""
    if ground.calendar is None:
        return
    good, failed = _names(ground, ground.calendar)
    with reading(context.engine) as session:
        looks = [stored_answer(session, good), stored_answer(session, failed)]
    # A look that ends more than an hour ahead was made by a clock that has been put back.
    if any(look is not None and now < look.expires <= now + EVERY for look in looks):
        return
    try:
        body = context.fetch_calendar(ground.calendar.address)
        _events(ground, body, now)
    except CalendarError as error:
        log.warning("the calendar of %s: %s", ground.id, error.message)
        look = StoredAnswer(failed, error.message.encode(), None, now + EVERY, deprecated=False)
    else:
        look = StoredAnswer(good, body, None, now + EVERY, deprecated=False)
    with transaction(context.engine) as session:
        save_answer(session, look)


def with_calendar(session: Session, ground: Ground, *, now: datetime) -> tuple[Ground, CalendarStanding | None]:
    """The ground with the fixtures of its calendar as it was last fetched, and how that stands; None where it has no calendar."""
    if ground.calendar is None:
        return ground, None
    good, failed = (stored_answer(session, name) for name in _names(ground, ground.calendar))
    problem = failed.body.decode() if failed is not None and (good is None or failed.expires > good.expires) else None
    if good is None:
        return ground, CalendarStanding(fetched_at_utc=None, problem=problem, not_placed=(), not_placed_count=0)
    try:
        events = _events(ground, good.body, now)
    except CalendarError as error:  # it could be read when it was fetched: another version of the program reads otherwise
        events, problem = (), error.message
    placed, left = _placed(ground, ground.calendar, events)
    fixtures = sorted((*ground.fixtures, *placed), key=lambda fixture: (fixture.starts_at, fixture.id))
    standing = CalendarStanding(
        fetched_at_utc=good.expires - EVERY,
        problem=problem,
        not_placed=tuple(dict.fromkeys(event.title or "(no title)" for event in left))[:TOLD_AT_MOST],
        not_placed_count=len(left),
    )
    return replace(ground, fixtures=tuple(fixtures)), standing


def _names(ground: Ground, calendar: TeamCalendar) -> tuple[str, str]:
    """Under which names the last good calendar and the last failure are kept. Another address is another calendar."""
    mark = hashlib.sha256(calendar.address.encode()).hexdigest()[:16]
    return f"calendar/{ground.id}/{mark}", f"calendar-failure/{ground.id}/{mark}"


def _events(ground: Ground, body: bytes, now: datetime) -> tuple[CalendarEvent, ...]:
    return calendar_events(body, zone=ground.time_zone, since=now - BACK, until=now + AHEAD)


def _placed(ground: Ground, calendar: TeamCalendar, events: Iterable[CalendarEvent]) -> tuple[list[Fixture], list[CalendarEvent]]:
    """The events as fixtures of the surfaces they are on, and those whose surface is not known."""
    placed, left = [], []
    for event in events:
        surfaces = _named(event.place, ground.surfaces) or _named(event.title, ground.surfaces)
        if not surfaces and calendar.surface_id is not None:
            surfaces = (calendar.surface_id,)
        for surface_id in surfaces:
            mark = hashlib.sha256(f"{event.key} {surface_id}".encode()).hexdigest()[:16]
            title = event.title or "Booked"
            placed.append(Fixture(f"calendar-{mark}", surface_id, title, event.starts_at, event.ends_at, "calendar"))
        if not surfaces:
            left.append(event)
    return placed, left


def _named(text: str, surfaces: Iterable[Surface]) -> tuple[str, ...]:
    """The surfaces that a text names by name or id, in whole words. Longer names go first: "Main pitch" is not "Pitch" too."""
    names = [(name, surface.id) for surface in surfaces for name in {surface.name, surface.id}]
    found = []
    for name, surface_id in sorted(names, key=lambda pair: (-len(pair[0]), pair)):
        text, count = re.subn(rf"(?<!\w){re.escape(name)}(?!\w)", "|", text, flags=re.IGNORECASE)
        if count and surface_id not in found:
            found.append(surface_id)
    return tuple(found)
