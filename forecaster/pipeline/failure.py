"""What happens when a cycle fails: it is recorded, and the people of the ground are told once a day. Silence never means safe."""

from __future__ import annotations

import logging
from datetime import datetime

from forecaster.alerts.decide import EpisodeDecision
from forecaster.alerts.digest import DigestInputs, build_digest
from forecaster.documents import WeatherStatus
from forecaster.errors import ForecasterError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.outgoing import enqueue_digest
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
    weather = WeatherStatus(state="missing", text=f"No outlook today: {problem}.", source="", attribution="", licence="", problem=problem)
    record = CycleRecord(
        ground_id=ground.id,
        started_at=started,
        finished_at=context.clock(),
        status="failed",
        weather=weather,
        error_slug=error.slug if isinstance(error, ForecasterError) else "program-fault",
        error_message=said,
    )
    digest = build_digest(DigestInputs(ground_summary(ground), (), None, EpisodeDecision(), weather, context.public_url, started))
    with transaction(context.engine) as session:
        save_cycle(session, record)
        # Only once the hour has come: a run that fails at night may be well again by then.
        enqueue_digest(session, ground, digest, now=started, ahead_minutes=0, kind="failure")
    return record
