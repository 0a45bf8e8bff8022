"""Messages leave the outbox one by one, after the cycle whose transaction put them there (``pipeline/telling.py``)."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from time import monotonic

from sqlalchemy.orm import Session

from forecaster.alerts.mailing import quiet_end
from forecaster.delivery.message import Enclosure, Letter
from forecaster.delivery.outbox import Attempt, deliver
from forecaster.pipeline.context import Context
from forecaster.pipeline.mail_links import off_link
from forecaster.storage.clock import doubt_of_clock
from forecaster.storage.database import transaction
from forecaster.storage.enclosures import enclosure_bodies
from forecaster.storage.mail_stops import stop_mail
from forecaster.storage.mailed import hold_message
from forecaster.storage.messages import (
    StoredMessage,
    claim_message,
    due_messages,
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
        if doubt_of_clock(session, now) is not None:
            return ends  # nothing is sent, and nothing counts as outlived: pages and checks say why
        release_claims(session, now)
        if expired := expire_messages(session, now):
            ends["expired"] = expired
        due = [message for message in due_messages(session, now) if not _held(session, message, context, now=now)]
    for number, message in enumerate(due):
        if stopping() or (number > 0 and monotonic() >= until):
            break
        with transaction(context.engine) as session:
            mine = claim_message(session, message.id, owner=context.owner, now=context.clock())
            letter = _letter(session, message, context)
        if mine:
            attempt = _deliver(message, letter, context)
            put_off = _mark(context, message, attempt)
            end = "postponed" if attempt.end == "unreachable" else attempt.end
            ends[end] = ends.get(end, 0) + 1 + put_off
            if attempt.end == "unreachable":
                break
    return ends


def _held(session: Session, message: StoredMessage, context: Context, *, now: datetime) -> bool:
    """Let a message wait while it is quiet for its reader, whatever made it so late."""
    ground = next((ground for ground in context.configuration.grounds if ground.id == message.ground_id), None)
    address = message.recipient.casefold()
    reader = next((one for one in ground.recipients if one.email.casefold() == address), None) if ground else None
    until = now if ground is None or reader is None else quiet_end(reader, now, ground.time_zone)
    return until > now and hold_message(session, message.id, until)


def _deliver(message: StoredMessage, letter: Letter, context: Context) -> Attempt:
    try:
        with context.breakable(patient=True):
            return deliver(context.mailer, letter)
    except Exception:
        raise
    except BaseException:  # a stop that could not wait any longer
        _mark(context, message, Attempt("doubtful", "the program was stopped while sending; it may have arrived"))
        raise


def _letter(session: Session, message: StoredMessage, context: Context) -> Letter:
    marks = (message.enclosures or {}).get("parts", [])
    bodies = enclosure_bodies(session, marks)
    return Letter(
        key=message.key,
        sender=context.sender,
        recipient=message.recipient,
        subject=message.subject,
        text=message.text,
        html=message.html,
        written_at=message.created_at,
        off_link=off_link(session, context.public_url, message.ground_id, message.recipient, now=context.clock()),
        enclosures=tuple(
            Enclosure(m["name"], m["media_type"], m["content_id"], bodies[m["digest"]]) for m in marks if m["digest"] in bodies
        ),
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
        if attempt.end == "address refused" and message.ground_id is not None:
            stop_mail(session, message.ground_id, message.recipient, "refused", now=now, detail=attempt.problem)
        if attempt.end != "unreachable":
            return 0
        return postpone_due(session, now, until=now + pause(message.attempts + 1), error=attempt.problem)
