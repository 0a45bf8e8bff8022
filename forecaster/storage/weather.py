"""Weather issues: every forecast kept whole, as it was issued. Storage does not look inside the blob."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from forecaster.storage.ahead import not_ahead
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import WeatherIssueRow


@dataclass(frozen=True)
class StoredIssue:
    """One issue of one source for one ground. ``first_hour`` and ``last_hour``: starts of its first and last hour, UTC."""

    ground_id: str
    source: str
    issued_at: datetime
    stored_at: datetime
    first_hour: datetime
    last_hour: datetime
    blob: bytes


def save_issue(session: Session, issue: StoredIssue) -> None:
    """Keep an issue. The same issue handed out again, with the same time of issue, takes the place of the first."""
    insert_or_replace(session, WeatherIssueRow, asdict(issue), key=("ground_id", "source", "issued_at"))


def latest_issues(session: Session, ground_id: str, source: str, *, now: datetime, limit: int = 1) -> tuple[StoredIssue, ...]:
    """The newest issues of a source for a ground, newest first."""
    rows = session.scalars(
        select(WeatherIssueRow)
        .where(WeatherIssueRow.ground_id == ground_id, WeatherIssueRow.source == source, not_ahead(WeatherIssueRow.issued_at, now))
        .order_by(WeatherIssueRow.issued_at.desc())
        .limit(limit)
    )
    return tuple(
        StoredIssue(
            ground_id=row.ground_id,
            source=row.source,
            issued_at=row.issued_at,
            stored_at=row.stored_at,
            first_hour=row.first_hour,
            last_hour=row.last_hour,
            blob=row.blob,
        )
        for row in rows
    )
