"""Events of the calendar: each keeps its identity from cycle to cycle, and counts how often its time has changed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from forecaster.storage.models import CalendarEventRow

KEPT = timedelta(days=30)
"""Past events stay so long in the feed: calendar programs drop what is no longer in it."""


@dataclass(frozen=True)
class PlannedEvent:
    """An event as this cycle sees it. ``uid``: the same in every cycle that sees it."""

    uid: str
    starts_at: datetime
    ends_at: datetime
    summary: str
    description: str


@dataclass(frozen=True)
class StoredEvent(PlannedEvent):
    """An event as it is kept. ``sequence`` and ``changed_at`` go up when its time or its title changes, or it is called off."""

    sequence: int
    changed_at: datetime
    cancelled: bool


def keep_events(session: Session, ground_id: str, planned: Iterable[PlannedEvent], *, now: datetime) -> None:
    """Keep what a cycle planned, call off what it no longer plans and is not over, and forget what is long past."""
    rows = {row.uid: row for row in session.scalars(select(CalendarEventRow).where(CalendarEventRow.ground_id == ground_id))}
    seen = set()
    for event in planned:
        seen.add(event.uid)
        row = rows.get(event.uid)
        if row is None:
            session.add(_new(ground_id, event, now))
        elif row.ends_at > now:  # what is over stays as it was
            moved = (row.starts_at, row.ends_at, row.summary) != (event.starts_at, event.ends_at, event.summary) or row.cancelled
            # The start of a window that is going on is not "now" in every cycle anew.
            if moved and not (row.starts_at <= now and event.starts_at <= now and row.ends_at == event.ends_at and not row.cancelled):
                row.sequence, row.changed_at, row.cancelled = row.sequence + 1, now, False
                row.starts_at, row.ends_at, row.summary = event.starts_at, event.ends_at, event.summary
            row.description = event.description
    for uid, row in rows.items():
        if uid not in seen and not row.cancelled and row.ends_at > now:
            row.sequence, row.changed_at, row.cancelled = row.sequence + 1, now, True
    session.flush()
    session.execute(
        delete(CalendarEventRow).where(CalendarEventRow.ground_id == ground_id, CalendarEventRow.ends_at < now - KEPT),
        execution_options={"synchronize_session": False},
    )


def kept_events(session: Session, ground_id: str) -> tuple[StoredEvent, ...]:
    """All events of a ground that are kept, by their start."""
    rows = session.scalars(select(CalendarEventRow).where(CalendarEventRow.ground_id == ground_id).order_by(CalendarEventRow.starts_at))
    return tuple(StoredEvent(r.uid, r.starts_at, r.ends_at, r.summary, r.description, r.sequence, r.changed_at, r.cancelled) for r in rows)


def _new(ground_id: str, event: PlannedEvent, now: datetime) -> CalendarEventRow:
    return CalendarEventRow(
        uid=event.uid,
        ground_id=ground_id,
        starts_at=event.starts_at,
        ends_at=event.ends_at,
        summary=event.summary,
        description=event.description,
        sequence=0,
        changed_at=now,
        cancelled=False,
    )
