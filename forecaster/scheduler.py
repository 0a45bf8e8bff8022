"""The cycle process: a tick every minute takes what is due. The scheduler holds no state; the task table does.

So a restart, a missed hour or a clock change needs no luck: what is overdue runs on the next tick, once.
"""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, JobExecutionEvent
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.interval import IntervalTrigger

from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds, run_ground
from forecaster.pipeline.outgoing import send_due
from forecaster.storage.database import transaction
from forecaster.storage.tasks import claim_task, due_tasks, ensure_task, finish_task

log = logging.getLogger(__name__)

TICK_SECONDS = 60
# A cycle of one ground takes seconds; a claim older than this belongs to a process that is gone.
CLAIM_LASTS = timedelta(minutes=30)
_CYCLE = "cycle/"


def run_due(context: Context) -> tuple[str, ...]:
    """Run the cycles that are due, then send the messages that are; returns the ids of the grounds that were run."""
    every = timedelta(minutes=context.configuration.service.cycle_every_minutes)
    grounds = {_CYCLE + ground.id: ground for ground in context.configuration.grounds}
    ran = []
    with transaction(context.engine) as session:
        for name in grounds:
            ensure_task(session, name, context.clock())
        due = [name for name in due_tasks(session, context.clock()) if name in grounds]
    for name in due:
        with transaction(context.engine) as session:
            mine = claim_task(session, name, owner=context.owner, now=context.clock(), lasts=CLAIM_LASTS)
        if mine:
            run_ground(grounds[name], context)
            ran.append(grounds[name].id)
            with transaction(context.engine) as session:
                finish_task(session, name, owner=context.owner, next_due_at=context.clock() + every)
    send_due(context)
    return tuple(ran)


def keep_running(context: Context) -> None:
    """Run what is due now, then again at every tick, until the process is told to stop.

    Raises: StorageError where the first run finds the database unusable; later failures are logged and tried again at the next tick.
    """
    register_grounds(context)
    run_due(context)
    scheduler = BlockingScheduler(timezone=UTC)
    scheduler.add_listener(_tell, EVENT_JOB_ERROR | EVENT_JOB_MAX_INSTANCES)
    scheduler.add_job(
        run_due,
        IntervalTrigger(seconds=TICK_SECONDS, start_date=datetime.now(UTC) + timedelta(seconds=TICK_SECONDS), timezone=UTC),
        args=(context,),
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
    )
    scheduler.start()


def _tell(event: JobExecutionEvent) -> None:
    error = getattr(event, "exception", None)
    log.error("a tick failed: %s", error if error is not None else "the one before it is still running")
