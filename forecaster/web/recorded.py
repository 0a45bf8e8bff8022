"""What people entered, read and written over the database."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import Any, Literal
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Engine

from forecaster.documents import AlertDocument, AlertMark, GroundSummary, Snooze
from forecaster.errors import StorageError
from forecaster.records import (
    ApplicationEntry,
    ApplicationRecord,
    FixtureEntry,
    FixtureRecord,
    ObservationEntry,
    ObservationRecord,
    RecordKind,
    RecordMarks,
    RingEntry,
    RingRecord,
)
from forecaster.storage.database import reading, transaction
from forecaster.storage.episodes import marked_alert
from forecaster.storage.records import (
    NewRecord,
    RecordQuery,
    StoredRecord,
    add_record,
    change_record,
    count_records,
    delete_record,
    get_record,
    list_records,
)


@dataclass(frozen=True)
class Shape:
    """One kind of record: its address, its entry and record, and the field that places it in time."""

    kind: RecordKind
    plural: str
    entry: Any
    record: type[RecordMarks]
    placed_by: str


SHAPES: dict[RecordKind, Shape] = {
    "application": Shape("application", "applications", ApplicationEntry, ApplicationRecord, "applied_at_utc"),
    "observation": Shape("observation", "observations", ObservationEntry, ObservationRecord, "observed_at_utc"),
    "fixture": Shape("fixture", "fixtures", FixtureEntry, FixtureRecord, "starts_at_utc"),
    "ring": Shape("ring", "rings", RingEntry, RingRecord, "surveyed"),
}
_ADAPTERS = {kind: TypeAdapter(shape.entry) for kind, shape in SHAPES.items()}


@dataclass(frozen=True)
class PlacedRecord:
    """A record with its place in a list."""

    happened_at: datetime
    id: str
    record: Any


def placed_at(kind: RecordKind, entry: Any, time_zone: str) -> datetime:
    """When a record happened: its time, or noon of its day at the ground."""
    found = getattr(entry, SHAPES[kind].placed_by)
    return found if isinstance(found, datetime) else datetime.combine(found, time(12), ZoneInfo(time_zone)).astimezone(UTC)


class StoredRecords:
    """Records of grounds over an open database. ``now`` gives UTC."""

    def __init__(self, engine: Engine, now: Callable[[], datetime]) -> None:
        self._engine, self._now = engine, now

    def add(self, ground: GroundSummary, kind: RecordKind, entry: Any, *, request_key: str | None, by: str) -> tuple[Any, bool]:
        """Keep a new record; True beside it where it is new. Raises KeyReused."""
        new = NewRecord(
            id=uuid.uuid4().hex,
            ground_id=ground.id,
            kind=kind,
            surface_id=entry.surface_id,
            happened_at=placed_at(kind, entry, ground.time_zone),
            document=entry.model_dump(mode="json"),
            request_key=request_key,
        )
        with transaction(self._engine) as session:
            stored, fresh = add_record(session, new, by=by, now=self._now())
        return _read(stored).record, fresh

    def change(self, ground: GroundSummary, kind: RecordKind, record_id: str, entry: Any, *, version: int | None, by: str) -> Any:
        """Let a record say something else. Raises NotFound, Outdated."""
        with transaction(self._engine) as session:
            if version is None:
                version = get_record(session, ground.id, kind, record_id).version
            stored = change_record(
                session,
                ground.id,
                kind,
                record_id,
                surface_id=entry.surface_id,
                happened_at=placed_at(kind, entry, ground.time_zone),
                document=entry.model_dump(mode="json"),
                version=version,
                by=by,
                now=self._now(),
            )
        return _read(stored).record

    def delete(self, ground_id: str, kind: RecordKind, record_id: str, *, version: int | None, by: str) -> Any:
        """Mark a record as deleted. Raises NotFound, Outdated."""
        with transaction(self._engine) as session:
            return _read(delete_record(session, ground_id, kind, record_id, version=version, by=by, now=self._now())).record

    def one(self, ground_id: str, kind: RecordKind, record_id: str) -> Any:
        """One record. Raises NotFound."""
        with reading(self._engine) as session:
            return _read(get_record(session, ground_id, kind, record_id)).record

    def many(self, ground_id: str, kind: RecordKind, query: RecordQuery, *, limit: int | None = None) -> list[PlacedRecord]:
        """Records, newest first."""
        with reading(self._engine) as session:
            return [_read(stored) for stored in list_records(session, ground_id, kind, query, limit=limit)]

    def acknowledge(self, ground_id: str, alert_id: str, *, by: str, note: str) -> AlertDocument:
        """Mark an open alert as known to somebody; one that is already stays as it is. Raises NotFound, Conflict."""
        now = self._now()

        def change(alert: AlertDocument) -> tuple[AlertMark | None, Snooze | None]:
            if alert.acknowledgement is not None and alert.acknowledgement.stands(now):
                return alert.acknowledgement, alert.snooze
            return AlertMark(at_utc=now, by=by, severity=alert.severity, note=note), alert.snooze

        with transaction(self._engine) as session:
            return marked_alert(session, ground_id, alert_id, change)

    def put_off(self, ground_id: str, alert_id: str, *, until: datetime, by: str, note: str) -> AlertDocument:
        """Put an open alert off. Raises NotFound, Conflict."""
        now = self._now()

        def change(alert: AlertDocument) -> tuple[AlertMark | None, Snooze | None]:
            return alert.acknowledgement, Snooze(at_utc=now, by=by, severity=alert.severity, note=note, until_utc=until)

        with transaction(self._engine) as session:
            return marked_alert(session, ground_id, alert_id, change)

    def take_back(self, ground_id: str, alert_id: str, mark: Literal["acknowledgement", "snooze"], *, by: str) -> AlertDocument:
        """End a mark that stands; without one nothing changes. Raises NotFound, Conflict."""
        now = self._now()

        def change(alert: AlertDocument) -> tuple[AlertMark | None, Snooze | None]:
            found = getattr(alert, mark)
            if found is not None and found.stands(now):
                alert = alert.model_copy(update={mark: found.model_copy(update={"ended_at_utc": now, "ended_by": by})})
            return alert.acknowledgement, alert.snooze

        with transaction(self._engine) as session:
            return marked_alert(session, ground_id, alert_id, change)

    def count(self, ground_id: str, kind: RecordKind) -> int:
        """How many records there are, without deleted ones."""
        with reading(self._engine) as session:
            return count_records(session, ground_id, kind)


def _read(stored: StoredRecord) -> PlacedRecord:
    """Raises: StorageError where another version of the program wrote it."""
    try:
        entry = _ADAPTERS[stored.kind].validate_json(json.dumps(stored.document))
    except ValidationError as error:
        raise StorageError(
            f"the {stored.kind} {stored.id} of {stored.ground_id} is damaged or from another version of the program",
            hint="It is kept as it is; the program's own version reads it.",
        ) from error
    marks: dict[str, Any] = {
        "id": stored.id,
        "ground_id": stored.ground_id,
        "version": stored.version,
        "entered_at_utc": stored.entered_at,
        "entered_by": stored.entered_by,
        "changed_at_utc": stored.changed_at,
        "changed_by": stored.changed_by,
        "deleted_at_utc": stored.deleted_at,
        "deleted_by": stored.deleted_by,
    }
    return PlacedRecord(stored.happened_at, stored.id, SHAPES[stored.kind].record(**marks, **{stored.kind: entry}))
