"""Who runs a ground's cycle: one process at a time, the service or a run by hand, by a claim on the ground's task."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds, run_ground
from forecaster.pipeline.together import Outcome, with_answers
from forecaster.storage.cycles import CycleRecord
from forecaster.storage.database import reading, transaction
from forecaster.storage.tasks import claim_of, claim_task, ensure_task, finish_task, give_back_task

# Status: assumption; three times an hour is little for a weather service that is well again.
TRY_AGAIN = timedelta(minutes=20)
# A cycle of one ground takes seconds; a claim older than this belongs to a process that is gone.
CLAIM_LASTS = timedelta(minutes=30)


def task_name(ground_id: str) -> str:
    """Name of a ground's task in the table."""
    return f"cycle/{ground_id}"


def run_cycles(context: Context, *, count: Callable[[str], None] = lambda ground_id: None) -> tuple[CycleRecord, ...]:
    """Run one cycle for every configured ground, due or not. A ground that fails is recorded and told about; the others go on.

    A ground that another process is running at the moment is left to it and is not in the result. ``count`` is told of every ground that is
    done with.
    """
    register_grounds(context)
    records = []
    for ground, asked in with_answers(context.configuration.grounds, context):
        records.append(run_claimed(ground, context, early=True, asked=asked))
        count(ground.id)
    return tuple(record for record in records if record is not None)


def run_claimed(ground: Ground, context: Context, *, early: bool = False, asked: Outcome | None = None) -> CycleRecord | None:
    """Claim a ground's cycle and run it; ``early``: also where it is not due. None where another process has it, or has just run it.

    ``asked``: see ``cycle.run_ground``.

    Raises: StorageError where the cycle's end could not be kept; it stays due then.
    """
    name = task_name(ground.id)
    due_by = None if early else context.clock()
    with transaction(context.engine) as session:
        ensure_task(session, name, context.clock())
        if not claim_task(session, name, owner=context.owner, now=context.real_clock(), lasts=CLAIM_LASTS, due_by=due_by):
            return None
    try:
        record = run_ground(ground, context, asked=asked)
    except BaseException:  # also Ctrl-C: a claim left behind would keep the ground from being run for half an hour
        with transaction(context.engine) as session:
            give_back_task(session, name, owner=context.owner)
        raise
    every = timedelta(minutes=context.configuration.service.cycle_every_minutes)
    # A cycle that failed, or whose pull did, is not left at that for hours: the next message may be due before.
    pause = every if record.error_message is None else min(every, TRY_AGAIN)
    with transaction(context.engine) as session:
        finish_task(session, name, owner=context.owner, next_due_at=context.clock() + pause)
    return record


def who_has_it(ground_id: str, context: Context) -> str:
    """Say which process has a ground's cycle."""
    with reading(context.engine) as session:
        claim = claim_of(session, task_name(ground_id))
    if claim is None:
        return "another process was running its cycle"
    owner, since = claim
    return f"another process ({owner}) has been at it since {since:%H:%M} UTC"
