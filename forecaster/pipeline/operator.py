"""Messages to whoever runs this program: about services and machines, never about a ground. They go through the same outbox."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from sqlalchemy.orm import Session

from forecaster.delivery.notice import render_notice
from forecaster.pipeline.context import Context
from forecaster.storage.messages import NewMessage, enqueue_message

log = logging.getLogger(__name__)

OPERATOR_SETTING = "FORECASTER_OPERATOR_EMAIL"
OF_USE = timedelta(days=2)
"""A message about a service that could not be sent for so long tells of the past. Status: assumption."""


def tell_operator(session: Session, context: Context, subject: str, paragraphs: Sequence[str], *, key: str, now: datetime) -> bool:
    """Put a message to the operator into the outbox, in the caller's transaction; True where it is new.

    Promise: a ``key`` is told once, whatever runs twice: put the day into it to be told again on the next. Where nobody is named to be
    told, the log says it instead, and that is all that happens.
    """
    if context.operator_email is None:
        log.warning("%s (nobody is told by mail: %s is not set) %s", subject, OPERATOR_SETTING, " ".join(paragraphs))
        return False
    link = None if context.public_url is None else f"{context.public_url.rstrip('/')}/"
    rendered = render_notice(subject, paragraphs, link=link, link_words="The pages of this program")
    return enqueue_message(
        session,
        NewMessage(
            key=f"operator/{key}",
            ground_id=None,
            recipient=context.operator_email,
            kind="operator",
            local_day=now.astimezone(UTC).date(),
            subject=rendered.subject,
            text=rendered.text,
            html=rendered.html,
            created_at=now,
            not_before=now,
            expires_at=now + OF_USE,
        ),
    )
