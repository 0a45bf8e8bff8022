"""What people enter by hand. Promises: the same request twice is one record; a change that rests on an old version is refused; deleting
marks, and what a record said before stays.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from sqlalchemy import and_, func, or_, select
from sqlalchemy.orm import Session

from forecaster.errors import KeyReused, NotFound, Outdated
from forecaster.records import RecordKind
from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import RecordRow, RecordVersionRow


@dataclass(frozen=True)
class NewRecord:
    """A record to keep. ``happened_at``: by which it is listed. ``request_key``: the same one again is the same record; None: no key."""

    id: str
    ground_id: str
    kind: RecordKind
    surface_id: str
    happened_at: datetime
    document: Mapping[str, Any]
    request_key: str | None


@dataclass(frozen=True)
class StoredRecord:
    """A record as it is kept."""

    id: str
    ground_id: str
    kind: RecordKind
    surface_id: str
    happened_at: datetime
    document: Mapping[str, Any]
    version: int
    entered_at: datetime
    entered_by: str
    changed_at: datetime | None
    changed_by: str | None
    deleted_at: datetime | None
    deleted_by: str | None


@dataclass(frozen=True)
class RecordQuery:
    """Which records of a ground: of a surface, of a time (``since`` included, ``until`` not), after a place in the list."""

    surface_id: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    after: tuple[datetime, str] | None = None
    """Time and id of the last record of the page before."""
    deleted: bool = False
    """Deleted ones too."""


def add_record(session: Session, new: NewRecord, *, by: str, now: datetime) -> tuple[StoredRecord, bool]:
    """Keep a new record; True beside it where it is new, False where the same request came before.

    Raises: KeyReused where the key came before with another content.
    """
    digest = _digest(new.document)
    values = {
        "id": new.id,
        "ground_id": new.ground_id,
        "kind": new.kind,
        "surface_id": new.surface_id,
        "happened_at": new.happened_at,
        "document": dict(new.document),
        "version": 1,
        "entered_at": now,
        "entered_by": by,
        "request_key": new.request_key,
        "request_digest": digest,
    }
    if insert_or_ignore(session, RecordRow, values, key=("ground_id", "kind", "request_key")):
        return get_record(session, new.ground_id, new.kind, new.id), True
    row = session.scalars(
        select(RecordRow).where(RecordRow.ground_id == new.ground_id, RecordRow.kind == new.kind, RecordRow.request_key == new.request_key)
    ).one()
    if row.request_digest != digest:
        raise KeyReused(
            "This request key came before with another content, so nothing was entered.", hint="Use a new key for every new entry."
        )
    return _read(row), False


def change_record(
    session: Session,
    ground_id: str,
    kind: RecordKind,
    record_id: str,
    *,
    surface_id: str,
    happened_at: datetime,
    document: Mapping[str, Any],
    version: int,
    by: str,
    now: datetime,
) -> StoredRecord:
    """Let a record say something else; what it said before is kept. ``version``: the one that the change rests on.

    The same change once more changes nothing. Raises: NotFound; Outdated where it has another version by now.
    """
    row = _standing(session, ground_id, kind, record_id, version=None)
    if row.version == version + 1 and row.changed_by == by and row.document == dict(document):
        return _read(row)
    _refuse_outdated(row, version)
    session.add(RecordVersionRow(record_id=row.id, version=row.version, document=row.document, replaced_at=now, replaced_by=by))
    row.surface_id, row.happened_at, row.document = surface_id, happened_at, dict(document)
    row.version, row.changed_at, row.changed_by = row.version + 1, now, by
    session.flush()
    return _read(row)


def delete_record(
    session: Session, ground_id: str, kind: RecordKind, record_id: str, *, version: int | None, by: str, now: datetime
) -> StoredRecord:
    """Mark a record as deleted. ``version``: the one that the wish rests on, None: whichever.

    Raises: NotFound, also where it was deleted before; Outdated.
    """
    row = _standing(session, ground_id, kind, record_id, version=version)
    row.version, row.deleted_at, row.deleted_by = row.version + 1, now, by
    session.flush()
    return _read(row)


def get_record(session: Session, ground_id: str, kind: RecordKind, record_id: str) -> StoredRecord:
    """One record that was not deleted. Raises: NotFound."""
    return _read(_standing(session, ground_id, kind, record_id, version=None))


def list_records(session: Session, ground_id: str, kind: RecordKind, query: RecordQuery, *, limit: int | None = None) -> list[StoredRecord]:
    """Records of a ground, newest first."""
    wanted = select(RecordRow).where(RecordRow.ground_id == ground_id, RecordRow.kind == kind)
    if not query.deleted:
        wanted = wanted.where(RecordRow.deleted_at.is_(None))
    if query.surface_id is not None:
        wanted = wanted.where(RecordRow.surface_id == query.surface_id)
    if query.since is not None:
        wanted = wanted.where(RecordRow.happened_at >= query.since)
    if query.until is not None:
        wanted = wanted.where(RecordRow.happened_at < query.until)
    if query.after is not None:
        at, record_id = query.after
        wanted = wanted.where(or_(RecordRow.happened_at < at, and_(RecordRow.happened_at == at, RecordRow.id > record_id)))
    return [_read(row) for row in session.scalars(wanted.order_by(RecordRow.happened_at.desc(), RecordRow.id).limit(limit))]


def count_records(session: Session, ground_id: str, kind: RecordKind) -> int:
    """How many records of a kind a ground has, without deleted ones."""
    counted = select(func.count()).where(RecordRow.ground_id == ground_id, RecordRow.kind == kind, RecordRow.deleted_at.is_(None))
    return session.scalar(counted) or 0


def _standing(session: Session, ground_id: str, kind: RecordKind, record_id: str, *, version: int | None) -> RecordRow:
    row = session.get(RecordRow, record_id)
    if row is None or row.ground_id != ground_id or row.kind != kind:
        raise NotFound(f"There is no {kind} {record_id!r} on this ground.", hint=f"The list of {kind}s names those that exist.")
    if row.deleted_at is not None:
        raise NotFound(f"This {kind} was deleted by {row.deleted_by}.", hint="The list shows deleted ones too with deleted=true.")
    if version is not None:
        _refuse_outdated(row, version)
    return row


def _refuse_outdated(row: RecordRow, version: int) -> None:
    if row.version != version:
        raise Outdated(
            f"This {row.kind} was changed by {row.changed_by or row.entered_by} since you read it.", hint="Read it anew, then change it."
        )


def _digest(document: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(document, sort_keys=True).encode()).hexdigest()


def _read(row: RecordRow) -> StoredRecord:
    return StoredRecord(
        id=row.id,
        ground_id=row.ground_id,
        kind=cast("RecordKind", row.kind),
        surface_id=row.surface_id,
        happened_at=row.happened_at,
        document=row.document,
        version=row.version,
        entered_at=row.entered_at,
        entered_by=row.entered_by,
        changed_at=row.changed_at,
        changed_by=row.changed_by,
        deleted_at=row.deleted_at,
        deleted_by=row.deleted_by,
    )
