"""Hours in which people keep off after something was put down, from the applications that were entered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from forecaster.records import ApplicationEntry
from forecaster.storage.models import RecordRow

KEPT = timedelta(days=30)


@dataclass(frozen=True)
class KeepOff:
    """One keep-off time as the user entered it from the label. ``version``: 1 for the first; ``changed_at``: of this version."""

    record_id: str
    surface_id: str
    product: str
    from_utc: datetime
    until_utc: datetime
    version: int
    changed_at: datetime
    deleted: bool


def keep_offs(session: Session, ground_id: str, now: datetime) -> tuple[KeepOff, ...]:
    """Keep-off times of a ground that are to come, going on, or ended in the last 30 days; deleted ones are among them, marked."""
    rows = session.scalars(
        select(RecordRow)
        .where(RecordRow.ground_id == ground_id, RecordRow.kind == "application")
        .where(RecordRow.happened_at > now - timedelta(days=90))
        .order_by(RecordRow.happened_at, RecordRow.id)
    )
    found = []
    for row in rows:
        entry = ApplicationEntry.model_validate(row.document, strict=False)
        until = entry.keep_off_until_utc
        if until is not None and until > max(entry.applied_at_utc, now - KEPT):
            changed = row.deleted_at or row.changed_at or row.entered_at
            what = (row.id, row.surface_id, entry.product, entry.applied_at_utc, until)
            found.append(KeepOff(*what, row.version, changed, row.deleted_at is not None))
    return tuple(found)
