"""The message that does not wait for the morning: alerts that are newly Severe or Extreme."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from forecaster.alerts.changes import mailed_signals
from forecaster.alerts.digest import SAMPLE_PREFIX
from forecaster.alerts.episode import Episode
from forecaster.documents import GroundSummary, Signal, SurfaceOutlook, WeatherStatus
from forecaster.risk.sentences import small

SUBJECT_ALERTS = 2


@dataclass(frozen=True)
class ImmediateNotice:
    """Subject and paragraphs of the message, most important first; the sample notice is not in it."""

    subject: str
    paragraphs: tuple[str, ...]


def immediate_notice(
    ground: GroundSummary, episodes: Sequence[Episode], outlooks: Sequence[SurfaceOutlook], weather: WeatherStatus
) -> ImmediateNotice:
    """Write what is newly severe: where, what, when, why, what to do, cautions. ``episodes``: at least one, worst first."""
    by_surface = {outlook.surface_id: outlook for outlook in outlooks}
    paragraphs, spoken, cautions = [], [], list[str]()
    if weather.state != "fresh":
        paragraphs.append(weather.text)
    for episode in episodes:
        outlook = by_surface[episode.surface_id]
        signal = _signal(outlook, episode)
        spoken.append(f"{small(signal.title)}{'' if signal.present else ' ' + signal.when} ({outlook.surface_name})")
        paragraphs.append(f"{outlook.surface_name}: {signal.title} ({signal.severity}, {signal.certainty.lower()}), {signal.when}.")
        paragraphs.append(signal.reason)
        paragraphs.append(f"Do: {signal.advice}")
        cautions += signal.cautions
    paragraphs += dict.fromkeys(cautions)
    paragraphs.append("A forecast by a model, not a measurement: walk the ground before you act.")
    more = f"; {len(spoken) - SUBJECT_ALERTS} more" if len(spoken) > SUBJECT_ALERTS else ""
    prefix = SAMPLE_PREFIX if ground.sample or weather.sample else ""
    subject = f"{prefix}{ground.name}: newly {episodes[0].severity}: {'; '.join(spoken[:SUBJECT_ALERTS])}{more}"
    return ImmediateNotice(subject, tuple(paragraphs))


def _signal(outlook: SurfaceOutlook, episode: Episode) -> Signal:
    return next(signal for signal in mailed_signals(outlook) if signal.rule_id == episode.rule_id)
