"""Who gets which mail of a ground and when: pure decisions with their reason. Times of day are the ground's wall-clock times."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from forecaster.alerts.decide import EpisodeDecision
from forecaster.alerts.episode import Episode
from forecaster.documents import SurfaceOutlook, WeatherStatus
from forecaster.ground.ground import Recipient
from forecaster.quantities import Severity

SIGN_OF_LIFE_DAYS = 7
"""Who gets mail only on some days hears after so many days without any that the program lives. Status: own choice."""
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class MailBefore:
    """What one recipient has had. ``last_day``: local day of the newest message that was sent or is on its way, None without one.

    ``lost``: the newest daily message did not go out, so what it told is not known to this reader.
    """

    last_day: date | None = None
    lost: bool = False


@dataclass(frozen=True)
class DailyMail:
    """Whether today's message goes to a recipient, as which kind, and why."""

    kind: Literal["digest", "sign of life"] | None
    reason: str


def daily_mail(recipient: Recipient, *, changed: bool, before: MailBefore, today: date) -> DailyMail:
    """Decide on today's message for one recipient.

    "daily" gets it every day. "on change" gets it when something changed, when the last one did not go out, and as the first one.
    "severe only" gets none, only messages on what is newly severe. After seven days without mail both get it as a sign of life.
    """
    if recipient.mail == "daily":
        return DailyMail("digest", "wants it every day")
    if recipient.mail == "on change":
        if before.last_day is None:
            return DailyMail("digest", "the first one")
        if before.lost:
            return DailyMail("digest", "the last one did not go out")
        if changed:
            return DailyMail("digest", "something changed")
    if before.last_day is None or (today - before.last_day).days >= SIGN_OF_LIFE_DAYS:
        return DailyMail("sign of life", f"no mail for {SIGN_OF_LIFE_DAYS} days")
    return DailyMail(None, "nothing changed" if recipient.mail == "on change" else "wants only what is newly severe")


def has_changed(previous: Iterable[SurfaceOutlook] | None, weather: WeatherStatus, changes: tuple[str, ...]) -> bool:
    """Whether there is news since the last message: a change told, the first message, or weather that has aged or come back."""
    if previous is None or changes:
        return True
    return any(outlook.weather.state != weather.state for outlook in previous)


def newly_severe(before: Mapping[str, Severity], decision: EpisodeDecision) -> tuple[Episode, ...]:
    """Episodes that are Severe or Extreme now and were not before, worst first. ``before``: severity of the open episodes by id.

    What is held for lack of weather is not new.
    """
    grown = [change.episode for change in decision.continued if not is_severe(before[change.episode.id])]
    new = [change.episode for change in decision.opened]
    return tuple(sorted((one for one in (*new, *grown) if is_severe(one.severity)), key=lambda one: (-one.severity.rank, one.id)))


def is_severe(severity: Severity) -> bool:
    """Severe or Extreme, in the words of CAP 1.2."""
    return severity in (Severity.SEVERE, Severity.EXTREME)


def quiet_end(recipient: Recipient, moment: datetime, zone: ZoneInfo) -> datetime:
    """The first moment from ``moment`` on that lies outside of the recipient's quiet hours, UTC.

    Read off the wall clock: an hour that comes twice is quiet twice, and quiet hours whose end is skipped end with the change.
    """
    if recipient.quiet_until is None or not recipient.quiet_at(moment.astimezone(zone).time()):
        return moment
    local = moment.astimezone(zone)
    over_midnight = local.time() >= recipient.quiet_until
    day = local.date() + timedelta(days=over_midnight)
    first, second = (datetime.combine(day, recipient.quiet_until, tzinfo=zone).replace(fold=fold).astimezone(UTC) for fold in (0, 1))
    end = max(moment.astimezone(UTC).replace(second=0, microsecond=0), min(first, second))
    while recipient.quiet_at(end.astimezone(zone).time()):
        end += MINUTE
    return end
