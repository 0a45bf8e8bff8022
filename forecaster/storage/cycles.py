"""How the runs went, for the health page and for "last good"."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, cast

from pydantic import ValidationError
from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from forecaster.documents import WeatherStatus
from forecaster.errors import StorageError
from forecaster.storage.ahead import not_ahead
from forecaster.storage.models import CycleRow

CycleStatus = Literal["ok", "degraded", "failed"]


@dataclass(frozen=True)
class CycleRecord:
    """One run for one ground. ``degraded``: it ran, on old or missing weather. ``failed``: the error says why, in one line."""

    ground_id: str
    started_at: datetime
    finished_at: datetime
    status: CycleStatus
    weather: WeatherStatus | None
    error_slug: str | None = None
    error_message: str | None = None


def save_cycle(session: Session, cycle: CycleRecord) -> None:
    """Keep how a run went. A failed run is recorded in a transaction of its own: the one it worked in is rolled back."""
    session.execute(
        insert(CycleRow).values(
            ground_id=cycle.ground_id,
            started_at=cycle.started_at,
            finished_at=cycle.finished_at,
            status=cycle.status,
            weather=None if cycle.weather is None else cycle.weather.model_dump(mode="json"),
            error_slug=cycle.error_slug,
            error_message=cycle.error_message,
        )
    )


def latest_cycle(
    session: Session, ground_id: str, *, now: datetime, among: tuple[CycleStatus, ...] = ("ok", "degraded", "failed")
) -> CycleRecord | None:
    """The run that finished last, among those that went this way; None where there is none yet.

    Raises: StorageError where another version of the program wrote it.
    """
    row = session.scalars(
        select(CycleRow)
        .where(CycleRow.ground_id == ground_id, CycleRow.status.in_(among), not_ahead(CycleRow.finished_at, now))
        .order_by(CycleRow.finished_at.desc(), CycleRow.id.desc())
        .limit(1)
    ).first()
    return None if row is None else _read(row)


def first_cycle_at(session: Session, ground_id: str) -> datetime | None:
    """When the first run of a ground that is still kept began; None before it."""
    return session.scalar(select(CycleRow.started_at).where(CycleRow.ground_id == ground_id).order_by(CycleRow.id).limit(1))


def _read(row: CycleRow) -> CycleRecord:
    try:
        weather = None if row.weather is None else WeatherStatus.model_validate(row.weather)
    except ValidationError as error:
        raise StorageError(
            f"what was kept of the run of {row.ground_id} at {row.finished_at:%Y-%m-%d %H:%M} UTC is damaged or from another version "
            "of the program",
            hint="Run one cycle: it writes a new one.",
        ) from error
    return CycleRecord(
        ground_id=row.ground_id,
        started_at=row.started_at,
        finished_at=row.finished_at,
        status=cast("CycleStatus", row.status),
        weather=weather,
        error_slug=row.error_slug,
        error_message=row.error_message,
    )
