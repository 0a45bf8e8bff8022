"""Messages without their text: enough to say what was sent and what was not, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session

from forecaster.storage.models import MessageRow


@dataclass(frozen=True)
class MessageHead:
    """One message of the outbox. ``id``: as text, for lists; ``happened_at``: when it was written."""

    id: str
    happened_at: datetime
    kind: str
    recipient: str
    local_day: date
    subject: str
    status: str
    attempts: int
    last_error: str | None
    sent_at: datetime | None
    expires_at: datetime


def message_heads(
    session: Session, ground_id: str, *, status: str | None = None, after: tuple[datetime, str] | None = None, limit: int
) -> list[MessageHead]:
    """Messages of a ground, newest first, after a place in the list."""
    columns = (
        *(MessageRow.id, MessageRow.created_at, MessageRow.kind, MessageRow.recipient, MessageRow.local_day, MessageRow.subject),
        *(MessageRow.status, MessageRow.attempts, MessageRow.last_error, MessageRow.sent_at, MessageRow.expires_at),
    )
    wanted = select(*columns).where(MessageRow.ground_id == ground_id)
    if status is not None:
        wanted = wanted.where(MessageRow.status == status)
    if after is not None and after[1].isdecimal():
        at, number = after[0], int(after[1])
        wanted = wanted.where(or_(MessageRow.created_at < at, and_(MessageRow.created_at == at, MessageRow.id < number)))
    rows = session.execute(wanted.order_by(MessageRow.created_at.desc(), MessageRow.id.desc()).limit(limit))
    return [MessageHead(str(row[0]), *row[1:]) for row in rows]
