"""Whether what is stored has changed, read without reading what it says."""

from __future__ import annotations

from collections.abc import Hashable
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from forecaster.storage.ahead import not_ahead
from forecaster.storage.models import EpisodeRow, GroundRow, OutlookRow


def outlook_mark(session: Session, ground_id: str, surface_id: str, *, now: datetime) -> Hashable | None:
    """Changes with the description of the ground and with the newest outlook of the surface; None where there is no outlook."""
    row = session.execute(
        select(GroundRow.updated_at, OutlookRow.id, OutlookRow.issued_at, func.length(OutlookRow.document))
        .join(GroundRow, GroundRow.id == OutlookRow.ground_id)
        .where(OutlookRow.ground_id == ground_id, OutlookRow.surface_id == surface_id, not_ahead(OutlookRow.issued_at, now))
        .where(GroundRow.retired_at.is_(None))
        .order_by(OutlookRow.local_day.desc())
        .limit(1)
    ).first()
    return None if row is None else tuple(row)


def alerts_mark(session: Session, ground_id: str, *, now: datetime) -> Hashable | None:
    """Changes with the description of the ground, its outlooks, its open alerts and what people say to them; None for no such ground."""
    updated_at = session.scalar(select(GroundRow.updated_at).where(GroundRow.id == ground_id, GroundRow.retired_at.is_(None)))
    if updated_at is None:
        return None
    issued_at = session.scalar(
        select(func.max(OutlookRow.issued_at)).where(OutlookRow.ground_id == ground_id, not_ahead(OutlookRow.issued_at, now))
    )
    alerts = session.execute(
        select(EpisodeRow.id, EpisodeRow.status, EpisodeRow.severity, EpisodeRow.last_day, EpisodeRow.acknowledgement, EpisodeRow.snooze)
        .where(EpisodeRow.ground_id == ground_id, EpisodeRow.status != "ended")
        .order_by(EpisodeRow.id)
    )
    return updated_at, issued_at, repr(alerts.all())
