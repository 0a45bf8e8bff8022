"""The tables. Times are UTC with a zone, days are the ground's local days, large things are compressed blobs.

That an index holds for some rows only stands in its migration: said here, it would load the dialects of both databases, 3 MB of every
process.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Double,
    ForeignKey,
    Index,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column

from forecaster.storage.mail_models import CalendarEventRow, CapMessageRow, EnclosureRow, MailStopRow
from forecaster.storage.table import Table, UtcDateTime

__all__ = [
    "CalendarEventRow",
    "CapMessageRow",
    "EnclosureRow",
    "MailStopRow",
    "Table",
    "UtcDateTime",
]  # the tables of mail are known with all others


class GroundRow(Table):
    """A ground as pages and the API show it. ``retired_at``: it is no longer in the configuration; its history stays."""

    __tablename__ = "ground"

    id: Mapped[str] = mapped_column(primary_key=True)
    document: Mapped[dict[str, Any]]
    updated_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]


class WeatherIssueRow(Table):
    """One forecast as one source issued it, whole, in one blob."""

    __tablename__ = "weather_issue"
    __table_args__ = (UniqueConstraint("ground_id", "source", "issued_at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"))
    source: Mapped[str]
    issued_at: Mapped[datetime]
    stored_at: Mapped[datetime]
    first_hour: Mapped[datetime]
    last_hour: Mapped[datetime]
    blob: Mapped[bytes]


class WeatherReportRow(Table):
    """What is known of a ground's weather, as its last cycle found it; a compressed document."""

    __tablename__ = "weather_report"

    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"), primary_key=True)
    made_at: Mapped[datetime]
    document: Mapped[bytes]


class SoilStateRow(Table):
    """State of all columns of a ground at the end of a local day. ``fingerprint`` names the settings that it was simulated with."""

    __tablename__ = "soil_state"

    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"), primary_key=True)
    local_day: Mapped[date] = mapped_column(primary_key=True)
    fingerprint: Mapped[str] = mapped_column(primary_key=True)
    blob: Mapped[bytes]


class CycleRow(Table):
    """One run for one ground and how it went."""

    __tablename__ = "cycle"
    __table_args__ = (CheckConstraint("status IN ('ok', 'degraded', 'failed')", name="status"), Index(None, "ground_id", "finished_at"))

    id: Mapped[int] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"))
    started_at: Mapped[datetime]
    finished_at: Mapped[datetime]
    status: Mapped[str]
    error_slug: Mapped[str | None]
    error_message: Mapped[str | None] = mapped_column(Text)
    weather: Mapped[dict[str, Any] | None]


class OutlookRow(Table):
    """The newest outlook of each local day, with its rendered charts."""

    __tablename__ = "outlook"
    __table_args__ = (UniqueConstraint("ground_id", "surface_id", "local_day"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"))
    surface_id: Mapped[str]
    local_day: Mapped[date]
    issued_at: Mapped[datetime]
    document: Mapped[bytes]
    charts: Mapped[bytes]


class RunRow(Table):
    """The run behind the outlooks of a local day; ``rests_on`` names the issues and parts that it needs."""

    __tablename__ = "run"

    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"), primary_key=True)
    local_day: Mapped[date] = mapped_column(primary_key=True)
    started_at: Mapped[datetime]
    document: Mapped[bytes]
    rests_on: Mapped[dict[str, Any]]


class RunPartRow(Table):
    """What runs rest on and no issue holds: start states, own instruments; under the hash of its bytes."""

    __tablename__ = "run_part"

    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"), primary_key=True)
    digest: Mapped[str] = mapped_column(primary_key=True)
    blob: Mapped[bytes]


class ExplanationRow(Table):
    """Why each rule did or did not speak: the newest of each surface."""

    __tablename__ = "explanation"

    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"), primary_key=True)
    surface_id: Mapped[str] = mapped_column(primary_key=True)
    issued_at: Mapped[datetime]
    document: Mapped[bytes]


class EpisodeRow(Table):
    """An alert from first to last day; at most one of a rule is open on a surface."""

    __tablename__ = "episode"
    __table_args__ = (
        CheckConstraint("status IN ('expected', 'present', 'held', 'ended')", name="status"),
        Index(
            "uq_episode_open",
            "ground_id",
            "surface_id",
            "rule_id",
            unique=True,  # where status is not 'ended'
        ),
        Index(None, "ground_id", "raised_at"),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"))
    surface_id: Mapped[str]
    rule_id: Mapped[str]
    title: Mapped[str]
    status: Mapped[str]
    severity: Mapped[str]
    first_day: Mapped[date]
    last_day: Mapped[date]
    raised_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    quiet_since: Mapped[date | None]
    reason: Mapped[str] = mapped_column(Text)
    advice: Mapped[str] = mapped_column(Text)
    acknowledgement: Mapped[dict[str, Any] | None]
    snooze: Mapped[dict[str, Any] | None]


class MessageRow(Table):
    """The outbox. ``key`` makes a decision unique; ``interruptions`` counts attempts of which nobody knows how they ended."""

    __tablename__ = "message"
    __table_args__ = (
        UniqueConstraint("key"),
        CheckConstraint("status IN ('waiting', 'claimed', 'sent', 'failed', 'expired')", name="status"),
        Index(None, "status", "not_before"),
        Index(None, "ground_id", "created_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str]
    ground_id: Mapped[str | None] = mapped_column(ForeignKey("ground.id"))
    recipient: Mapped[str]
    kind: Mapped[str]
    local_day: Mapped[date]
    subject: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    html: Mapped[str] = mapped_column(Text)
    created_at: Mapped[datetime]
    not_before: Mapped[datetime]
    expires_at: Mapped[datetime]
    about: Mapped[dict[str, Any] | None]
    enclosures: Mapped[dict[str, Any] | None]
    status: Mapped[str]
    claimed_at: Mapped[datetime | None]
    claimed_by: Mapped[str | None]
    attempts: Mapped[int]
    interruptions: Mapped[int]
    next_attempt_at: Mapped[datetime | None]
    last_error: Mapped[str | None] = mapped_column(Text)
    sent_at: Mapped[datetime | None]


class ToldRow(Table):
    """The outlooks behind the first daily message of a local day."""

    __tablename__ = "told"

    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"), primary_key=True)
    local_day: Mapped[date] = mapped_column(primary_key=True)
    told_at: Mapped[datetime]
    outlooks: Mapped[bytes]


class TaskRow(Table):
    """What is due when. A lease keeps a second process from running the same task at the same time. No ground: of the whole service."""

    __tablename__ = "task"

    kind: Mapped[str] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(primary_key=True)
    due_at: Mapped[datetime]
    attempts: Mapped[int]
    lease_until: Mapped[datetime | None]
    lease_owner: Mapped[str | None]
    last_error: Mapped[str | None] = mapped_column(Text)


class RequestBudgetRow(Table):
    """What this machine has asked of a weather service in the current clock minute, hour and UTC day, in the service's own weights."""

    __tablename__ = "request_budget"
    __table_args__ = (CheckConstraint("span IN ('minute', 'hour', 'day')", name="span"),)

    service: Mapped[str] = mapped_column(primary_key=True)
    span: Mapped[str] = mapped_column(primary_key=True)
    starts_at: Mapped[datetime]
    used: Mapped[float] = mapped_column(Double)


class KeptAnswerRow(Table):
    """The last answer of a weather service to one question, which it asks to be kept."""

    __tablename__ = "kept_answer"

    name: Mapped[str] = mapped_column(primary_key=True)
    body: Mapped[bytes]
    last_modified: Mapped[str | None]
    expires: Mapped[datetime]
    deprecated: Mapped[bool]


class ServiceRow(Table):
    """How a weather service stands: its breaker, and what is wrong with it by name."""

    __tablename__ = "service"
    __table_args__ = (CheckConstraint("named IN ('shut out', 'terms', 'limit', 'deprecated')", name="named"),)

    service: Mapped[str] = mapped_column(primary_key=True)
    asked_as: Mapped[str]
    failures: Mapped[int]
    held_until: Mapped[datetime | None]
    probe_until: Mapped[datetime | None]
    named: Mapped[str | None]
    named_since: Mapped[datetime | None]
    last_error: Mapped[str | None] = mapped_column(Text)
    last_hint: Mapped[str | None] = mapped_column(Text)
    failed_at: Mapped[datetime | None]
    answered_at: Mapped[datetime | None]


class RecordRow(Table):
    """What people entered by hand: applications, observations, fixtures and rings. Deleting marks; nothing purges this table."""

    __tablename__ = "record"
    __table_args__ = (
        CheckConstraint("kind IN ('application', 'observation', 'fixture', 'ring')", name="kind"),
        UniqueConstraint("ground_id", "kind", "request_key"),
        Index(None, "ground_id", "kind", "happened_at"),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"))
    kind: Mapped[str]
    surface_id: Mapped[str]
    happened_at: Mapped[datetime]
    document: Mapped[dict[str, Any]]
    version: Mapped[int]
    entered_at: Mapped[datetime]
    entered_by: Mapped[str]
    changed_at: Mapped[datetime | None]
    changed_by: Mapped[str | None]
    deleted_at: Mapped[datetime | None]
    deleted_by: Mapped[str | None]
    request_key: Mapped[str | None]
    request_digest: Mapped[str]


class RecordVersionRow(Table):
    """What a record said before it was changed."""

    __tablename__ = "record_version"

    record_id: Mapped[str] = mapped_column(ForeignKey("record.id"), primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True)
    document: Mapped[dict[str, Any]]
    replaced_at: Mapped[datetime]
    replaced_by: Mapped[str]


class AccessKeyRow(Table):
    """A key that opens pages and API. Only a hash of it is here. ``grounds``: null opens all."""

    __tablename__ = "access_key"
    __table_args__ = (
        Index(
            "uq_access_key_name_in_use",
            "name",
            unique=True,  # where revoked_at is null
        ),
    )

    id: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str]
    secret_hash: Mapped[bytes]
    may_write: Mapped[bool]
    grounds: Mapped[list[str] | None]
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    last_used_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]


class SignInSessionRow(Table):
    """A browser that signed in with a key. The cookie holds the token, here is only its hash."""

    __tablename__ = "sign_in_session"

    token_hash: Mapped[bytes] = mapped_column(primary_key=True)
    key_id: Mapped[str] = mapped_column(ForeignKey("access_key.id"), index=True)
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime]


class SignInFailureRow(Table):
    """A sign-in that failed; kept as long as it counts."""

    __tablename__ = "sign_in_failure"

    id: Mapped[int] = mapped_column(primary_key=True)
    address: Mapped[str]
    failed_at: Mapped[datetime] = mapped_column(index=True)


class ServiceSecretRow(Table):
    """A random secret that all processes of a service share, made when it is first asked for."""

    __tablename__ = "service_secret"

    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[bytes]
    created_at: Mapped[datetime]


class ServiceDocumentRow(Table):
    """What the web process must know of the configuration, as the last process that read it wrote it: the rules, the limits of advice."""

    __tablename__ = "service_document"

    name: Mapped[str] = mapped_column(primary_key=True)
    document: Mapped[dict[str, Any]]
    updated_at: Mapped[datetime]


class ConditionRow(Table):
    """Something that is wrong with the program or its machine, until it is well again."""

    __tablename__ = "condition"

    name: Mapped[str] = mapped_column(primary_key=True)
    since: Mapped[datetime]
    text: Mapped[str] = mapped_column(Text)
