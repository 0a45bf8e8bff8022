"""Addresses that get no mail of a ground any more: taken off by their owner, or refused for good by the mail server."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, cast

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.mailed import ADDRESS_REFUSED, TAKEN_OFF, withdraw
from forecaster.storage.models import MailStopRow, MessageRow

StopReason = Literal["unsubscribed", "refused"]


@dataclass(frozen=True)
class MailStop:
    """One address that is off, and why. ``recipient``: in lower case; ``detail``: the mail server's words, or empty."""

    ground_id: str
    recipient: str
    reason: StopReason
    detail: str
    stopped_at: datetime


def stop_mail(session: Session, ground_id: str, recipient: str, reason: StopReason, *, now: datetime, detail: str = "") -> bool:
    """Send an address no more mail of a ground, and take back what waits for it. True where it was not off already."""
    values = {"ground_id": ground_id, "recipient": _key(recipient), "reason": reason, "detail": detail, "stopped_at": now}
    new = insert_or_ignore(session, MailStopRow, values, key=("ground_id", "recipient"))
    waiting = session.scalars(
        select(MessageRow.id).where(
            MessageRow.ground_id == ground_id, func.lower(MessageRow.recipient) == _key(recipient), MessageRow.status == "waiting"
        )
    )
    withdraw(session, waiting.all(), TAKEN_OFF if reason == "unsubscribed" else ADDRESS_REFUSED)
    return new


def resume_mail(session: Session, ground_id: str, recipient: str) -> bool:
    """Send an address mail again. False where it was not off."""
    found = session.get(MailStopRow, (ground_id, _key(recipient)))
    if found is None:
        return False
    session.execute(delete(MailStopRow).where(MailStopRow.ground_id == ground_id, MailStopRow.recipient == _key(recipient)))
    return True


def mail_stops(session: Session, ground_id: str) -> tuple[MailStop, ...]:
    """The addresses of a ground that are off, longest first."""
    rows = session.scalars(
        select(MailStopRow).where(MailStopRow.ground_id == ground_id).order_by(MailStopRow.stopped_at, MailStopRow.recipient)
    )
    return tuple(MailStop(r.ground_id, r.recipient, cast("StopReason", r.reason), r.detail, r.stopped_at) for r in rows)


def stopped_addresses(session: Session, ground_id: str) -> frozenset[str]:
    """The addresses of a ground that are off, in lower case."""
    return frozenset(session.scalars(select(MailStopRow.recipient).where(MailStopRow.ground_id == ground_id)))


def _key(recipient: str) -> str:
    return recipient.strip().lower()
