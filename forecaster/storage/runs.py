"""What the kept outlooks rest on, so that they can be made again. Storage does not look inside the parts.

Weather and members are issues of their own (``storage.weather``), which a run names; what belongs to no issue is a part under the hash of
its bytes, so that what several runs share is kept once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_ignore, insert_or_replace
from forecaster.storage.models import RunPartRow, RunRow, WeatherIssueRow

IssueName = tuple[str, datetime]
"""Source and time of issue."""


@dataclass(frozen=True)
class KeptRun:
    """The run behind the outlooks of one ground and local day. ``document``: how the parts and issues belong together."""

    ground_id: str
    local_day: date
    started_at: datetime
    document: bytes
    issues: tuple[IssueName, ...] = ()
    parts: Mapping[str, bytes] = field(default_factory=dict)
    """Hash → bytes."""


def save_run(session: Session, run: KeptRun) -> None:
    """Keep a run; it takes the place of an earlier one of the same local day, as its outlooks do."""
    rests_on = {"issues": [[source, issued_at.isoformat()] for source, issued_at in run.issues], "parts": sorted(run.parts)}
    values = {
        "ground_id": run.ground_id,
        "local_day": run.local_day,
        "started_at": run.started_at,
        "document": run.document,
        "rests_on": rests_on,
    }
    insert_or_replace(session, RunRow, values, key=("ground_id", "local_day"))
    for digest, blob in run.parts.items():
        insert_or_ignore(session, RunPartRow, {"ground_id": run.ground_id, "digest": digest, "blob": blob}, key=("ground_id", "digest"))


def run_of_day(session: Session, ground_id: str, day: date) -> KeptRun | None:
    """The run behind a day's outlooks, with those of its parts that are still there; None where none is kept."""
    row = session.get(RunRow, (ground_id, day))
    if row is None:
        return None
    wanted = row.rests_on["parts"]
    found = select(RunPartRow.digest, RunPartRow.blob).where(RunPartRow.ground_id == ground_id, RunPartRow.digest.in_(wanted))
    parts: dict[str, bytes] = {}
    for digest, blob in session.execute(found):
        parts[digest] = blob
    return KeptRun(ground_id, day, row.started_at, row.document, _issues(row.rests_on), parts)


def issue_blob(session: Session, ground_id: str, name: IssueName) -> bytes | None:
    """The bytes of an issue; None where it is no longer kept."""
    source, issued_at = name
    mine = (WeatherIssueRow.ground_id == ground_id, WeatherIssueRow.source == source, WeatherIssueRow.issued_at == issued_at)
    return session.scalars(select(WeatherIssueRow.blob).where(*mine)).first()


def run_days(session: Session, ground_id: str) -> tuple[date, ...]:
    """The days of which a run is kept, oldest first."""
    return tuple(session.scalars(select(RunRow.local_day).where(RunRow.ground_id == ground_id).order_by(RunRow.local_day)))


def issues_of_runs(session: Session, ground_id: str) -> set[IssueName]:
    """Every issue that a kept run rests on."""
    rows = session.scalars(select(RunRow.rests_on).where(RunRow.ground_id == ground_id))
    return {name for rests_on in rows for name in _issues(rests_on)}


def drop_runs(session: Session, ground_id: str, days: tuple[date, ...]) -> None:
    """Forget the runs of these days, and every part that none is left to rest on."""
    if days:
        session.execute(delete(RunRow).where(RunRow.ground_id == ground_id, RunRow.local_day.in_(days)))
    needed = {
        digest for rests_on in session.scalars(select(RunRow.rests_on).where(RunRow.ground_id == ground_id)) for digest in rests_on["parts"]
    }
    there = session.scalars(select(RunPartRow.digest).where(RunPartRow.ground_id == ground_id))
    surplus = [digest for digest in there if digest not in needed]
    if surplus:
        session.execute(delete(RunPartRow).where(RunPartRow.ground_id == ground_id, RunPartRow.digest.in_(surplus)))


def _issues(rests_on: Mapping[str, list[list[str]]]) -> tuple[IssueName, ...]:
    return tuple((source, datetime.fromisoformat(issued_at).astimezone(UTC)) for source, issued_at in rests_on["issues"])
