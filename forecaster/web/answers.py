"""The shapes of the API's answers. Each carries the state and age of the weather behind it."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from forecaster.advice.play import Basis, Resolution, Verdict
from forecaster.documents import (
    AlertDocument,
    ColumnDay,
    Document,
    ExplainedDay,
    GroundSummary,
    RuleLimits,
    SurfaceOutlook,
    SurfaceSummary,
    WeatherStatus,
)
from forecaster.quantities import Origin, Severity, TurfState
from forecaster.records import ApplicationRecord, FixtureRecord, ObservationRecord, RecordKind, RingRecord
from forecaster.rule_documents import RuleSummary
from forecaster.weather_report import WeatherReport


class SurfaceStanding(Document):
    """One surface in a list: how it stands, worst first."""

    surface: SurfaceSummary
    severity: Severity | None
    """Worst severity that speaks, or the last known one where ``known`` is false: read that first. None where there is none."""
    known: bool
    headline: str
    outlook_issued_at_utc: datetime | None


class GroundStanding(Document):
    """One ground in a list: how its worst surface stands."""

    id: str
    name: str
    time_zone: str
    sample: bool
    surface_count: int
    worst_surface_id: str | None
    worst_surface_known: bool
    """False where the worst surface is not known: ``severity`` is then its last known one."""
    severity: Severity | None
    known: bool
    """False where anything about any surface is not known."""
    headline: str
    weather: WeatherStatus


class GroundsAnswer(Document):
    """All grounds, worst first."""

    items: tuple[GroundStanding, ...]
    next: str | None = None
    """For the grounds after these; None at the end."""
    answered_at_utc: datetime
    weather: WeatherStatus
    """The least trustworthy of all grounds."""


class GroundAnswer(Document):
    """One ground as it is described."""

    ground: GroundSummary
    answered_at_utc: datetime
    weather: WeatherStatus


class SurfacesAnswer(Document):
    """The surfaces of a ground, worst first."""

    ground_id: str
    items: tuple[SurfaceStanding, ...]
    next: str | None = None
    """For the surfaces after these; None at the end."""
    answered_at_utc: datetime
    weather: WeatherStatus


class SurfaceAnswer(Document):
    """One surface and how it stands."""

    ground_id: str
    standing: SurfaceStanding
    answered_at_utc: datetime
    weather: WeatherStatus


class OutlookAnswer(Document):
    """The outlook of one surface: today and the coming 14 days, and as many past days as were asked for."""

    outlook: SurfaceOutlook
    outlook_age_hours: float
    answered_at_utc: datetime
    weather: WeatherStatus
    """The weather as it stands now; inside ``outlook`` it is as it stood when the outlook was made."""


class ExplanationAnswer(Document):
    """What every rule said of a surface on one day, with its limits and the numbers it looked at."""

    ground_id: str
    surface_id: str
    issued_at_utc: datetime
    rules: tuple[RuleLimits, ...]
    explained: ExplainedDay
    answered_at_utc: datetime
    weather: WeatherStatus


class WeatherReportAnswer(Document):
    """What is known of a ground's weather, as its last cycle found it."""

    report: WeatherReport
    answered_at_utc: datetime
    weather: WeatherStatus


class AlertsAnswer(Document):
    """Alerts of a ground, newest first."""

    ground_id: str
    items: tuple[AlertDocument, ...]
    next: str | None
    """Hand it back for the alerts after these; None at the end."""
    answered_at_utc: datetime
    weather: WeatherStatus


class AlertAnswer(Document):
    """One alert. ``quiet``: acknowledged or put off, so that it is not told as new."""

    alert: AlertDocument
    quiet: bool
    answered_at_utc: datetime
    weather: WeatherStatus


class MailTrouble(Document):
    """A message that has not arrived; addresses are masked."""

    local_day: date
    end: Literal["failed", "expired", "withdrawn", "waiting"]
    recipient: str
    reason: str


class OffAddress(Document):
    """An address that gets no mail of a ground any more, masked; ``detail``: the mail server's words where it refused the address."""

    recipient: str
    reason: Literal["unsubscribed", "refused"]
    detail: str
    since: date


class GroundMail(Document):
    """The messages of a ground from a local day on: how many stand where, and the newest that has not arrived."""

    since: date
    waiting: int
    sent: int
    failed: int
    expired: int
    newest_problem: MailTrouble | None
    off: tuple[OffAddress, ...] = ()
    """Put back by whoever runs the program: forecaster mail on ADDRESS."""


class GroundHealth(Document):
    """When a ground was last computed."""

    ground_id: str
    ground_name: str
    status: Literal["ok", "late", "never"]
    last_good_at_utc: datetime | None
    last_good_age_hours: float | None
    last_tried_at_utc: datetime | None
    problem: str | None
    outlook_day: date | None
    weather: WeatherStatus
    mail: GroundMail
    """Told here and on the ground's page; it has no part in ``status``, which is about outlooks."""


class HealthAnswer(Document):
    """``ok`` (HTTP 200) when every ground had a good cycle lately; otherwise ``late`` or ``never`` (HTTP 503)."""

    status: Literal["ok", "late", "never"]
    limit_hours: float
    grounds: tuple[GroundHealth, ...]
    answered_at_utc: datetime


class WeatherDay(Document):
    """The weather of one local day. Numbers are None where it is missing."""

    day: date
    lead_days: int
    """0 is today, negative is past."""
    origin: Origin
    rain_mm: float | None
    et0_mm: float | None
    air_temperature_min_c: float | None
    air_temperature_max_c: float | None
    soil_temperature_c: float | None
    estimated: tuple[str, ...]
    estimated_share: float | None


class WeatherAnswer(Document):
    """The weather behind the newest outlook of a ground; no days where there is none yet."""

    ground_id: str
    time_zone: str
    days: tuple[WeatherDay, ...]
    issued_at_utc: datetime | None
    """When the outlook was made that these days are from."""
    answered_at_utc: datetime
    weather: WeatherStatus


class SoilState(Document):
    """One surface in one turf state at the end of a local day."""

    surface_id: str
    turf_state: TurfState
    day: date
    origin: Origin
    """Of the day's weather."""
    soil_temperature_c: float | None
    issued_at_utc: datetime
    column: ColumnDay


class StateAnswer(Document):
    """Soil and turf of a ground as simulated; a surface without an outlook is not in it."""

    ground_id: str
    time_zone: str
    items: tuple[SoilState, ...]
    answered_at_utc: datetime
    weather: WeatherStatus


class RulesAnswer(Document):
    """The rules; none before the first start of the service."""

    items: tuple[RuleSummary, ...]
    configured_at_utc: datetime | None
    """When they were last read from the configuration."""
    answered_at_utc: datetime


class MessageHeadAnswer(Document):
    """One message; the address is masked."""

    id: str
    kind: str
    local_day: date
    recipient: str
    subject: str
    state: str
    reason: str
    """Why it was not sent, or not yet; empty where nothing was said."""
    attempts: int
    written_at_utc: datetime
    sent_at_utc: datetime | None
    of_use_until_utc: datetime


class MessagesAnswer(Document):
    """One page of the messages of a ground, newest first."""

    ground_id: str
    items: tuple[MessageHeadAnswer, ...]
    next: str | None
    answered_at_utc: datetime
    weather: WeatherStatus


class ScoresAnswer(Document):
    """How forecasts compared with what people saw."""

    ground_id: str
    state: Literal["not-scored"]
    reason: str
    observations: int
    """How many there are to compare with."""
    answered_at_utc: datetime
    weather: WeatherStatus


class BookingReason(Document):
    """One thing that speaks against it, or that is not known."""

    code: str
    verdict: Verdict
    text: str
    basis: Basis
    """Hours or whole days of the forecast, or what people entered."""


class BookingSlot(Document):
    """A time that is better than the one asked about."""

    starts_at_utc: datetime
    ends_at_utc: datetime
    verdict: Verdict
    reasons: tuple[BookingReason, ...]


class BookingAnswer(Document):
    """May it be booked? In our data: walk it first."""

    ground_id: str
    surface_id: str
    starts_at_utc: datetime
    ends_at_utc: datetime
    children: bool
    verdict: Verdict
    text: str
    reasons: tuple[BookingReason, ...]
    resolution: Resolution
    """Whether the hours were judged, or only whole days."""
    better_slot: BookingSlot | None
    """The nearest of the same length; None where there is none, or none is needed."""
    better_slot_within_days: int
    assumptions: tuple[str, ...]
    outlook_issued_at_utc: datetime | None
    answered_at_utc: datetime
    weather: WeatherStatus


class RecordsAnswer(Document):
    """One page of what people entered, newest first. ``next``: hand it back for the items after these; None at the end."""

    ground_id: str
    next: str | None
    answered_at_utc: datetime
    weather: WeatherStatus


class ApplicationsAnswer(RecordsAnswer):
    """What was put down."""

    items: tuple[ApplicationRecord, ...]


class ObservationsAnswer(RecordsAnswer):
    """What was seen and measured. The model does not use it yet: it is kept to be compared with what was forecast."""

    items: tuple[ObservationRecord, ...]


class FixturesAnswer(RecordsAnswer):
    """Bookings: those of the configuration, and those entered here."""

    items: tuple[FixtureRecord, ...]


class RingsAnswer(RecordsAnswer):
    """Rings: those of the configuration as of the newest outlook, and those entered here."""

    items: tuple[RingRecord, ...]


RECORD_LISTS: dict[RecordKind, type[RecordsAnswer]] = {
    "application": ApplicationsAnswer,
    "observation": ObservationsAnswer,
    "fixture": FixturesAnswer,
    "ring": RingsAnswer,
}
