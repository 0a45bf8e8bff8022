"""What the web process reads: stored documents, nothing else."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, Protocol

from forecaster.advice.limits import BookingLimits
from forecaster.documents import AlertDocument, Explanation, GroundSummary, SurfaceOutlook
from forecaster.rule_documents import RulesDocument
from forecaster.storage.message_heads import MessageHead
from forecaster.weather_report import WeatherReport


@dataclass(frozen=True)
class CycleView:
    """When a ground was last computed, well or badly."""

    good_at_utc: datetime | None
    """End of the last cycle that left an outlook."""
    tried_at_utc: datetime | None
    """End of the last cycle, whatever came of it."""
    problem: str | None
    """What went wrong in the last one, in words for a person; None when nothing did."""


@dataclass(frozen=True)
class MailProblem:
    """A message that has not arrived. No full address in it: ``recipient`` and ``reason`` are masked."""

    local_day: date
    end: Literal["failed", "expired", "withdrawn", "waiting"]
    """``withdrawn``: its ground or recipient left the configuration. ``waiting``: an attempt did not succeed, and there will be others."""
    recipient: str
    reason: str
    """What the mail server or the program said last; empty where nothing was said."""


@dataclass(frozen=True)
class MailOff:
    """An address that gets no mail of a ground any more. ``recipient`` and ``detail`` are masked."""

    recipient: str
    reason: Literal["unsubscribed", "refused"]
    detail: str
    """The mail server's words; empty where the owner took the address off."""
    since: date


@dataclass(frozen=True)
class MailView:
    """How many messages of a ground stand where, and those that have not arrived, newest first."""

    waiting: int
    sent: int
    failed: int
    expired: int
    problems: tuple[MailProblem, ...]
    off: tuple[MailOff, ...] = ()


class Store(Protocol):
    """The reads behind pages and API. Each returns what is stored now; none computes, writes or waits for a cycle.

    Raises StorageError when the database cannot be read.
    """

    def grounds(self) -> Sequence[GroundSummary]:
        """All grounds."""
        ...

    def ground(self, ground_id: str) -> GroundSummary | None:
        """One ground, or None."""
        ...

    def latest_outlooks(self, ground_id: str) -> Sequence[SurfaceOutlook]:
        """The newest outlook of each surface that the ground has now, where there is one."""
        ...

    def outlook(self, ground_id: str, surface_id: str) -> SurfaceOutlook | None:
        """The newest outlook of one surface, or None."""
        ...

    def explanation(self, ground_id: str, surface_id: str) -> Explanation | None:
        """Why each rule did or did not speak of one surface, in the newest outlook; None before the first cycle."""
        ...

    def outlook_mark(self, ground_id: str, surface_id: str) -> Hashable | None:
        """Changes whenever ``outlook`` or the ground does; cheap to read. None where there is no outlook."""
        ...

    def alerts_mark(self, ground_id: str) -> Hashable | None:
        """Changes whenever open alerts, the ground or its outlooks do; cheap to read. None where there is no such ground."""
        ...

    def weather_report(self, ground_id: str) -> WeatherReport | None:
        """What is known of a ground's weather, as its last cycle found it; None before the first."""
        ...

    def charts(self, ground_id: str, surface_id: str) -> Mapping[str, str]:
        """SVG text by chart name (water_phone, water_wide, ring_phone, ring_wide); empty before the first cycle."""
        ...

    def alerts(self, ground_id: str, *, include_ended: bool, limit: int) -> Sequence[AlertDocument]:
        """Alerts of a ground, newest first."""
        ...

    def messages(self, ground_id: str, *, status: str | None, after: tuple[datetime, str] | None, limit: int) -> Sequence[MessageHead]:
        """Messages of a ground, newest first, after a place in the list."""
        ...

    def rules(self) -> tuple[RulesDocument, datetime] | None:
        """The rules as configured, and when they were stored; None before the first start of the service."""
        ...

    def booking_limits(self) -> BookingLimits | None:
        """The limits of the booking check, as configured; None before the first start of the service."""
        ...

    def alert(self, ground_id: str, alert_id: str) -> AlertDocument:
        """One alert, open or ended, however old. Raises: NotFound."""
        ...

    def last_cycle(self, ground_id: str) -> CycleView | None:
        """The last cycle of a ground, or None when none ran."""
        ...

    def mail(self, ground_id: str, *, since: date) -> MailView:
        """The messages of a ground from a local day on."""
        ...
