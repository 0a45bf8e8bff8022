"""What is due when, so that a restart, a missed hour or a clock change loses nothing and doubles nothing."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, cast

from sqlalchemy import CursorResult, or_, select, update
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import TaskRow


def ensure_task(session: Session, name: str, due_at: datetime) -> bool:
    """Write a task down unless it is known. True when it is new; a known one keeps its time."""
    return insert_or_ignore(session, TaskRow, {"name": name, "due_at": due_at}, key=("name",))


def hasten_task(session: Session, name: str, *, latest: datetime, due_at: datetime) -> bool:
    """Make a task due at ``due_at`` that is due only after ``latest``: its interval was shortened, or a clock was ahead."""
    return _changed_one(session, update(TaskRow).where(TaskRow.name == name, TaskRow.due_at > latest).values(due_at=due_at))


def due_tasks(session: Session, now: datetime) -> tuple[str, ...]:
    """Names of tasks whose time has come, longest overdue first. A task missed several times is in it once."""
    return tuple(session.scalars(select(TaskRow.name).where(TaskRow.due_at <= now).order_by(TaskRow.due_at, TaskRow.name)))


def claim_task(session: Session, name: str, *, owner: str, now: datetime, lasts: timedelta, due_by: datetime | None = None) -> bool:
    """Take a task that is due by a moment (None: due or not). True for exactly one of all who try; commit before work.

    The claim holds until the task is finished or given back, or ``lasts`` has passed since ``now``.
    """
    free = or_(TaskRow.claimed_at.is_(None), TaskRow.claimed_at <= now - lasts)
    statement = update(TaskRow).where(TaskRow.name == name, free).values(claimed_at=now, claimed_by=owner)
    return _changed_one(session, statement if due_by is None else statement.where(TaskRow.due_at <= due_by))


def claim_of(session: Session, name: str) -> tuple[str, datetime] | None:
    """Who has claimed a task, and when; None where nobody has."""
    row = session.execute(select(TaskRow.claimed_by, TaskRow.claimed_at).where(TaskRow.name == name)).first()
    return None if row is None or row.claimed_by is None or row.claimed_at is None else (row.claimed_by, row.claimed_at)


def finish_task(session: Session, name: str, *, owner: str, next_due_at: datetime) -> bool:
    """The work is done; it is due again at ``next_due_at``. False where the claim had passed to another."""
    mine = update(TaskRow).where(TaskRow.name == name, TaskRow.claimed_by == owner)
    return _changed_one(session, mine.values(due_at=next_due_at, claimed_at=None, claimed_by=None))


def give_back_task(session: Session, name: str, *, owner: str) -> bool:
    """The work could not be done; it stays due, for anybody. False where the claim had passed to another."""
    return _changed_one(
        session, update(TaskRow).where(TaskRow.name == name, TaskRow.claimed_by == owner).values(claimed_at=None, claimed_by=None)
    )


def _changed_one(session: Session, statement: Any) -> bool:
    result = session.execute(statement.execution_options(synchronize_session=False))
    return cast("CursorResult[Any]", result).rowcount == 1
