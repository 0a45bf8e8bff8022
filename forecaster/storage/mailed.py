"""What each recipient has had, and messages that are taken back before they went out."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast

from sqlalchemy import CursorResult, func, select, update
from sqlalchemy.orm import Session

from forecaster.storage.models import MessageRow

NO_LONGER_WANTED = "its ground or its recipient is no longer in the configuration"
OVERTAKEN_BY_EVENTS = "overtaken: what it told was no longer so when the quiet hours ended"
OVERTAKEN_BY_DIGEST = "overtaken: the message of the day tells it"
TAKEN_OFF = "the address was taken off by its owner"
ADDRESS_REFUSED = "the mail server refused this address for good"
WITHDRAWALS = frozenset({NO_LONGER_WANTED, OVERTAKEN_BY_EVENTS, OVERTAKEN_BY_DIGEST, TAKEN_OFF, ADDRESS_REFUSED})
"""Why a message was taken back; anything else in the place of the reason is what went wrong with an attempt."""

DAILY_KINDS = ("digest", "sign of life")
IMMEDIATE = "immediate"


@dataclass(frozen=True)
class WaitingNotice:
    """An immediate message that has not gone out. ``about``: ids of the episodes that it tells."""

    id: int
    recipient: str
    about: frozenset[str]


def last_mail(session: Session, ground_id: str, recipient: str) -> tuple[date | None, bool]:
    """Local day of the newest message to a recipient that was sent or is on its way, and whether the newest daily one did not go out."""
    mine = (MessageRow.ground_id == ground_id, func.lower(MessageRow.recipient) == recipient.lower())
    told = MessageRow.kind.in_((*DAILY_KINDS, IMMEDIATE))
    last = session.scalar(select(func.max(MessageRow.local_day)).where(*mine, told, MessageRow.status.in_(("waiting", "claimed", "sent"))))
    newest = session.scalar(
        select(MessageRow.status).where(*mine, MessageRow.kind.in_(DAILY_KINDS)).order_by(MessageRow.local_day.desc()).limit(1)
    )
    return last, newest in ("failed", "expired")


def waiting_notices(session: Session, ground_id: str) -> tuple[WaitingNotice, ...]:
    """Immediate messages of a ground that have not gone out."""
    rows = session.execute(
        select(MessageRow.id, MessageRow.recipient, MessageRow.about).where(
            MessageRow.ground_id == ground_id, MessageRow.kind == IMMEDIATE, MessageRow.status == "waiting"
        )
    )
    return tuple(WaitingNotice(row.id, row.recipient, frozenset((row.about or {}).get("episodes", ()))) for row in rows)


def withdraw(session: Session, message_ids: Iterable[int], reason: str) -> int:
    """Take waiting messages back: they are shown as not sent, with the reason. Returns how many. ``reason``: one of WITHDRAWALS."""
    if reason not in WITHDRAWALS:
        raise ValueError(f"not a reason to take a message back: {reason!r}")
    statement = (
        update(MessageRow)
        .where(MessageRow.id.in_(list(message_ids)), MessageRow.status == "waiting")
        .values(status="expired", next_attempt_at=None, last_error=reason)
        .execution_options(synchronize_session=False)
    )
    return cast("CursorResult[Any]", session.execute(statement)).rowcount


def withdraw_messages(session: Session, wanted: Collection[tuple[str | None, str]]) -> int:
    """Take back what waits for a ground and recipient other than these. Returns how many."""
    known = {(ground_id, recipient.casefold()) for ground_id, recipient in wanted}
    rows = session.execute(select(MessageRow.id, MessageRow.ground_id, MessageRow.recipient).where(MessageRow.status == "waiting"))
    gone = [row.id for row in rows if (row.ground_id, row.recipient.casefold()) not in known]
    return withdraw(session, gone, NO_LONGER_WANTED)


def hold_message(session: Session, message_id: int, until: datetime) -> bool:
    """Let a waiting message wait for a moment, without an attempt: its reader's quiet hours."""
    statement = (
        update(MessageRow)
        .where(MessageRow.id == message_id, MessageRow.status == "waiting")
        .values(next_attempt_at=until)
        .execution_options(synchronize_session=False)
    )
    return cast("CursorResult[Any]", session.execute(statement)).rowcount == 1
