"""What is due, done once: the process that the resident worker starts does it and ends. What is due stands in the task table."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from forecaster.pipeline.claims import CYCLE, cycle_of, run_claimed
from forecaster.pipeline.context import Context
from forecaster.pipeline.outgoing import send_due
from forecaster.pipeline.together import with_answers
from forecaster.pipeline.upkeep import keep_well
from forecaster.storage.database import transaction
from forecaster.storage.tasks import drop_other_tasks, due_tasks, ensure_task, hasten_task


def run_due(context: Context, *, stopping: Callable[[], bool] = lambda: False) -> tuple[str, ...]:
    """Run the cycles that are due, and send the messages that are, before and after each; returns the ids of the grounds that were run.

    ``stopping``: asked before each cycle and each message; what is under way is finished.

    Raises: StorageError where a cycle's end could not be kept. The cycle stays due, and messages that are due have been sent or tried.
    """
    every = timedelta(minutes=context.configuration.service.cycle_every_minutes)
    grounds = {cycle_of(ground.id): ground for ground in context.configuration.grounds}
    ran = []
    with transaction(context.engine) as session:
        for task in grounds:
            ensure_task(session, task, context.clock())
            hasten_task(session, task, latest=context.clock() + every, due_at=context.clock())
        drop_other_tasks(session, CYCLE, grounds)
        due = [task for task in due_tasks(session, context.clock(), kind=CYCLE) if task in grounds]
    try:
        send_due(context, stopping=stopping)
        for ground, asked in with_answers([grounds[task] for task in due], context, stopping=stopping):
            # A ground whose weather does not come, or many that come late, must not keep a message waiting that is ready.
            send_due(context, stopping=stopping)
            if not stopping() and run_claimed(ground, context, asked=asked) is not None:
                ran.append(ground.id)
        if not stopping():
            keep_well(context, ran=ran)
    finally:
        send_due(context, stopping=stopping)
    return tuple(ran)
