"""A lease on a task, renewed while the work lasts. Whoever lost it must not commit."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta

from sqlalchemy.orm import Session

from forecaster.errors import StorageError
from forecaster.pipeline.context import Context
from forecaster.storage.database import transaction
from forecaster.storage.tasks import Task, claim_task, ensure_task, holds_lease, renew_lease

log = logging.getLogger(__name__)

LEASE_LASTS = timedelta(minutes=2)
"""A process that has not renewed its lease for so long is gone or hangs, and another takes over. Status: assumption."""
RENEW_SECONDS = 30.0

Check = Callable[[Session], None]


class LeaseLost(Exception):
    """Another process has taken the task over: what was worked out must not be kept."""


def nobody_else(_session: Session) -> None:
    """The check of work that holds no lease."""


def take(task: Task, context: Context, *, early: bool) -> bool:
    """Claim a task; ``early``: also where it is not due. False where another process has it, or has just done it."""
    due_by = None if early else context.clock()
    with transaction(context.engine) as session:
        ensure_task(session, task, context.clock())
        return claim_task(session, task, owner=context.owner, now=context.real_clock(), lasts=LEASE_LASTS, due_by=due_by)


@contextmanager
def renewed(task: Task, context: Context, *, every_s: float = RENEW_SECONDS) -> Iterator[Check]:
    """Renew the lease on a claimed task every ``every_s`` [s] until the work ends; gives the check to ask before it is committed.

    The check raises LeaseLost. A renewal that fails is tried again: should another process take over meanwhile, the check will tell.
    """
    ended = threading.Event()

    def renew() -> None:
        while not ended.wait(every_s):
            try:
                with transaction(context.engine) as session:
                    if not renew_lease(session, task, owner=context.owner, until=context.real_clock() + LEASE_LASTS):
                        return
            except StorageError as error:
                log.warning("the lease on %s could not be renewed: %s", task, error.message)

    def check(session: Session) -> None:
        if not holds_lease(session, task, owner=context.owner):
            raise LeaseLost(f"another process has taken over {task.kind} {task.ground_id}".rstrip())

    thread = threading.Thread(target=renew, name="lease", daemon=True)
    thread.start()
    try:
        yield check
    finally:
        ended.set()
        thread.join(timeout=1.0)  # it may be waiting for the database; what it then does harms nobody
