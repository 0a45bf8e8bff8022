"""Alert episodes: kept from first to last day, so that each is raised once and cleared once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any, cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from forecaster.documents import AlertDocument, AlertMark, EpisodeStatus, Snooze
from forecaster.errors import Conflict, NotFound
from forecaster.quantities import Severity
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import EpisodeRow


def save_episode(session: Session, alert: AlertDocument, quiet_since: date | None) -> None:
    """Keep an episode, new or changed. ``quiet_since``: first local day in a row without the risk, None while it speaks.

    Save the end of an old episode before the start of the next one of the same surface and rule: only one may be open.
    """
    values = {
        "id": alert.id,
        "ground_id": alert.ground_id,
        "surface_id": alert.surface_id,
        "rule_id": alert.rule_id,
        "title": alert.title,
        "status": alert.status,
        "severity": alert.severity.value,
        "first_day": alert.first_day,
        "last_day": alert.last_day,
        "raised_at": alert.raised_at_utc,
        "ended_at": alert.ended_at_utc,
        "quiet_since": quiet_since,
        "reason": alert.reason,
        "advice": alert.advice,
        "acknowledgement": _written(alert.acknowledgement),
        "snooze": _written(alert.snooze),
    }
    insert_or_replace(session, EpisodeRow, values, key=("id",))


def marked_alert(
    session: Session, ground_id: str, alert_id: str, change: Callable[[AlertDocument], tuple[AlertMark | None, Snooze | None]]
) -> AlertDocument:
    """Let an open alert carry other marks (acknowledgement, snooze) than it does. Nothing else of it is touched.

    Raises: NotFound; Conflict where the alert has ended.
    """
    row = session.scalars(select(EpisodeRow).where(EpisodeRow.id == alert_id, EpisodeRow.ground_id == ground_id).with_for_update()).first()
    if row is None:
        raise no_such_alert(alert_id)
    if row.status == "ended":
        raise Conflict("This alert has ended: there is nothing to acknowledge or put off.", hint="A new one is raised if it comes back.")
    acknowledgement, snooze = change(_read(row))
    row.acknowledgement, row.snooze = _written(acknowledgement), _written(snooze)
    session.flush()
    return _read(row)


def get_alert(session: Session, ground_id: str, alert_id: str) -> AlertDocument:
    """One alert, open or ended. Raises: NotFound."""
    row = session.get(EpisodeRow, alert_id)
    if row is None or row.ground_id != ground_id:
        raise no_such_alert(alert_id)
    return _read(row)


def no_such_alert(alert_id: str) -> NotFound:
    """The error for an alert that is not there."""
    return NotFound(f"There is no alert {alert_id!r} on this ground.", hint="The list of alerts names those that exist.")


def open_alerts(session: Session, ground_id: str, *, to_decide: bool = False) -> list[tuple[AlertDocument, date | None]]:
    """Episodes that have not ended, each with the day since which it is quiet, oldest first.

    ``to_decide``: they are written back, and nobody marks one of them meanwhile.
    """
    wanted = (
        select(EpisodeRow)
        .where(EpisodeRow.ground_id == ground_id, EpisodeRow.status != "ended")
        .order_by(EpisodeRow.raised_at, EpisodeRow.id)
    )
    rows = session.scalars(wanted.with_for_update() if to_decide else wanted)
    return [(_read(row), row.quiet_since) for row in rows]


def alerts_ended_since(session: Session, ground_id: str, since: datetime) -> list[tuple[AlertDocument, date | None]]:
    """Episodes that ended after a moment, each with the day since which it was quiet, in the order in which they ended."""
    rows = session.scalars(
        select(EpisodeRow)
        .where(EpisodeRow.ground_id == ground_id, EpisodeRow.ended_at > since)
        .order_by(EpisodeRow.ended_at, EpisodeRow.id)
    )
    return [(_read(row), row.quiet_since) for row in rows]


def alerts_of(session: Session, ground_id: str, *, since: datetime | None = None) -> tuple[AlertDocument, ...]:
    """Episodes that are open, or ended at ``since`` or later (None: all), newest first."""
    query = select(EpisodeRow).where(EpisodeRow.ground_id == ground_id)
    if since is not None:
        query = query.where(EpisodeRow.ended_at.is_(None) | (EpisodeRow.ended_at >= since))
    return tuple(_read(row) for row in session.scalars(query.order_by(EpisodeRow.raised_at.desc(), EpisodeRow.id)))


def _read(row: EpisodeRow) -> AlertDocument:
    return AlertDocument(
        id=row.id,
        ground_id=row.ground_id,
        surface_id=row.surface_id,
        rule_id=row.rule_id,
        title=row.title,
        status=cast("EpisodeStatus", row.status),
        severity=Severity(row.severity),
        first_day=row.first_day,
        last_day=row.last_day,
        raised_at_utc=row.raised_at,
        ended_at_utc=row.ended_at,
        reason=row.reason,
        advice=row.advice,
        acknowledgement=None if row.acknowledgement is None else AlertMark.model_validate(row.acknowledgement),
        snooze=None if row.snooze is None else Snooze.model_validate(row.snooze),
    )


def _written(mark: AlertMark | None) -> dict[str, Any] | None:
    return None if mark is None else mark.model_dump(mode="json")
