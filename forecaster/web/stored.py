"""The web process's reads over the database. Every read sees one moment of it and never waits for a cycle that writes."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from forecaster.advice.limits import BookingLimits
from forecaster.documents import AlertDocument, Explanation, FixtureSummary, GroundSummary, SurfaceOutlook
from forecaster.errors import NotFound
from forecaster.rule_documents import RulesDocument
from forecaster.storage.cycles import latest_cycle
from forecaster.storage.database import reading
from forecaster.storage.episodes import alerts_of, get_alert, open_alerts
from forecaster.storage.explanations import latest_explanation
from forecaster.storage.grounds import get_ground, list_grounds
from forecaster.storage.mail_stops import mail_stops
from forecaster.storage.mailed import WITHDRAWALS
from forecaster.storage.marks import alerts_mark, outlook_mark
from forecaster.storage.message_heads import MessageHead, message_heads
from forecaster.storage.messages import StoredMessage, count_messages, recent_messages
from forecaster.storage.outlooks import latest_charts, latest_outlook, latest_outlooks
from forecaster.storage.records import RecordQuery, list_records
from forecaster.storage.service_documents import BOOKING, RULES, service_document
from forecaster.storage.weather_reports import weather_report_of
from forecaster.weather_report import WeatherReport
from forecaster.web.mail import masked
from forecaster.web.reading import CycleView, MailOff, MailProblem, MailView

SHOWN_BACK = timedelta(days=30)
"""Fixtures that began longer ago are in the list of fixtures only."""


class StoredReads:
    """``Store`` over an open database. ``now`` gives UTC: rows from a clock that was ahead of it are left out."""

    def __init__(self, engine: Engine, now: Callable[[], datetime]) -> None:
        self._engine, self._now = engine, now

    def grounds(self) -> Sequence[GroundSummary]:
        with reading(self._engine) as session:
            return [self._with_entered(session, ground) for ground in list_grounds(session)]

    def ground(self, ground_id: str) -> GroundSummary | None:
        with reading(self._engine) as session:
            try:
                return self._with_entered(session, get_ground(session, ground_id))
            except NotFound:
                return None

    def latest_outlooks(self, ground_id: str) -> Sequence[SurfaceOutlook]:
        with reading(self._engine) as session:
            try:
                surfaces = {surface.id for surface in get_ground(session, ground_id).surfaces}
            except NotFound:
                return ()
            return tuple(latest_outlooks(session, ground_id, now=self._now(), surface_ids=surfaces).values())

    def outlook(self, ground_id: str, surface_id: str) -> SurfaceOutlook | None:
        with reading(self._engine) as session:
            return latest_outlook(session, ground_id, surface_id, now=self._now())

    def explanation(self, ground_id: str, surface_id: str) -> Explanation | None:
        with reading(self._engine) as session:
            return latest_explanation(session, ground_id, surface_id)

    def outlook_mark(self, ground_id: str, surface_id: str) -> Hashable | None:
        with reading(self._engine) as session:
            return outlook_mark(session, ground_id, surface_id, now=self._now())

    def alerts_mark(self, ground_id: str) -> Hashable | None:
        with reading(self._engine) as session:
            return alerts_mark(session, ground_id, now=self._now())

    def weather_report(self, ground_id: str) -> WeatherReport | None:
        with reading(self._engine) as session:
            return weather_report_of(session, ground_id)

    def charts(self, ground_id: str, surface_id: str) -> Mapping[str, str]:
        with reading(self._engine) as session:
            return latest_charts(session, ground_id, surface_id, now=self._now())

    def alerts(self, ground_id: str, *, include_ended: bool, limit: int) -> Sequence[AlertDocument]:
        with reading(self._engine) as session:
            if include_ended:
                return alerts_of(session, ground_id)[:limit]
            return [alert for alert, _ in reversed(open_alerts(session, ground_id))][:limit]

    def messages(self, ground_id: str, *, status: str | None, after: tuple[datetime, str] | None, limit: int) -> Sequence[MessageHead]:
        with reading(self._engine) as session:
            return message_heads(session, ground_id, status=status, after=after, limit=limit)

    def rules(self) -> tuple[RulesDocument, datetime] | None:
        with reading(self._engine) as session:
            return service_document(session, RULES, RulesDocument)

    def booking_limits(self) -> BookingLimits | None:
        with reading(self._engine) as session:
            found = service_document(session, BOOKING, BookingLimits)
        return None if found is None else found[0]

    def alert(self, ground_id: str, alert_id: str) -> AlertDocument:
        with reading(self._engine) as session:
            return get_alert(session, ground_id, alert_id)

    def last_cycle(self, ground_id: str) -> CycleView | None:
        now = self._now()
        with reading(self._engine) as session:
            last = latest_cycle(session, ground_id, now=now)
            if last is None:
                return None
            good = latest_cycle(session, ground_id, now=now, among=("ok", "degraded"))
        return CycleView(
            good_at_utc=None if good is None else good.finished_at,
            tried_at_utc=last.finished_at,
            problem=last.error_message,
        )

    def mail(self, ground_id: str, *, since: date) -> MailView:
        with reading(self._engine) as session:
            counts = count_messages(session, ground_id, since=since)
            troubled = recent_messages(session, ground_id, since=since, troubled=True)
            stops = mail_stops(session, ground_id)
            zone = _zone(session, ground_id)
        return MailView(
            waiting=counts["waiting"] + counts["claimed"],
            sent=counts["sent"],
            failed=counts["failed"],
            expired=counts["expired"],
            problems=tuple(_problem(message) for message in troubled),
            off=tuple(MailOff(masked(s.recipient), s.reason, masked(s.detail), s.stopped_at.astimezone(zone).date()) for s in stops),
        )

    def _with_entered(self, session: Session, ground: GroundSummary) -> GroundSummary:
        """The ground with the fixtures that were entered beside those of the configuration, in order of time."""
        fixtures = [
            FixtureSummary(
                id=record.id,
                surface_id=record.surface_id,
                title=record.document["title"],
                starts_at_utc=record.document["starts_at_utc"],
                ends_at_utc=record.document["ends_at_utc"],
                children=record.document["children"],
                origin="entered",
            )
            for record in list_records(session, ground.id, "fixture", RecordQuery(since=self._now() - SHOWN_BACK))
        ]
        if not fixtures:
            return ground
        return ground.model_copy(update={"fixtures": tuple(sorted((*ground.fixtures, *fixtures), key=lambda f: f.starts_at_utc))})


def _zone(session: Session, ground_id: str) -> ZoneInfo:
    try:
        return ZoneInfo(get_ground(session, ground_id).time_zone)
    except NotFound:  # retired while it was read
        return ZoneInfo("UTC")


def _problem(message: StoredMessage) -> MailProblem:
    withdrawn = message.status == "expired" and message.last_error in WITHDRAWALS
    return MailProblem(
        local_day=message.local_day,
        end="withdrawn" if withdrawn else message.status if message.status in ("failed", "expired") else "waiting",
        recipient=masked(message.recipient),
        reason=masked(message.last_error or ""),
    )
