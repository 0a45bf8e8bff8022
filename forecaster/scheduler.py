"""The cycle process: a tick every minute takes what is due. The scheduler holds no state; the task table does.

So a restart, a missed hour or a clock change needs no luck: what is overdue runs on the next tick, once.
"""

from __future__ import annotations

import logging
import signal
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from types import FrameType

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, JobExecutionEvent
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.interval import IntervalTrigger

from forecaster.errors import StorageError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds, run_ground
from forecaster.pipeline.outgoing import send_due
from forecaster.storage.database import transaction
from forecaster.storage.tasks import claim_task, due_tasks, ensure_task, finish_task, give_back_task, hasten_task

log = logging.getLogger(__name__)

TICK_SECONDS = 60
# Status: assumption; three times an hour is little for a weather service that is well again.
TRY_AGAIN = timedelta(minutes=20)
# A cycle of one ground takes seconds; a claim older than this belongs to a process that is gone.
CLAIM_LASTS = timedelta(minutes=30)
_CYCLE = "cycle/"


def run_due(context: Context, *, stopping: Callable[[], bool] = lambda: False) -> tuple[str, ...]:
    """Run the cycles that are due, then send the messages that are; returns the ids of the grounds that were run.

    ``stopping``: asked before each cycle and each message; what is under way is finished.

    Raises: StorageError where a cycle's end could not be kept. The cycle stays due, and messages that are due have been sent or tried.
    """
    every = timedelta(minutes=context.configuration.service.cycle_every_minutes)
    grounds = {_CYCLE + ground.id: ground for ground in context.configuration.grounds}
    ran = []
    with transaction(context.engine) as session:
        for name in grounds:
            ensure_task(session, name, context.clock())
            hasten_task(session, name, latest=context.clock() + every, due_at=context.clock())
        due = [name for name in due_tasks(session, context.clock()) if name in grounds]
    try:
        for name in due:
            if not stopping() and _run_one(name, grounds[name], context, every=every):
                ran.append(grounds[name].id)
    finally:
        send_due(context, stopping=stopping)
    return tuple(ran)


def _run_one(name: str, ground: Ground, context: Context, *, every: timedelta) -> bool:
    """Claim a cycle and run it. False where another process has it."""
    with transaction(context.engine) as session:
        if not claim_task(session, name, owner=context.owner, now=context.clock(), lasts=CLAIM_LASTS):
            return False
    try:
        record = run_ground(ground, context)
    except StorageError:
        with transaction(context.engine) as session:
            give_back_task(session, name, owner=context.owner)
        raise
    # A cycle that failed, or whose pull did, is not left at that for hours: the next message may be due before.
    pause = every if record.error_message is None else min(every, TRY_AGAIN)
    with transaction(context.engine) as session:
        finish_task(session, name, owner=context.owner, next_due_at=context.clock() + pause)
    return True


def keep_running(context: Context) -> None:
    """Run what is due now, then again at every tick, until the process is told to stop; then finish what is under way.

    Raises: StorageError where the first run finds the database unusable; later failures are logged and tried again at the next tick.
    """
    scheduler = BlockingScheduler(timezone=UTC)
    told_to_stop = threading.Event()

    def stop(_signal: int, _frame: FrameType | None) -> None:
        told_to_stop.set()
        if scheduler.running:
            scheduler.shutdown(wait=False)  # the interpreter waits for the tick that runs before it ends

    signal.signal(signal.SIGTERM, stop)
    register_grounds(context)
    run_due(context, stopping=told_to_stop.is_set)
    if told_to_stop.is_set():
        return
    scheduler.add_listener(_tell, EVENT_JOB_ERROR | EVENT_JOB_MAX_INSTANCES)
    scheduler.add_job(
        run_due,
        IntervalTrigger(seconds=TICK_SECONDS, start_date=datetime.now(UTC) + timedelta(seconds=TICK_SECONDS), timezone=UTC),
        args=(context,),
        kwargs={"stopping": told_to_stop.is_set},
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
    )
    scheduler.start()


def _tell(event: JobExecutionEvent) -> None:
    error = getattr(event, "exception", None)
    log.error("a tick failed: %s", error if error is not None else "the one before it is still running")
