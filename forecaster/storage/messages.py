"""The outbox: a message is written in the transaction that decided on it, and leaves it by claim → send → mark.

Promises. A stored message is never lost: it ends as sent, failed or expired, and all three are kept and shown. The same key is written
once. One claim wins. After a crash between sending and marking, a message goes out once more and no further: it arrives at most twice,
and exactly once otherwise. A message past its use is never sent.

Each step is a transaction of its own: claim, commit, send, then mark.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from datetime import date, datetime, timedelta
from typing import Any, Literal, cast

from sqlalchemy import ColumnElement, CursorResult, and_, func, or_, select, update
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import MessageRow

MessageStatus = Literal["waiting", "claimed", "sent", "failed", "expired"]

CLAIM_LASTS = timedelta(minutes=15)
"""A claim older than this belongs to a process that is gone. Far longer than any attempt to send. Status: assumption."""
FIRST_PAUSE = timedelta(minutes=2)
LONGEST_PAUSE = timedelta(hours=1)
MOST_INTERRUPTIONS = 2
"""Attempts of which nobody knows how they ended: after the second the message may have arrived twice, so there is no third."""


@dataclass(frozen=True, kw_only=True)
class NewMessage:
    """A message as it was decided. ``key`` names the decision: equal keys are the same message."""

    key: str
    ground_id: str | None
    """None: about no ground, but to whoever runs the program."""
    recipient: str
    kind: str
    local_day: date
    subject: str
    text: str
    html: str
    created_at: datetime
    not_before: datetime
    expires_at: datetime
    """From this moment on it is of no use and is not sent."""
    about: dict[str, Any] | None = None
    """What an immediate message tells: ``{"episodes": [ids]}``."""
    enclosures: dict[str, Any] | None = None
    """What goes with it: ``{"parts": [marks of storage.enclosures]}``."""


@dataclass(frozen=True, kw_only=True)
class StoredMessage(NewMessage):
    """A message in the outbox."""

    id: int
    status: MessageStatus
    claimed_at: datetime | None
    claimed_by: str | None
    attempts: int
    interruptions: int
    next_attempt_at: datetime | None
    last_error: str | None
    sent_at: datetime | None


def digest_key(ground_id: str, recipient: str, local_day: date) -> str:
    """Key of the daily message: one per ground, recipient and local day, however the address is written."""
    return f"digest:{ground_id}:{local_day.isoformat()}:{recipient.casefold()}"


def enqueue_message(session: Session, message: NewMessage) -> bool:
    """Write a message unless its key is there already. True when it is new."""
    values = asdict(message) | {"status": "waiting", "attempts": 0, "interruptions": 0}
    return insert_or_ignore(session, MessageRow, values, key=("key",))


def message_status(session: Session, key: str) -> MessageStatus | None:
    """Where the message of a key stands; None where there is none."""
    return cast("MessageStatus | None", session.scalar(select(MessageRow.status).where(MessageRow.key == key)))


def due_messages(session: Session, now: datetime, *, limit: int = 100) -> tuple[StoredMessage, ...]:
    """Messages that may be sent now, oldest first."""
    rows = session.scalars(select(MessageRow).where(_due(now)).order_by(MessageRow.created_at, MessageRow.id).limit(limit))
    return tuple(_read(row) for row in rows)


def anything_to_send(session: Session, now: datetime) -> bool:
    """Whether a message may be sent now, has outlived its use, or was left behind by a sender that is gone."""
    late = and_(MessageRow.status == "waiting", MessageRow.expires_at <= now)
    return session.scalar(select(MessageRow.id).where(or_(_due(now), late, _abandoned(now, CLAIM_LASTS))).limit(1)) is not None


def waiting_since(session: Session, now: datetime) -> datetime | None:
    """When the message that waits longest should have gone out; None where none is late."""
    unsent = and_(MessageRow.status.in_(("waiting", "claimed")), MessageRow.not_before <= now, MessageRow.expires_at > now)
    return session.scalar(select(MessageRow.not_before).where(unsent).order_by(MessageRow.not_before).limit(1))


def claim_message(session: Session, message_id: int, *, owner: str, now: datetime) -> bool:
    """Take a due message for sending. True for exactly one of all who try; commit before sending."""
    changes = {"status": "claimed", "claimed_at": now, "claimed_by": owner, "attempts": MessageRow.attempts + 1}
    return _change(session, message_id, _due(now), changes)


def mark_sent(session: Session, message_id: int, *, owner: str, now: datetime) -> bool:
    """It was handed over. Also where the claim was released meanwhile: this spares the reader a second copy."""
    mine = or_(_claimed_by(owner), MessageRow.status.in_(("waiting", "failed", "expired")))
    return _change(session, message_id, mine, {"status": "sent", "sent_at": now, "last_error": None, "next_attempt_at": None})


def mark_postponed(session: Session, message_id: int, *, owner: str, now: datetime, error: str) -> bool:
    """It was not handed over; try again after a pause that doubles from 2 minutes to 1 hour."""
    attempts = session.scalar(select(MessageRow.attempts).where(MessageRow.id == message_id)) or 1
    changes = {"status": "waiting", "claimed_at": None, "claimed_by": None, "next_attempt_at": now + pause(attempts), "last_error": error}
    return _change(session, message_id, _claimed_by(owner), changes)


def postpone_due(session: Session, now: datetime, *, until: datetime, error: str) -> int:
    """Let everything that is due wait, without an attempt: what carries messages cannot be reached. Returns how many."""
    return _update(session, _due(now), {"next_attempt_at": until, "last_error": error})


def mark_doubtful(session: Session, message_id: int, *, owner: str, now: datetime, error: str) -> bool:
    """Nobody knows whether it was handed over (the connection broke while the server was to answer): once more, not a third time."""
    return _interrupt(session, and_(MessageRow.id == message_id, _claimed_by(owner)), now=now, error=error) == 1


def mark_rejected(session: Session, message_id: int, *, owner: str, error: str) -> bool:
    """It will never be taken as it stands. It is kept and shown as failed."""
    return _change(session, message_id, _claimed_by(owner), {"status": "failed", "last_error": error, "next_attempt_at": None})


def release_claims(session: Session, now: datetime, *, older_than: timedelta = CLAIM_LASTS) -> int:
    """Free messages whose sender is gone, for one more attempt; those cut off twice fail. Returns how many."""
    return _interrupt(session, _abandoned(now, older_than), now=now, error="the program stopped while sending; it may have arrived")


def expire_messages(session: Session, now: datetime) -> int:
    """Messages past their use are put aside, shown as expired. Returns how many."""
    late = and_(MessageRow.status == "waiting", MessageRow.expires_at <= now)
    return _update(session, late, {"status": "expired", "next_attempt_at": None})


def recent_messages(
    session: Session, ground_id: str, *, since: date | None = None, troubled: bool = False, limit: int | None = None
) -> tuple[StoredMessage, ...]:
    """Messages of a ground, newest first: of this local day and later (None: all).

    ``troubled``: only those that failed, expired, or wait after an attempt that did not succeed.
    """
    query = select(MessageRow).where(MessageRow.ground_id == ground_id)
    if since is not None:
        query = query.where(MessageRow.local_day >= since)
    if troubled:
        tried = and_(MessageRow.status == "waiting", MessageRow.last_error.is_not(None))
        query = query.where(or_(MessageRow.status.in_(("failed", "expired")), tried))
    return tuple(_read(row) for row in session.scalars(query.order_by(MessageRow.created_at.desc(), MessageRow.id.desc()).limit(limit)))


def count_messages(session: Session, ground_id: str | None = None, *, since: date | None = None) -> dict[MessageStatus, int]:
    """How many messages stand where, of one ground (None: all) and of this local day and later. Every status is there, also with 0."""
    counts: dict[MessageStatus, int] = {"waiting": 0, "claimed": 0, "sent": 0, "failed": 0, "expired": 0}
    query = select(MessageRow.status, func.count()).group_by(MessageRow.status)
    if ground_id is not None:
        query = query.where(MessageRow.ground_id == ground_id)
    if since is not None:
        query = query.where(MessageRow.local_day >= since)
    for status, count in session.execute(query):
        counts[cast("MessageStatus", status)] = count
    return counts


def pause(attempts: int) -> timedelta:
    """Pause after so many attempts (1 or more): 2, 4, 8 … minutes, at most an hour."""
    return min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** min(attempts - 1, 10))


def _due(now: datetime) -> ColumnElement[bool]:
    return and_(
        MessageRow.status == "waiting",
        MessageRow.not_before <= now,
        MessageRow.expires_at > now,
        or_(MessageRow.next_attempt_at.is_(None), MessageRow.next_attempt_at <= now),
    )


def _abandoned(now: datetime, older_than: timedelta) -> ColumnElement[bool]:
    return and_(MessageRow.status == "claimed", MessageRow.claimed_at <= now - older_than)


def _claimed_by(owner: str) -> ColumnElement[bool]:
    return and_(MessageRow.status == "claimed", MessageRow.claimed_by == owner)


def _interrupt(session: Session, which: ColumnElement[bool], *, now: datetime, error: str) -> int:
    """Count one more interruption; the last one allowed fails the message, an earlier one lets it wait for another attempt."""
    last = MessageRow.interruptions + 1 >= MOST_INTERRUPTIONS
    cleared = {"claimed_at": None, "claimed_by": None, "interruptions": MessageRow.interruptions + 1, "last_error": error}
    failed = _update(session, and_(which, last), cleared | {"status": "failed", "next_attempt_at": None})
    waiting = _update(session, and_(which, ~last), cleared | {"status": "waiting", "next_attempt_at": now})
    return failed + waiting


def _change(session: Session, message_id: int, condition: ColumnElement[bool], changes: dict[str, Any]) -> bool:
    return _update(session, and_(MessageRow.id == message_id, condition), changes) == 1


def _update(session: Session, condition: ColumnElement[bool], changes: dict[str, Any]) -> int:
    statement = update(MessageRow).where(condition).values(changes).execution_options(synchronize_session=False)
    return cast("CursorResult[Any]", session.execute(statement)).rowcount


def _read(row: MessageRow) -> StoredMessage:
    return StoredMessage(**{field.name: getattr(row, field.name) for field in fields(StoredMessage)})
