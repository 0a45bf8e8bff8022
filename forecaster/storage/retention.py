"""What is kept for how long. A forecast stays as it was issued; what only repeats it, or only pictures it, goes first.

Promise: nothing that an open alert, a waiting message or the next cycle needs is touched. Run in a cycle's own transaction; running it
twice changes nothing more. The numbers are own choices.
"""

from __future__ import annotations

import zlib
from datetime import date, datetime, timedelta

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from forecaster.documents import SurfaceOutlook
from forecaster.storage.ahead import not_ahead
from forecaster.storage.answers import drop_answers
from forecaster.storage.cap_messages import drop_cap_messages
from forecaster.storage.enclosures import drop_enclosures
from forecaster.storage.models import CycleRow, MessageRow, OutlookRow, WeatherIssueRow
from forecaster.storage.runs import drop_runs, issues_of_runs, run_days

MEMBERS = "-members"
"""How the names of sources of weather members end."""
NO_CHARTS = zlib.compress(b"{}")
EVERY_ISSUE = timedelta(days=30)
"""Every issue of the weather is kept this long; of older ones the first of each UTC day, and what a kept run rests on."""
EVERY_MEMBERS = timedelta(days=7)
"""Weather members are the largest issues: older ones stay only where a kept run rests on them."""
ONE_ISSUE_A_DAY = timedelta(days=800)
"""Two seasons and a winter: for rehearsing rules and for scoring."""
REBUILT_DAILY = timedelta(days=90)
"""For so long every kept outlook can be rebuilt from what it rests on, of older ones the first of each week."""
REBUILT_WEEKLY = ONE_ISSUE_A_DAY
WHOLE_OUTLOOKS = timedelta(days=7)
"""After this an outlook loses its charts and its past days, which its own earlier outlooks and the weather hold."""
ANSWERS = timedelta(days=90)
"""What a service or a calendar said, after it has run out; a calendar's events reach 60 days ahead."""
RECORDS = timedelta(days=400)
"""Records of cycles, messages that have ended, and chains of CAP messages that have."""


def prune(session: Session, ground_id: str, now: datetime) -> None:
    """Drop what has outlived its use for one ground."""
    _thin_runs(session, ground_id, now)
    _thin_issues(session, ground_id, now)
    _shrink_outlooks(session, ground_id, now)
    drop_enclosures(session, now)
    drop_cap_messages(session, now - RECORDS)
    drop_answers(session, now - ANSWERS)
    # By age alone: nobody prunes for a ground that is no longer configured, and its messages hold addresses.
    session.execute(delete(CycleRow).where(CycleRow.finished_at < now - RECORDS))
    ended = MessageRow.status.in_(("sent", "failed", "expired"))
    session.execute(delete(MessageRow).where(ended, MessageRow.expires_at < now - RECORDS))


def _thin_runs(session: Session, ground_id: str, now: datetime) -> None:
    """Of old runs keep the first of each week."""
    weeks: set[tuple[int, int]] = set()
    surplus = []
    for day in run_days(session, ground_id):
        week = day.isocalendar()[:2]
        outlived = day < (now - REBUILT_WEEKLY).date() or (week in weeks and day < (now - REBUILT_DAILY).date())
        if outlived:
            surplus.append(day)
        weeks.add(week)
    drop_runs(session, ground_id, tuple(surplus))


def _thin_issues(session: Session, ground_id: str, now: datetime) -> None:
    mine = WeatherIssueRow.ground_id == ground_id
    rows = session.execute(
        select(WeatherIssueRow.id, WeatherIssueRow.source, WeatherIssueRow.issued_at)
        .where(mine, WeatherIssueRow.issued_at < now - EVERY_MEMBERS)
        .order_by(WeatherIssueRow.issued_at)
    ).all()
    # The newest of a source is what the next cycle falls back on, however old it is; one ahead of the clock is not, since none reads it.
    behind = not_ahead(WeatherIssueRow.issued_at, now)
    latest = select(WeatherIssueRow.source, func.max(WeatherIssueRow.issued_at)).where(mine, behind).group_by(WeatherIssueRow.source)
    newest: dict[str, datetime] = {}
    for source, issued_at in session.execute(latest):
        newest[source] = issued_at
    kept: set[tuple[str, date]] = set()
    needed = issues_of_runs(session, ground_id)
    surplus = []
    for row_id, source, issued_at in rows:
        day, members = (source, issued_at.date()), source.endswith(MEMBERS)
        if not members and issued_at >= now - EVERY_ISSUE:
            continue
        outlived = members or day in kept or issued_at < now - ONE_ISSUE_A_DAY
        if outlived and issued_at != newest.get(source) and (source, issued_at) not in needed:
            surplus.append(row_id)
        kept.add(day)
    if surplus:
        session.execute(delete(WeatherIssueRow).where(WeatherIssueRow.id.in_(surplus)))


def _shrink_outlooks(session: Session, ground_id: str, now: datetime) -> None:
    """Leave of old outlooks what was said about the days to come; the newest of each surface stays whole, since pages show it."""
    newest = (
        select(OutlookRow.surface_id, func.max(OutlookRow.local_day).label("day"))
        .where(OutlookRow.ground_id == ground_id)
        .group_by(OutlookRow.surface_id)
        .subquery()
    )
    rows = session.scalars(
        select(OutlookRow)
        .join(newest, OutlookRow.surface_id == newest.c.surface_id)
        .where(OutlookRow.ground_id == ground_id, OutlookRow.local_day < newest.c.day)
        .where(OutlookRow.issued_at < now - WHOLE_OUTLOOKS, func.length(OutlookRow.charts) > len(NO_CHARTS))
    )
    for row in rows:
        row.charts = NO_CHARTS
        try:
            outlook = SurfaceOutlook.model_validate_json(zlib.decompress(row.document))
        except (ValueError, zlib.error):
            # Written by another version of the program, or damaged: it is left as it is, and counts as none wherever it is read.
            continue
        coming = tuple(day for day in outlook.days if day.lead_days >= 0)
        row.document = zlib.compress(outlook.model_copy(update={"days": coming}).model_dump_json().encode(), 9)
