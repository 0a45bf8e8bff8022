"""Messages of alerts as they were issued, whole, each once: the chain of an alert is told from its first message to its Cancel."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal, cast

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from forecaster.errors import NotFound, StorageError
from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import CapMessageRow

LISTED = timedelta(days=7)
"""So long after it was sent a message is listed also where it has run out; one that still holds always is."""
LISTED_AT_MOST = 200


@dataclass(frozen=True)
class StoredCapMessage:
    """One issued message. ``mark``: of what it told; ``title``: in the list."""

    identifier: str
    ground_id: str
    episode_id: str
    number: int
    kind: Literal["Alert", "Update", "Cancel"]
    sender: str
    sent_at: datetime
    expires_at: datetime
    severity: str
    mark: str
    title: str
    body: bytes


def save_cap_message(session: Session, message: StoredCapMessage) -> bool:
    """Keep a message. False where the chain has one of that number already: it was issued before, and stays as it was."""
    values = {**vars(message), "body": zlib.compress(message.body, 9)}
    return insert_or_ignore(session, CapMessageRow, values, key=("episode_id", "number"))


def chain_of(session: Session, episode_id: str) -> tuple[StoredCapMessage, ...]:
    """The messages of an alert, oldest first."""
    rows = session.scalars(select(CapMessageRow).where(CapMessageRow.episode_id == episode_id).order_by(CapMessageRow.number))
    return tuple(map(_read, rows))


def unfinished_chains(session: Session, ground_id: str) -> tuple[StoredCapMessage, ...]:
    """The last message of every chain of a ground that has no Cancel."""
    rows = session.scalars(select(CapMessageRow).where(CapMessageRow.ground_id == ground_id).order_by(CapMessageRow.number))
    last = {row.episode_id: row for row in rows}
    return tuple(_read(row) for row in last.values() if row.kind != "Cancel")


def listed_cap_messages(session: Session, ground_id: str, now: datetime) -> tuple[StoredCapMessage, ...]:
    """Those that hold or were sent lately, newest first."""
    holds = (CapMessageRow.expires_at > now) | (CapMessageRow.sent_at > now - LISTED)
    newest = select(CapMessageRow).where(CapMessageRow.ground_id == ground_id, holds)
    rows = session.scalars(newest.order_by(CapMessageRow.sent_at.desc(), CapMessageRow.identifier.desc()).limit(LISTED_AT_MOST))
    return tuple(map(_read, rows))


def cap_message(session: Session, ground_id: str, identifier: str) -> StoredCapMessage:
    """One message. Raises: NotFound; StorageError where it is damaged."""
    row = session.get(CapMessageRow, identifier)
    if row is None or row.ground_id != ground_id:
        raise NotFound(f"There is no message {identifier!r} of this ground.", hint="The list cap.atom names those that exist.")
    return _read(row)


def drop_cap_messages(session: Session, before: datetime) -> None:
    """Forget the messages of chains that have ended so long ago."""
    ended = select(CapMessageRow.episode_id).where(CapMessageRow.kind == "Cancel", CapMessageRow.sent_at < before)
    session.execute(delete(CapMessageRow).where(CapMessageRow.episode_id.in_(ended)), execution_options={"synchronize_session": False})


def _read(row: CapMessageRow) -> StoredCapMessage:
    try:
        body = zlib.decompress(row.body)
    except zlib.error as error:
        raise StorageError(f"the message {row.identifier} is damaged: {error}", hint="The next change of its alert is told.") from error
    return StoredCapMessage(
        identifier=row.identifier,
        ground_id=row.ground_id,
        episode_id=row.episode_id,
        number=row.number,
        kind=cast('Literal["Alert", "Update", "Cancel"]', row.kind),
        sender=row.sender,
        sent_at=row.sent_at,
        expires_at=row.expires_at,
        severity=row.severity,
        mark=row.mark,
        title=row.title,
        body=body,
    )
