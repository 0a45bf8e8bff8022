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


@dataclass(frozen=True)
class IssueSpan:
    """When an issue was made, and the first hour it holds, both UTC: what lies between was past for it."""

    issued_at: datetime
    first_hour: datetime


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
    return tuple(map(_issue, rows))


def issue_spans(session: Session, ground_id: str, source: str, *, now: datetime, since: datetime) -> tuple[IssueSpan, ...]:
    """What the issues of a source since a moment cover, newest first, without their weather."""
    mine = (WeatherIssueRow.ground_id == ground_id, WeatherIssueRow.source == source, not_ahead(WeatherIssueRow.issued_at, now))
    rows = session.execute(
        select(WeatherIssueRow.issued_at, WeatherIssueRow.first_hour)
        .where(*mine, WeatherIssueRow.issued_at >= since)
        .order_by(WeatherIssueRow.issued_at.desc())
    )
    return tuple(IssueSpan(issued_at, first_hour) for issued_at, first_hour in rows)


def issues_reaching_back(
    session: Session, ground_id: str, source: str, *, now: datetime, since: datetime, newest: int
) -> tuple[StoredIssue, ...]:
    """The newest issues of a source, and the fewest older ones that carry them back to ``since`` without a gap; newest first.

    An issue may hold a few past days only. One that goes on from another was issued at or after the hour at which that one begins, so that
    what it adds was past for it too; where none does, that is all there is.
    """
    chosen = list(latest_issues(session, ground_id, source, now=now, limit=newest))
    if not chosen:
        return ()
    spans = issue_spans(session, ground_id, source, now=now, since=since)
    reached, wanted = min(issue.first_hour for issue in chosen), list[datetime]()
    while reached > since:
        going_on = [span for span in spans if span.first_hour < reached <= span.issued_at]
        if not going_on:
            break
        farthest = min(going_on, key=lambda span: (span.first_hour, -span.issued_at.timestamp()))
        wanted.append(farthest.issued_at)
        reached = farthest.first_hour
    if wanted:
        rows = session.scalars(
            select(WeatherIssueRow)
            .where(WeatherIssueRow.ground_id == ground_id, WeatherIssueRow.source == source, WeatherIssueRow.issued_at.in_(wanted))
            .order_by(WeatherIssueRow.issued_at.desc())
        )
        chosen += map(_issue, rows)
    return tuple(chosen)


def _issue(row: WeatherIssueRow) -> StoredIssue:
    return StoredIssue(
        ground_id=row.ground_id,
        source=row.source,
        issued_at=row.issued_at,
        stored_at=row.stored_at,
        first_hour=row.first_hour,
        last_hour=row.last_hour,
        blob=row.blob,
    )
