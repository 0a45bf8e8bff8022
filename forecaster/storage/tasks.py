"""What is due when, so that a restart, a missed hour or a clock change loses nothing and doubles nothing.

A task is a kind of work for one ground, or for the whole service (ground ""). Who works at it holds a lease that runs out by itself: after
a crash another process takes over, and the one that lost its lease must not commit (``holds_lease`` in the transaction that would).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, cast

from sqlalchemy import ColumnElement, CursorResult, and_, delete, or_, select, update
from sqlalchemy.orm import Session

from forecaster.storage.ahead import AHEAD
from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import TaskRow

LONGEST_LEASE = timedelta(minutes=10)
"""A lease that ends later than this from now was written under a clock that was ahead, and does not count. Status: assumption."""


@dataclass(frozen=True, order=True)
class Task:
    """A kind of work, for one ground or, with an empty id, for the whole service."""

    kind: str
    ground_id: str = ""


@dataclass(frozen=True)
class TaskStanding:
    """How a task stands. ``attempts``: begun since it last went well; ``last_error``: what the last of them ended with."""

    due_at: datetime
    attempts: int
    last_error: str | None
    lease_owner: str | None
    lease_until: datetime | None


def ensure_task(session: Session, task: Task, due_at: datetime) -> bool:
    """Write a task down unless it is known. True when it is new; a known one keeps its time."""
    values = {"kind": task.kind, "ground_id": task.ground_id, "due_at": due_at, "attempts": 0}
    return insert_or_ignore(session, TaskRow, values, key=("kind", "ground_id"))


def hasten_task(session: Session, task: Task, *, latest: datetime, due_at: datetime) -> bool:
    """Make a task due at ``due_at`` that is due only after ``latest``: its interval was shortened, or a clock was ahead."""
    return _changed_one(session, update(TaskRow).where(_is(task), TaskRow.due_at > latest).values(due_at=due_at))


def due_tasks(session: Session, now: datetime, *, kind: str) -> tuple[Task, ...]:
    """Tasks of a kind whose time has come, longest overdue first. A task missed several times is in it once."""
    due = select(TaskRow.kind, TaskRow.ground_id).where(TaskRow.kind == kind, TaskRow.due_at <= now)
    return tuple(Task(*row) for row in session.execute(due.order_by(TaskRow.due_at, TaskRow.ground_id)))


def drop_other_tasks(session: Session, kind: str, known: Collection[Task]) -> None:
    """Forget tasks of a kind that are not among the known ones: their ground left the configuration, and nobody would ever do them."""
    for row in session.execute(select(TaskRow.kind, TaskRow.ground_id).where(TaskRow.kind == kind)).all():
        if Task(*row) not in known:
            session.execute(delete(TaskRow).where(_is(Task(*row))))


def any_free_task(session: Session, now: datetime, *, real_now: datetime) -> bool:
    """Whether there is a task that is due and that nobody works at."""
    return session.scalar(select(TaskRow.kind).where(TaskRow.due_at <= now, _free(real_now)).limit(1)) is not None


def claim_task(session: Session, task: Task, *, owner: str, now: datetime, lasts: timedelta, due_by: datetime | None = None) -> bool:
    """Take a task that is due by a moment (None: due or not). True for exactly one of all who try; commit before work.

    The lease holds until the task is finished or given back, or ``lasts`` has passed since ``now`` without ``renew_lease``.
    """
    leased = {"lease_owner": owner, "lease_until": now + lasts, "attempts": TaskRow.attempts + 1}
    statement = update(TaskRow).where(_is(task), _free(now)).values(leased)
    return _changed_one(session, statement if due_by is None else statement.where(TaskRow.due_at <= due_by))


def renew_lease(session: Session, task: Task, *, owner: str, until: datetime) -> bool:
    """Hold a task for longer. False where the lease has passed to another."""
    return _changed_one(session, update(TaskRow).where(_is(task), TaskRow.lease_owner == owner).values(lease_until=until))


def holds_lease(session: Session, task: Task, *, owner: str) -> bool:
    """Whether a task is still this owner's. Asked in the transaction that commits the work: nobody can take the lease before its end.

    A lease that ran out and that nobody took is still its owner's.
    """
    return session.scalar(select(TaskRow.lease_owner).where(_is(task)).with_for_update()) == owner


def finish_task(session: Session, task: Task, *, owner: str, next_due_at: datetime, error: str | None = None) -> bool:
    """The work is done; it is due again at ``next_due_at``. False where the lease had passed to another.

    ``error``: how it went wrong; without one its attempts are counted anew.
    """
    ended: dict[str, Any] = {"due_at": next_due_at, "lease_until": None, "lease_owner": None, "last_error": error}
    if error is None:
        ended["attempts"] = 0
    return _changed_one(session, update(TaskRow).where(_is(task), TaskRow.lease_owner == owner).values(ended))


def give_back_task(session: Session, task: Task, *, owner: str) -> bool:
    """The work was broken off; it stays due, for anybody. False where the lease had passed to another."""
    return _changed_one(session, update(TaskRow).where(_is(task), TaskRow.lease_owner == owner).values(lease_until=None, lease_owner=None))


def task_standing(session: Session, task: Task) -> TaskStanding | None:
    """How a task stands; None where it is not known."""
    row = session.scalars(select(TaskRow).where(_is(task))).first()
    return None if row is None else TaskStanding(row.due_at, row.attempts, row.last_error, row.lease_owner, row.lease_until)


def _is(task: Task) -> ColumnElement[bool]:
    return and_(TaskRow.kind == task.kind, TaskRow.ground_id == task.ground_id)


def _free(now: datetime) -> ColumnElement[bool]:
    return or_(TaskRow.lease_until.is_(None), TaskRow.lease_until <= now, TaskRow.lease_until > now + LONGEST_LEASE + AHEAD)


def _changed_one(session: Session, statement: Any) -> bool:
    result = session.execute(statement.execution_options(synchronize_session=False))
    return cast("CursorResult[Any]", result).rowcount == 1
