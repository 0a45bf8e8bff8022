"""An alert from its first to its last day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime

from forecaster.documents import AlertDocument, AlertMark, EpisodeStatus, Snooze
from forecaster.quantities import Severity

GOT_WORSE = "it got worse"


@dataclass(frozen=True)
class Episode:
    """One rule speaking of one surface, raised once and ended once.

    ``first_day`` is fixed when it is raised and makes the identity, even where the expected day moves later; ``last_day``, ``severity``
    and the words follow the newest outlook. ``quiet_since``: first local day of the silence being counted, None while the rule speaks.
    ``held``: open, but not judged, because weather is missing. ``acknowledgement`` and ``snooze``: what people said to it.
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
    acknowledgement: AlertMark | None = None
    snooze: Snooze | None = None

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
            acknowledgement=alert.acknowledgement,
            snooze=alert.snooze,
        )

    def quiet(self, now: datetime) -> bool:
        """Whether it is acknowledged or put off: then it is not told as new."""
        return any(mark is not None and mark.stands(now) for mark in (self.acknowledgement, self.snooze))

    def worse_than_marked(self, now: datetime) -> Episode:
        """The episode without the marks that it has outgrown: a mark stands for the severity at which it was made, and for no worse."""
        after = self
        if self.acknowledgement is not None and self._outgrown(self.acknowledgement, now):
            after = replace(after, acknowledgement=self.acknowledgement.model_copy(update={"ended_at_utc": now, "ended_by": GOT_WORSE}))
        if self.snooze is not None and self._outgrown(self.snooze, now):
            after = replace(after, snooze=self.snooze.model_copy(update={"ended_at_utc": now, "ended_by": GOT_WORSE}))
        return after

    def _outgrown(self, mark: AlertMark, now: datetime) -> bool:
        return mark.stands(now) and self.severity.rank > mark.severity.rank

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
            acknowledgement=self.acknowledgement,
            snooze=self.snooze,
        )


def episode_id(ground_id: str, surface_id: str, rule_id: str, first_day: date) -> str:
    """Identity of an episode, the same in every cycle that would raise it."""
    return f"{ground_id}/{surface_id}/{rule_id}/{first_day.isoformat()}"
