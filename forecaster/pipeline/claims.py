"""Who runs a ground's cycle: one process at a time, the service or a run by hand, by a lease on the ground's task."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import timedelta

from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds, run_ground
from forecaster.pipeline.leases import LeaseLost, renewed, take
from forecaster.pipeline.together import Asked, with_answers
from forecaster.storage.cycles import CycleRecord
from forecaster.storage.database import reading, transaction
from forecaster.storage.tasks import Task, finish_task, give_back_task, task_standing

log = logging.getLogger(__name__)

CYCLE = "cycle"
# Status: assumption; three times an hour is little for a weather service that is well again.
TRY_AGAIN = timedelta(minutes=20)


def cycle_of(ground_id: str) -> Task:
    """The task of running a ground's cycle."""
    return Task(CYCLE, ground_id)


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


def run_claimed(ground: Ground, context: Context, *, early: bool = False, asked: Asked | None = None) -> CycleRecord | None:
    """Claim a ground's cycle and run it; ``early``: also where it is not due. None where another process has it, or has just run it.

    ``asked``: see ``cycle.run_ground``.

    Raises: StorageError where the cycle's end could not be kept; it stays due then.
    """
    task = cycle_of(ground.id)
    if not take(task, context, early=early):
        return None
    try:
        with renewed(task, context) as check, context.breakable():
            record = run_ground(ground, context, asked=asked, check=check)
    except LeaseLost as error:
        log.warning("nothing is kept of this cycle: %s", error)
        return None
    except BaseException:  # also a stop: a lease left behind would keep the ground from being run for minutes
        with transaction(context.engine) as session:
            give_back_task(session, task, owner=context.owner)
        raise
    every = timedelta(minutes=context.configuration.service.cycle_every_minutes)
    # A cycle that failed, or whose pull did, is not left at that for hours: the next message may be due before.
    pause = every if record.error_message is None else min(every, TRY_AGAIN)
    with transaction(context.engine) as session:
        finish_task(session, task, owner=context.owner, next_due_at=context.clock() + pause, error=record.error_message)
    return record


def who_has_it(ground_id: str, context: Context) -> str:
    """Say which process has a ground's cycle."""
    with reading(context.engine) as session:
        standing = task_standing(session, cycle_of(ground_id))
    if standing is None or standing.lease_owner is None or standing.lease_until is None:
        return "another process was running its cycle"
    return f"another process ({standing.lease_owner}) is at it and holds it until {standing.lease_until:%H:%M:%S} UTC at least"
