"""What is wrong with the program or its machine, as opposed to a ground: told on pages and checks until it is well again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import ConditionRow


@dataclass(frozen=True)
class Condition:
    """One thing that is wrong, since when, and in a sentence that names no ground."""

    name: str
    since: datetime
    text: str


def set_condition(session: Session, name: str, text: str, now: datetime) -> bool:
    """Keep that something is wrong; True where it was well before. The time of its beginning stays."""
    since = session.scalar(select(ConditionRow.since).where(ConditionRow.name == name))
    insert_or_replace(session, ConditionRow, {"name": name, "since": since or now, "text": text}, key=("name",))
    return since is None


def clear_condition(session: Session, name: str) -> None:
    """It is well again."""
    session.execute(delete(ConditionRow).where(ConditionRow.name == name))


def conditions(session: Session) -> tuple[Condition, ...]:
    """Everything that is wrong, oldest first."""
    rows = session.execute(select(ConditionRow.name, ConditionRow.since, ConditionRow.text).order_by(ConditionRow.since, ConditionRow.name))
    return tuple(Condition(row.name, row.since, row.text) for row in rows)


def low_disk(session: Session) -> bool:
    """Whether only what is needed may be written: the disk is nearly full."""
    return session.scalar(select(ConditionRow.name).where(ConditionRow.name == "disk")) is not None
