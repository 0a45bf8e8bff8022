"""The tables beside the outbox: what goes with messages, addresses that are off, the calendar, and alerts as feeds tell them."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from forecaster.storage.table import Table


class CalendarEventRow(Table):
    """A work window in the calendar. ``sequence`` counts its changes, as calendars want it."""

    __tablename__ = "calendar_event"
    __table_args__ = (Index(None, "ground_id", "starts_at"),)

    uid: Mapped[str] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"))
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    summary: Mapped[str]
    description: Mapped[str] = mapped_column(Text)
    sequence: Mapped[int]
    changed_at: Mapped[datetime]
    cancelled: Mapped[bool]


class CapMessageRow(Table):
    """One message of an alert, as it was issued; ``number`` counts within the alert's chain."""

    __tablename__ = "cap_message"
    __table_args__ = (UniqueConstraint("episode_id", "number"), Index(None, "ground_id", "sent_at"))

    identifier: Mapped[str] = mapped_column(primary_key=True)
    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"))
    episode_id: Mapped[str] = mapped_column(ForeignKey("episode.id"))
    number: Mapped[int]
    kind: Mapped[str]
    sender: Mapped[str]
    sent_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    severity: Mapped[str]
    mark: Mapped[str]
    title: Mapped[str] = mapped_column(Text)
    body: Mapped[bytes]


class EnclosureRow(Table):
    """A picture or file that goes with messages, by the SHA-256 of its body."""

    __tablename__ = "enclosure"

    digest: Mapped[str] = mapped_column(primary_key=True)
    body: Mapped[bytes]
    last_used_at: Mapped[datetime]


class MailStopRow(Table):
    """An address that gets no mail of a ground any more. ``recipient``: in lower case. ``detail``: the mail server's words."""

    __tablename__ = "mail_stop"
    __table_args__ = (CheckConstraint("reason IN ('unsubscribed', 'refused')", name="reason"),)

    ground_id: Mapped[str] = mapped_column(ForeignKey("ground.id"), primary_key=True)
    recipient: Mapped[str] = mapped_column(primary_key=True)
    reason: Mapped[str]
    detail: Mapped[str] = mapped_column(Text)
    stopped_at: Mapped[datetime]
