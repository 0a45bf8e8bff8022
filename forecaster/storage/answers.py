"""Answers of weather services that must be kept until the next question: some ask their users not to fetch the same thing twice."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime

from sqlalchemy import delete
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import KeptAnswerRow


@dataclass(frozen=True)
class StoredAnswer:
    """One answer as it came. ``name``: which question it answers; ``last_modified``: exactly as the service wrote it."""

    name: str
    body: bytes
    last_modified: str | None
    expires: datetime
    deprecated: bool


def save_answer(session: Session, answer: StoredAnswer) -> None:
    """Keep an answer; it takes the place of the one before."""
    insert_or_replace(session, KeptAnswerRow, asdict(answer), key=("name",))


def drop_answers(session: Session, before: datetime) -> None:
    """Forget answers that ran out so long ago: of an address or a place that nobody asks about any more, they would stay for good."""
    session.execute(delete(KeptAnswerRow).where(KeptAnswerRow.expires < before))


def stored_answer(session: Session, name: str) -> StoredAnswer | None:
    """The answer kept under a name; None where there is none yet."""
    row = session.get(KeptAnswerRow, name)
    return None if row is None else StoredAnswer(row.name, row.body, row.last_modified, row.expires, row.deprecated)
