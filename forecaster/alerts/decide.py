"""Which alerts to raise, carry on, hold and end: one pure function that gives its reasons."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from forecaster.alerts.episode import Episode, episode_id
from forecaster.documents import EpisodeStatus, Signal, SurfaceOutlook
from forecaster.quantities import Origin
from forecaster.risk.rule import Rule
from forecaster.risk.sentences import counted, day_words


@dataclass(frozen=True)
class EpisodeChange:
    """One episode after the decision, why, and whether it differs from before."""

    episode: Episode
    reason: str
    changed: bool


@dataclass(frozen=True)
class EpisodeDecision:
    """What becomes of every episode; each is in exactly one of the four."""

    opened: tuple[EpisodeChange, ...] = ()
    continued: tuple[EpisodeChange, ...] = ()
    held: tuple[EpisodeChange, ...] = ()
    ended: tuple[EpisodeChange, ...] = ()

    @property
    def open_episodes(self) -> tuple[Episode, ...]:
        """All that are open afterwards: the input of the next decision."""
        return tuple(change.episode for change in (*self.continued, *self.held, *self.opened))

    def quiet(self, now: datetime) -> frozenset[tuple[str, str]]:
        """Surface and rule of the open episodes that people have acknowledged or put off: nothing is told of them as new."""
        return frozenset((episode.surface_id, episode.rule_id) for episode in self.open_episodes if episode.quiet(now))


def ended_before(episodes: Iterable[Episode], *, time_zone: ZoneInfo) -> tuple[EpisodeChange, ...]:
    """Episodes that an earlier decision ended and no message has told of yet, with the reason in the words of today."""
    return tuple(EpisodeChange(episode, _end_in_words(episode, time_zone), changed=False) for episode in episodes)


def _end_in_words(episode: Episode, time_zone: ZoneInfo) -> str:
    if episode.quiet_since is None or episode.ended_at is None:
        return f"{episode.title}: its rule or its surface was taken out of the configuration."
    return _quiet_end(episode.title, (episode.ended_at.astimezone(time_zone).date() - episode.quiet_since).days)


def _quiet_end(title: str, quiet_days: int) -> str:
    return f"{title}: quiet for {counted(quiet_days, 'day')}, so this alert has ended."


Fate = Literal["continued", "held", "ended"]


def decide_episodes(
    open_episodes: Sequence[Episode],
    outlooks: Sequence[SurfaceOutlook],
    *,
    rules: Iterable[Rule],
    today: date,
    now: datetime,
    used_ids: Collection[str] = (),
    surface_ids: Collection[str] | None = None,
) -> EpisodeDecision:
    """Decide what becomes of the open episodes and which new ones are raised, from the newest outlook of each surface.

    An episode is raised when a rule that is not on trial speaks today, or is expected to within its ``lead_days``. It ends after the rule
    has been silent for ``days_out`` local days, and never for lack of weather: then it is held, and the count of silent days starts anew.
    The same call on its own result changes nothing. A mark that somebody made (acknowledged, put off) ends when the severity rises above
    what it was made for; it changes nothing else here. ``used_ids``: identities of ended episodes, so that a rule that speaks again of the
    same first day gets an identity of its own. Raises ValueError when two open episodes share surface and rule. Status: definition.
    """
    by_rule = {rule.id: rule for rule in rules}
    by_surface = {(outlook.ground_id, outlook.surface_id): outlook for outlook in outlooks}
    taken = {episode.key for episode in open_episodes}
    if len(taken) != len(open_episodes):
        raise ValueError("two open episodes of one surface and rule")
    sorted_out: dict[Fate, list[EpisodeChange]] = {"continued": [], "held": [], "ended": []}
    for episode in open_episodes:
        if surface_ids is not None and episode.surface_id not in surface_ids:
            gone = replace(episode, status="ended", ended_at=now)
            sorted_out["ended"].append(
                EpisodeChange(gone, f"{episode.title}: its surface was taken out of the configuration.", changed=True)
            )
            continue
        outlook = by_surface.get((episode.ground_id, episode.surface_id))
        fate, after, reason = _carry_on(episode, outlook, by_rule.get(episode.rule_id), today=today, now=now)
        sorted_out[fate].append(EpisodeChange(after, reason, changed=after != episode))
    opened = []
    for outlook in outlooks:
        for signal in outlook.signals if outlook.known else ():
            if (outlook.ground_id, outlook.surface_id, signal.rule_id) in taken or signal.trial:
                continue
            lead = (signal.first_day - today).days
            if signal.present or lead <= by_rule[signal.rule_id].lead_days:
                opened.append(_raise(outlook, signal, today=today, now=now, used_ids=used_ids))
    return EpisodeDecision(opened=tuple(opened), **{fate: tuple(changes) for fate, changes in sorted_out.items()})


def _raise(outlook: SurfaceOutlook, signal: Signal, *, today: date, now: datetime, used_ids: Collection[str]) -> EpisodeChange:
    identity = episode_id(outlook.ground_id, outlook.surface_id, signal.rule_id, signal.first_day)
    if identity in used_ids:
        identity = f"{identity}/{today.isoformat()}"
    episode = Episode(
        id=identity,
        ground_id=outlook.ground_id,
        surface_id=outlook.surface_id,
        rule_id=signal.rule_id,
        title=signal.title,
        status=_status(signal),
        severity=signal.severity,
        first_day=signal.first_day,
        last_day=signal.last_day,
        raised_at=now,
        ended_at=None,
        quiet_since=None,
        reason=signal.reason,
        advice=signal.advice,
    )
    return EpisodeChange(episode, f"{signal.title}: {signal.when}.", changed=True)


def _status(signal: Signal) -> EpisodeStatus:
    return "present" if signal.present else "expected"


def _carry_on(
    episode: Episode, outlook: SurfaceOutlook | None, rule: Rule | None, *, today: date, now: datetime
) -> tuple[Fate, Episode, str]:
    held = replace(episode, status="held", quiet_since=None)
    if outlook is None:
        return "held", held, "There is no outlook of this surface in this cycle; the alert stays open."
    if not outlook.known:
        return "held", held, f"{outlook.weather.text} Without weather the alert stays open as it was."
    signal = next((signal for signal in outlook.signals if signal.rule_id == episode.rule_id and not signal.trial), None)
    if signal is not None:
        after = replace(
            episode,
            title=signal.title,
            status=_status(signal),
            severity=signal.severity,
            last_day=signal.last_day,
            quiet_since=None,
            reason=signal.reason,
            advice=signal.advice,
        ).worse_than_marked(now)
        return "continued", after, f"{signal.title}: {signal.when}."
    if rule is None:
        ended = replace(episode, status="ended", ended_at=now)
        return "ended", replace(ended, quiet_since=None), f"{episode.title}: its rule was taken out of the configuration."
    missing = _days_without_weather(episode, outlook, today=today)
    if missing:
        return "held", held, f"There is no weather for {counted(missing, 'day')} that this alert is about; it stays open."
    quiet_since = episode.quiet_since or today
    quiet_days = (today - quiet_since).days
    if quiet_days >= rule.days_out:
        ended = replace(episode, status="ended", ended_at=now, quiet_since=quiet_since)
        return "ended", ended, _quiet_end(episode.title, quiet_days)
    status = episode.status
    if status == "held":
        status = "present" if episode.first_day <= today else "expected"
    waits = counted(rule.days_out - quiet_days, "more day")
    reason = f"{episode.title}: quiet since {day_words(quiet_since, today=today)}; the alert ends after {waits} of quiet."
    return "continued", replace(episode, status=status, quiet_since=quiet_since), reason


def _days_without_weather(episode: Episode, outlook: SurfaceOutlook, *, today: date) -> int:
    """Count the days without weather whose silence would prove nothing: today, and for what is yet to come the days up to its last one.

    Days past the end of the outlook are not asked for.
    """
    until = today if episode.status == "present" else max(today, episode.last_day)
    return sum(day.origin is Origin.MISSING for day in outlook.days if today <= day.day <= until)
