"""How the runs went, for the health page and for "last good"."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, cast

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from forecaster.documents import WeatherStatus
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


def latest_cycle(session: Session, ground_id: str, *, among: tuple[CycleStatus, ...] = ("ok", "degraded", "failed")) -> CycleRecord | None:
    """The run that finished last, among those that went this way; None where there is none yet."""
    row = session.scalars(
        select(CycleRow)
        .where(CycleRow.ground_id == ground_id, CycleRow.status.in_(among))
        .order_by(CycleRow.finished_at.desc(), CycleRow.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    return CycleRecord(
        ground_id=row.ground_id,
        started_at=row.started_at,
        finished_at=row.finished_at,
        status=cast("CycleStatus", row.status),
        weather=None if row.weather is None else WeatherStatus.model_validate(row.weather),
        error_slug=row.error_slug,
        error_message=row.error_message,
    )
