"""What changed between two sets of outlooks of one ground, one sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from forecaster.alerts.decide import EpisodeDecision
from forecaster.documents import Signal, SurfaceOutlook
from forecaster.risk.sentences import sentence, small

# An expected day that moves by less is not news. Status: assumption.
MOVED_DAYS = 2


def mailed_signals(outlook: SurfaceOutlook) -> tuple[Signal, ...]:
    """Signals that may be mailed: all but those of rules on trial."""
    return tuple(signal for signal in outlook.signals if not signal.trial)


def changes_since(
    previous: Sequence[SurfaceOutlook] | None, outlooks: Sequence[SurfaceOutlook], decision: EpisodeDecision, *, now: datetime
) -> tuple[str, ...]:
    """Say what is new, worse, better or gone since the outlooks of the last message, in the order of ``outlooks``.

    Empty without a last message. Where the coming days of a surface are not known, nothing is said to have gone. ``decision``: adds why
    an alert stays open or has ended. Of alerts that are acknowledged or put off nothing is told but that they have ended, and that the time
    they were put off for is over.
    """
    if previous is None:
        return ()
    before = {outlook.surface_id: outlook for outlook in previous}
    found: list[str] = []
    for outlook in outlooks:
        earlier = before.get(outlook.surface_id)
        found += _new_surface(outlook) if earlier is None else _changes(earlier, outlook, decision, now=now)
    return tuple(found)


def _new_surface(outlook: SurfaceOutlook) -> list[str]:
    return [f"{outlook.surface_name}: in this message for the first time."]


def _changes(earlier: SurfaceOutlook, outlook: SurfaceOutlook, decision: EpisodeDecision, *, now: datetime) -> list[str]:
    name = outlook.surface_name
    found = []
    ended = {change.episode.rule_id: change for change in decision.ended if change.episode.surface_id == outlook.surface_id}
    # An end was decided on weather, though it may be missing by now: it is told all the same, as no later message would.
    told_ends = [f"{name}, {small(change.reason)}" for change in ended.values()]
    if not outlook.known:
        return [f"{name}: no longer known, for lack of weather. What was open stays open.", *told_ends] if earlier.known else told_ends
    if not earlier.known:
        found.append(f"{name}: known again, the weather is back.")
    old = {signal.rule_id: signal for signal in mailed_signals(earlier)}
    current = {signal.rule_id: signal for signal in mailed_signals(outlook)}
    quiet = decision.quiet(now)
    back = _back_after_snooze(decision, outlook, since=earlier.issued_at_utc, now=now)
    for rule_id, signal in current.items():
        if (outlook.surface_id, rule_id) in quiet:
            continue
        what = "; ".join(part for part in (back.get(rule_id, ""), _new_or_moved(old.get(rule_id), signal)) if part)
        if what:
            found.append(sentence(f"{name}, {small(signal.title)}: {what}"))
    waiting = {change.episode.rule_id: change for change in decision.continued if change.episode.surface_id == outlook.surface_id}
    held = {change.episode.rule_id: change for change in decision.held if change.episode.surface_id == outlook.surface_id}
    for rule_id, signal in old.items():
        if rule_id in current or rule_id in ended:
            continue
        if (outlook.surface_id, rule_id) in quiet:
            continue
        if rule_id in waiting:
            found.append(f"{name}, {small(waiting[rule_id].reason)}")
        elif rule_id in held:
            found.append(f"{name}, {small(signal.title)}: {small(held[rule_id].reason)}")
        else:
            found.append(f"{name}, {small(signal.title)}: {'over' if signal.present else 'no longer expected'}.")
    return found + told_ends


def _back_after_snooze(decision: EpisodeDecision, outlook: SurfaceOutlook, *, since: datetime, now: datetime) -> dict[str, str]:
    """What is told again because the time it was put off for has run out since the last message, by rule."""
    return {
        episode.rule_id: f"was put off by {episode.snooze.by} until now, and is still there"
        for episode in decision.open_episodes
        if episode.surface_id == outlook.surface_id
        and episode.snooze is not None
        and episode.snooze.ended_at_utc is None
        and since < episode.snooze.until_utc <= now
    }


def _new_or_moved(old: Signal | None, signal: Signal) -> str:
    if old is None:
        return f"new ({signal.when})"
    said = []
    if signal.present and not old.present:
        said.append("has begun")
    elif not signal.present and not old.present and abs((signal.first_day - old.first_day).days) >= MOVED_DAYS:
        said.append(f"expected {'earlier' if signal.first_day < old.first_day else 'later'}, {signal.when}")
    if signal.severity.rank > old.severity.rank:
        said.append(f"worse, {signal.severity} instead of {old.severity}")
    elif signal.severity.rank < old.severity.rank:
        said.append(f"eased, {signal.severity} instead of {old.severity}")
    return "; ".join(said)
