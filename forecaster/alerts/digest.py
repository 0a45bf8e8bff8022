"""The daily message of one ground: worst first, what changed, what to do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from forecaster.alerts.changes import changes_since, mailed_signals
from forecaster.alerts.decide import EpisodeDecision
from forecaster.documents import (
    DigestDocument,
    DigestEntry,
    FixtureSummary,
    GroundSummary,
    Signal,
    SurfaceOutlook,
    SurfaceSummary,
    WeatherStatus,
)
from forecaster.quantities import Origin, Severity, trouble
from forecaster.risk.sentences import counted, day_words, listed, small

SUBJECT_SIGNALS = 2
SAMPLE_PREFIX = "[Sample] "


@dataclass(frozen=True)
class DigestInputs:
    """What one message is made of.

    ``outlooks``: the newest of each surface; ``previous``: those behind the last message, None before the first one. ``decision``: of this
    cycle. ``public_url``: where the pages are, None where nobody can open them. ``now``: tz-aware.
    """

    ground: GroundSummary
    outlooks: tuple[SurfaceOutlook, ...]
    previous: tuple[SurfaceOutlook, ...] | None
    decision: EpisodeDecision
    weather: WeatherStatus
    public_url: str | None
    now: datetime


def build_digest(inputs: DigestInputs) -> DigestDocument:
    """Arrange one ground's outlooks as a message.

    Every surface of the ground is in it, also one that has no outlook: then it is not known. Rules on trial are left out.
    Missing or old weather is said in subject and opening.
    """
    ground, weather = inputs.ground, inputs.weather
    zone = ZoneInfo(ground.time_zone)
    local_day = inputs.now.astimezone(zone).date()
    newest = {outlook.surface_id: outlook for outlook in inputs.outlooks}
    entries = sorted(
        (_entry(inputs, surface, newest.get(surface.id), zone=zone, local_day=local_day) for surface in ground.surfaces),
        key=lambda entry: -trouble(entry.severity, entry.known),
    )
    outlooks = [newest[entry.surface_id] for entry in entries if entry.surface_id in newest]
    found = [(outlook, signal) for outlook in outlooks for signal in mailed_signals(outlook)]
    found.sort(key=lambda pair: _urgency(pair[1]))
    unknown = [entry.surface_name for entry in entries if not entry.known]
    return DigestDocument(
        ground_id=ground.id,
        ground_name=ground.name,
        local_day=local_day,
        subject=_subject(ground, weather, found, unknown),
        opening=_opening(outlooks, entries, weather),
        entries=tuple(entries),
        changes=changes_since(inputs.previous, outlooks, inputs.decision, now=inputs.now),
        to_do=_to_do(found, unknown),
        cautions=tuple(dict.fromkeys(caution for _, signal in found for caution in signal.cautions)),
        weather=weather,
        notes=_notes(outlooks, weather),
    )


def _urgency(signal: Signal) -> tuple[int, bool, date]:
    return (-signal.severity.rank, not signal.present, signal.first_day)


def _entry(
    inputs: DigestInputs, surface: SurfaceSummary, outlook: SurfaceOutlook | None, *, zone: ZoneInfo, local_day: date
) -> DigestEntry:
    return DigestEntry(
        surface_id=surface.id,
        surface_name=surface.name if outlook is None else outlook.surface_name,
        severity=None if outlook is None else outlook.severity,
        headline="Not known: there is no outlook of this surface yet." if outlook is None else outlook.headline,
        known=outlook is not None and outlook.known,
        signals=() if outlook is None else mailed_signals(outlook),
        next_fixture=next_fixture(inputs.ground.fixtures, surface.id, now=inputs.now, zone=zone, today=local_day),
        link=_link(inputs, surface.id),
    )


def _link(inputs: DigestInputs, surface_id: str) -> str | None:
    if inputs.public_url is None:
        return None
    return f"{inputs.public_url.rstrip('/')}/grounds/{inputs.ground.id}/surfaces/{surface_id}"


def next_fixture(fixtures: Iterable[FixtureSummary], surface_id: str, *, now: datetime, zone: ZoneInfo, today: date) -> str | None:
    """Write the booking that is on or comes next, in local words: "Saturday 3 October, 15:00 to 16:45: Firsts"; None without one."""
    coming = [fixture for fixture in fixtures if fixture.surface_id == surface_id and fixture.ends_at_utc > now]
    if not coming:
        return None
    fixture = min(coming, key=lambda fixture: fixture.starts_at_utc)
    start, end = fixture.starts_at_utc.astimezone(zone), fixture.ends_at_utc.astimezone(zone)
    until = f"{end:%H:%M}" if end.date() == start.date() else f"{day_words(end.date(), today=today, weekday=True)}, {end:%H:%M}"
    if fixture.starts_at_utc <= now:
        return f"now, until {until}: {fixture.title}"
    day = "today" if start.date() == today else day_words(start.date(), today=today, weekday=True)
    return f"{day}, {start:%H:%M} to {until}: {fixture.title}"


def _subject(ground: GroundSummary, weather: WeatherStatus, found: Sequence[tuple[SurfaceOutlook, Signal]], unknown: Sequence[str]) -> str:
    """Worst first, the same thing once, with the surfaces where it is worst.

    Like "Brackenholt: rings showing (Main pitch, Lower pitch); dry patch (Outfield); 2 more".
    """
    parts = []
    if weather.state == "missing" or len(unknown) == len(ground.surfaces):
        parts.append("not known for lack of weather" if weather.state == "missing" else "not known")
    elif unknown:
        parts.append(f"not known for {listed(unknown)}")
    where: dict[str, tuple[Severity, list[str]]] = {}
    for outlook, signal in found:
        what = f"{small(signal.title)}{'' if signal.present else ' ' + signal.when}"
        severity, names = where.setdefault(what if outlook.known else f"last known {what}", (signal.severity, []))
        if signal.severity == severity:
            names.append(outlook.surface_name)
    spoken = [f"{what} ({', '.join(names)})" for what, (_, names) in list(where.items())[:SUBJECT_SIGNALS]]
    if len(where) > SUBJECT_SIGNALS:
        spoken.append(f"{len(where) - SUBJECT_SIGNALS} more")
    if not spoken and not parts:
        spoken = ["nothing speaks against the surfaces, walk them first"]
    # What is missing comes first where nothing else can be said with certainty, and last otherwise.
    parts = [*parts, *spoken] if weather.state == "missing" else [*spoken, *parts]
    prefix = SAMPLE_PREFIX if ground.sample or weather.sample else ""
    old = " (old weather)" if weather.state == "stale" else ""
    return f"{prefix}{ground.name}: {'; '.join(parts)}{old}"


def _opening(outlooks: Sequence[SurfaceOutlook], entries: Sequence[DigestEntry], weather: WeatherStatus) -> str:
    said = []
    if weather.state == "missing":
        said.append(f"There is no weather to judge the coming days by, and that does not mean that all is well. {weather.text}")
    elif weather.state == "stale":
        said.append(f"This message rests on old weather. {weather.text}")
    known = [outlook for outlook in outlooks if outlook.known]
    speaking = [entry for entry in entries if entry.known and entry.severity is not None]
    all_surfaces = counted(len(entries), "surface")
    if speaking:
        worst = speaking[0]
        verb = "needs" if len(speaking) == 1 else "need"
        said.append(f"{len(speaking)} of {all_surfaces} {verb} a look. Worst is {worst.surface_name}: {worst.headline}")
    elif known:
        gaps = any(day.origin is Origin.MISSING and day.lead_days >= 0 for outlook in known for day in outlook.days)
        days = "on the coming days that we have weather for" if gaps else "in the coming 14 days"
        every = known[0].surface_name if len(entries) == 1 else f"any of the {all_surfaces}"
        which = every if len(known) == len(entries) else f"the {len(known)} of {all_surfaces} that we know of"
        said.append(f"Nothing in our data speaks against {which} {days}: walk {'it' if len(known) == 1 else 'them'} first.")
    unknown = [entry.surface_name for entry in entries if not entry.known]
    if unknown and weather.state != "missing":
        said.append(f"Not known: {listed(unknown)}.")
    held = [f"{entry.surface_name} {entry.severity}" for entry in entries if not entry.known and entry.severity is not None]
    if held:
        said.append(f"Last known: {listed(held)}.")
    return " ".join(said)


def _to_do(found: Sequence[tuple[SurfaceOutlook, Signal]], unknown: Sequence[str]) -> tuple[str, ...]:
    """Each advice once, with the surfaces it is for and when, the most urgent first."""
    steps: dict[str, dict[str, list[str]]] = {}
    for outlook, signal in found:
        when = "" if signal.present else f" ({signal.when})"
        steps.setdefault(signal.advice, {}).setdefault(when, []).append(outlook.surface_name)
    look = [f"{listed(unknown)}: go and look, because without weather this message cannot tell."] if unknown else []
    return (*look, *(f"{'; '.join(listed(names) + when for when, names in at.items())}: {advice}" for advice, at in steps.items()))


def _notes(outlooks: Sequence[SurfaceOutlook], weather: WeatherStatus) -> tuple[str, ...]:
    """Notes of the surfaces, each once; with their names where not all have it. The one on the weather stands in the opening already."""
    surfaces: dict[str, list[str]] = {}
    for outlook in outlooks:
        for note in outlook.notes:
            surfaces.setdefault(note, []).append(outlook.surface_name)
    surfaces.pop(weather.text, None)
    return tuple(note if len(names) == len(outlooks) else f"{listed(names)}: {note}" for note, names in surfaces.items())
