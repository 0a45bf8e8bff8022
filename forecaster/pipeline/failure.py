"""What happens when a cycle fails: it is recorded, and the people of the ground are told where it matters to them, once a day."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session

from forecaster.alerts.digest import SAMPLE_PREFIX
from forecaster.delivery.notice import render_notice
from forecaster.delivery.render import SAMPLE_NOTICE, RenderedMessage
from forecaster.errors import ForecasterError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.leases import Check, nobody_else
from forecaster.pipeline.telling import Telling, enqueue_failure
from forecaster.risk.sentences import day_words
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import transaction
from forecaster.storage.messages import digest_key, message_status
from forecaster.storage.outlooks import outlook_times

OUTLOOK_SERVES = timedelta(hours=12)
"""A message of six in the morning serves for the working day. Who has had today's is not told of failed runs while every surface has an
outlook younger than this: several runs in a row have failed by then, and the next may be well. Status: assumption."""


def record_failure(ground: Ground, context: Context, error: Exception, *, started: datetime, check: Check = nobody_else) -> CycleRecord:
    """Keep that a cycle failed and why, for page and health, and tell those who need to know; both in a transaction of their own.

    Where the database itself has failed this fails too, with its StorageError: then nothing can be kept, and the command ends.
    """
    expected = isinstance(error, ForecasterError)
    said = str(error) if expected else f"a fault of the program ({type(error).__name__}); the log has the details"
    record = CycleRecord(
        ground_id=ground.id,
        started_at=started,
        finished_at=context.clock(),
        status="failed",
        weather=None,
        error_slug=error.slug if isinstance(error, ForecasterError) else "program-fault",
        error_message=said,
    )
    local_day = started.astimezone(ground.time_zone).date()
    with transaction(context.engine) as session:
        check(session)
        save_cycle(session, record)
        made = outlook_times(session, ground.id, now=started, surface_ids={surface.id for surface in ground.surfaces})
        rendered = _message(ground, context, said, last=max(made.values(), default=None), now=started)
        serves = len(made) == len(ground.surfaces) and all(started - at < OUTLOOK_SERVES for at in made.values())
        to_tell = [
            recipient for recipient in ground.recipients if not (serves and _has_message(session, ground, recipient.email, local_day))
        ]
        # Only once the hour has come: a run that fails at night may be well again by then.
        enqueue_failure(session, Telling(ground, context.public_url, started, ahead_minutes=0), rendered, to_tell)
    return record


def _has_message(session: Session, ground: Ground, recipient: str, local_day: date) -> bool:
    return message_status(session, digest_key(ground.id, recipient, local_day)) in ("waiting", "claimed", "sent")


def _message(ground: Ground, context: Context, said: str, *, last: datetime | None, now: datetime) -> RenderedMessage:
    at, _, hour = _moment(ground, now, now=now).partition(", ")
    link = None if context.public_url is None else f"{context.public_url.rstrip('/')}/grounds/{ground.id}"
    where = "" if link is None else " It is on the page below."
    if last is None:
        known = "There is no outlook of this ground yet, so nothing is known of its surfaces."
    else:
        known = f"The last outlook is of {_moment(ground, last, now=now)}.{where} What has changed since is not in it."
    paragraphs = [
        *([SAMPLE_NOTICE] if ground.sample else []),
        f"The run of this program for {ground.name} {at} at {hour} failed: {said}.",
        known,
        "No word here does not mean that all is well: walk the ground and look for yourself.",
        "The run is tried again without your doing. You are told of this once a day at most.",
    ]
    prefix = SAMPLE_PREFIX if ground.sample else ""
    return render_notice(f"{prefix}{ground.name}: no new outlook, the program's run failed", paragraphs, link=link)


def _moment(ground: Ground, moment: datetime, *, now: datetime) -> str:
    """Write a moment by the ground's clock: "today, 06:00", "Wednesday 19 August, 06:00"."""
    local, today = moment.astimezone(ground.time_zone), now.astimezone(ground.time_zone).date()
    day = "today" if local.date() == today else day_words(local.date(), today=today, weekday=True)
    return f"{day}, {local:%H:%M}"
