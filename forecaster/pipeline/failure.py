"""What happens when a cycle fails: it is recorded, and the people of the ground are told once a day. Silence never means safe."""

from __future__ import annotations

import logging
from datetime import datetime
from html import escape

from forecaster.alerts.decide import EpisodeDecision
from forecaster.alerts.digest import DigestInputs, build_digest
from forecaster.delivery.render import NO_WEATHER_NOTICE, SAMPLE_NOTICE, RenderedMessage, render_digest
from forecaster.documents import WeatherStatus
from forecaster.errors import ForecasterError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.outgoing import enqueue_rendered
from forecaster.pipeline.summaries import ground_summary
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import transaction

log = logging.getLogger(__name__)


def record_failure(ground: Ground, context: Context, error: Exception, *, started: datetime) -> CycleRecord:
    """Keep that a cycle failed and why, and put a message that says so into the outbox; both in a transaction of their own.

    Where the database itself has failed this fails too, with its StorageError: then nothing can be kept, and the command ends.
    """
    expected = isinstance(error, ForecasterError)
    said = str(error) if expected else f"a fault of the program ({type(error).__name__}); the log has the details"
    problem = f"the last run for this ground failed: {said}"
    weather = WeatherStatus(
        state="missing",
        text=f"No new outlook: {problem}.",
        source="",
        attribution="",
        licence="",
        problem=problem,
        sample=ground.sample,
    )
    record = CycleRecord(
        ground_id=ground.id,
        started_at=started,
        finished_at=context.clock(),
        status="failed",
        weather=weather,
        error_slug=error.slug if isinstance(error, ForecasterError) else "program-fault",
        error_message=said,
    )
    rendered = _message(ground, context, weather, started=started)
    local_day = started.astimezone(ground.time_zone).date()
    with transaction(context.engine) as session:
        save_cycle(session, record)
        # Only once the hour has come: a run that fails at night may be well again by then.
        enqueue_rendered(session, ground, rendered, local_day=local_day, now=started, ahead_minutes=0, kind="failure")
    return record


def _message(ground: Ground, context: Context, weather: WeatherStatus, *, started: datetime) -> RenderedMessage:
    try:
        return render_digest(
            build_digest(DigestInputs(ground_summary(ground), (), None, EpisodeDecision(), weather, context.public_url, started))
        )
    except Exception:
        # What broke the cycle may break its message too. The other grounds go on, and the people of this one hear of it all the same.
        log.exception("the message about the failed cycle of %s could not be arranged", ground.id)
        said = [SAMPLE_NOTICE] if ground.sample else []
        text = " ".join([*said, f"{ground.name}: {weather.text}", NO_WEATHER_NOTICE])
        return RenderedMessage(subject=f"{ground.name}: not known", text=f"{text}\n", html=f"<p>{escape(text)}</p>\n")
