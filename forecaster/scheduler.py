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

from forecaster.pipeline.claims import run_claimed, task_name
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds
from forecaster.pipeline.outgoing import send_due
from forecaster.pipeline.together import with_answers
from forecaster.storage.database import transaction
from forecaster.storage.tasks import due_tasks, ensure_task, hasten_task

log = logging.getLogger(__name__)

TICK_SECONDS = 60


def run_due(context: Context, *, stopping: Callable[[], bool] = lambda: False) -> tuple[str, ...]:
    """Run the cycles that are due, and send the messages that are, before and after each; returns the ids of the grounds that were run.

    ``stopping``: asked before each cycle and each message; what is under way is finished.

    Raises: StorageError where a cycle's end could not be kept. The cycle stays due, and messages that are due have been sent or tried.
    """
    every = timedelta(minutes=context.configuration.service.cycle_every_minutes)
    grounds = {task_name(ground.id): ground for ground in context.configuration.grounds}
    ran = []
    with transaction(context.engine) as session:
        for name in grounds:
            ensure_task(session, name, context.clock())
            hasten_task(session, name, latest=context.clock() + every, due_at=context.clock())
        due = [name for name in due_tasks(session, context.clock()) if name in grounds]
    try:
        send_due(context, stopping=stopping)
        for ground, asked in with_answers([grounds[name] for name in due], context, stopping=stopping):
            # A ground whose weather does not come, or many that come late, must not keep a message waiting that is ready.
            send_due(context, stopping=stopping)
            if not stopping() and run_claimed(ground, context, asked=asked) is not None:
                ran.append(ground.id)
    finally:
        send_due(context, stopping=stopping)
    return tuple(ran)


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
