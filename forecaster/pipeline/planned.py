"""What a cycle plans: work windows into the calendar, and the calendar file that goes with the day's message."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from forecaster.advice.windows import WorkWindow, work_windows
from forecaster.delivery.message import Enclosure
from forecaster.documents import GroundSummary, SurfaceOutlook
from forecaster.feeds.calendar import render_calendar
from forecaster.feeds.events import feed_events
from forecaster.risk.sentences import listed
from forecaster.storage.calendar import PlannedEvent, keep_events, kept_events
from forecaster.storage.keep_off import keep_offs


def plan_windows(session: Session, ground: GroundSummary, outlooks: Sequence[SurfaceOutlook], *, now: datetime) -> None:
    """Keep the coming work windows of all surfaces in the calendar."""
    off = keep_offs(session, ground.id, now)
    planned = []
    for outlook in outlooks:
        spans = [(one.from_utc, one.until_utc) for one in off if one.surface_id == outlook.surface_id and not one.deleted]
        planned += [_event(ground, window) for window in work_windows(outlook, ground.fixtures, spans, now=now)]
    keep_events(session, ground.id, planned, now=now)


def calendar_file(session: Session, ground: GroundSummary, *, now: datetime) -> tuple[Enclosure, ...]:
    """The coming work windows and keep-off times as a file; none where there are none."""
    events = feed_events(ground, kept_events(session, ground.id), keep_offs(session, ground.id, now))
    coming = [event for event in events if event.ends_at > now and not event.cancelled]
    if not coming:
        return ()
    return (Enclosure(f"{ground.id}.ics", "text/calendar", None, render_calendar(coming, name=ground.name)),)


def _event(ground: GroundSummary, window: WorkWindow) -> PlannedEvent:
    sample = "Sample weather, invented. " if ground.sample else ""
    speaks = f"What speaks there now: {listed(window.work)}. What to do about it is in the day's mail and on the surface's page."
    unjudged = "Not judged: frost, soil, wind, light, and treatments whose keep-off time nobody entered: the label says when one may go on."
    words = f"{sample}By the forecast the leaf is dry, and nothing is booked. Look before you begin. {unjudged} {speaks}"
    uid = f"work.{window.surface_id}.{window.day.isoformat()}.{ground.id}@calendar.invalid"
    return PlannedEvent(uid, window.starts_at, window.ends_at, f"{window.surface_name}: dry and free for work", words)
