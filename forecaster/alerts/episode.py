"""An alert from its first to its last day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from forecaster.documents import AlertDocument, EpisodeStatus
from forecaster.quantities import Severity


@dataclass(frozen=True)
class Episode:
    """One rule speaking of one surface, raised once and ended once.

    ``first_day`` is fixed when it is raised and makes the identity, even where the expected day moves later; ``last_day``, ``severity``
    and the words follow the newest outlook. ``quiet_since``: first local day of the silence being counted, None while the rule speaks.
    ``held``: open, but not judged, because weather is missing.
    """

    id: str
    ground_id: str
    surface_id: str
    rule_id: str
    title: str
    status: EpisodeStatus
    severity: Severity
    first_day: date
    last_day: date
    raised_at: datetime
    ended_at: datetime | None
    quiet_since: date | None
    reason: str
    advice: str

    @property
    def key(self) -> tuple[str, str, str]:
        """Ground, surface and rule: at most one episode of these is open at a time."""
        return (self.ground_id, self.surface_id, self.rule_id)

    @classmethod
    def of(cls, alert: AlertDocument, quiet_since: date | None) -> Episode:
        """The episode that a stored document, and the silence counted beside it, stand for."""
        return cls(
            id=alert.id,
            ground_id=alert.ground_id,
            surface_id=alert.surface_id,
            rule_id=alert.rule_id,
            title=alert.title,
            status=alert.status,
            severity=alert.severity,
            first_day=alert.first_day,
            last_day=alert.last_day,
            raised_at=alert.raised_at_utc,
            ended_at=alert.ended_at_utc,
            quiet_since=quiet_since,
            reason=alert.reason,
            advice=alert.advice,
        )

    def document(self) -> AlertDocument:
        """The episode as it is stored for pages and API."""
        return AlertDocument(
            id=self.id,
            ground_id=self.ground_id,
            surface_id=self.surface_id,
            rule_id=self.rule_id,
            title=self.title,
            status=self.status,
            severity=self.severity,
            first_day=self.first_day,
            last_day=self.last_day,
            raised_at_utc=self.raised_at,
            ended_at_utc=self.ended_at,
            reason=self.reason,
            advice=self.advice,
        )


def episode_id(ground_id: str, surface_id: str, rule_id: str, first_day: date) -> str:
    """Identity of an episode, the same in every cycle that would raise it."""
    return f"{ground_id}/{surface_id}/{rule_id}/{first_day.isoformat()}"
