"""Messages: decided into the outbox within a cycle's transaction, sent from it one by one afterwards."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from time import monotonic

from sqlalchemy.orm import Session

from forecaster.delivery.message import Letter
from forecaster.delivery.outbox import Attempt, deliver
from forecaster.delivery.render import RenderedMessage, render_digest
from forecaster.documents import DigestDocument
from forecaster.ground.ground import Ground, Recipient
from forecaster.pipeline.context import Context
from forecaster.storage.database import transaction
from forecaster.storage.messages import (
    NewMessage,
    StoredMessage,
    claim_message,
    digest_key,
    due_messages,
    enqueue_message,
    expire_messages,
    mark_doubtful,
    mark_postponed,
    mark_rejected,
    mark_sent,
    pause,
    postpone_due,
    release_claims,
)

log = logging.getLogger(__name__)

PASS_SECONDS = 120.0
"""No message is begun later than this in one pass, so that a slow mail server does not hold up the cycles. Status: assumption."""


def enqueue_digest(session: Session, ground: Ground, digest: DigestDocument, *, now: datetime, ahead_minutes: int) -> int:
    """Write the day's message and put it into the outbox, as ``enqueue_rendered`` does."""
    return enqueue_rendered(session, ground, render_digest(digest), local_day=digest.local_day, now=now, ahead_minutes=ahead_minutes)


def enqueue_rendered(
    session: Session,
    ground: Ground,
    rendered: RenderedMessage,
    *,
    local_day: date,
    now: datetime,
    ahead_minutes: int,
    kind: str = "digest",
) -> int:
    """Put the day's message for every recipient whose hour is near into the outbox; returns how many are new.

    The last cycle before the hour writes it, so that it is as fresh as can be; later cycles of the day find its key taken.
    """
    new = 0
    for recipient in ground.recipients:
        not_before = local_moment(ground, local_day, recipient.daily_at)
        if now < not_before - timedelta(minutes=ahead_minutes):
            continue
        key = digest_key(ground.id, recipient.email, local_day)
        new += enqueue_message(
            session,
            NewMessage(
                key=key if kind == "digest" else f"{kind}/{key}",
                ground_id=ground.id,
                recipient=recipient.email,
                kind=kind,
                local_day=local_day,
                subject=rendered.subject,
                text=rendered.text,
                html=rendered.html,
                created_at=now,
                not_before=not_before,
                expires_at=_end_of_use(ground, recipient, local_day),
            ),
        )
    return new


def local_moment(ground: Ground, day: date, at: time) -> datetime:
    """A wall-clock time of the ground in UTC; a skipped one by the offset before the change, a doubled one at its first run."""
    return datetime.combine(day, at, tzinfo=ground.time_zone).astimezone(UTC)


def _end_of_use(ground: Ground, recipient: Recipient, day: date) -> datetime:
    """A digest is of use until the next one is due: the same hour of the next local day."""
    return local_moment(ground, day + timedelta(days=1), recipient.daily_at)


def send_due(context: Context, *, stopping: Callable[[], bool] = lambda: False, patience_s: float = PASS_SECONDS) -> dict[str, int]:
    """Send what is due, each message by claim → commit → send → mark. Returns how many ended in which way.

    ``stopping``: asked before each message; what is under way is finished, so that an orderly stop leaves no claim behind. Where what
    carries the messages cannot be reached, one has been tried and all others that are due wait with it. No message is begun after
    ``patience_s`` [s]; the next call goes on with those that are left.
    """
    ends: dict[str, int] = {}
    now = context.clock()
    until = monotonic() + patience_s
    with transaction(context.engine) as session:
        release_claims(session, now)
        if expired := expire_messages(session, now):
            ends["expired"] = expired
        due = due_messages(session, now)
    for number, message in enumerate(due):
        if stopping() or (number > 0 and monotonic() >= until):
            break
        with transaction(context.engine) as session:
            mine = claim_message(session, message.id, owner=context.owner, now=context.clock())
        if mine:
            attempt = deliver(context.mailer, _letter(message, context))
            put_off = _mark(context, message, attempt)
            end = "postponed" if attempt.end == "unreachable" else attempt.end
            ends[end] = ends.get(end, 0) + 1 + put_off
            if attempt.end == "unreachable":
                break
    return ends


def _letter(message: StoredMessage, context: Context) -> Letter:
    return Letter(
        key=message.key,
        sender=context.sender,
        recipient=message.recipient,
        subject=message.subject,
        text=message.text,
        html=message.html,
        written_at=message.created_at,
    )


def _mark(context: Context, message: StoredMessage, attempt: Attempt) -> int:
    """Keep how an attempt ended. Returns how many other messages are put off with this one."""
    owner, now = context.owner, context.clock()
    if attempt.end != "sent":
        log.warning("message %s for %s was %s: %s", message.id, message.ground_id, attempt.end, attempt.problem)
    with transaction(context.engine) as session:
        if attempt.end == "sent":
            mark_sent(session, message.id, owner=owner, now=now)
        elif attempt.end in ("postponed", "unreachable"):
            mark_postponed(session, message.id, owner=owner, now=now, error=attempt.problem)
        elif attempt.end == "doubtful":
            mark_doubtful(session, message.id, owner=owner, now=now, error=attempt.problem)
        else:
            mark_rejected(session, message.id, owner=owner, error=attempt.problem)
        if attempt.end != "unreachable":
            return 0
        return postpone_due(session, now, until=now + pause(message.attempts + 1), error=attempt.problem)
