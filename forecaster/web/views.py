"""What the pages show, made from stored documents: marks, strips of 14 days, next fixtures and tables."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby

from forecaster.documents import AlertDocument, FixtureSummary, GroundSummary, OutlookDay, Signal, SurfaceOutlook
from forecaster.quantities import Origin, Severity
from forecaster.web.answers import SurfaceStanding
from forecaster.web.wording import date_words, day_words, fixture_words, number_words, short_day_words

STRIP_DAYS = 14


@dataclass(frozen=True)
class Mark:
    """How a severity is shown: a word, a shape and a colour together, never one alone. ``kind`` names shape and colour."""

    kind: str
    word: str


QUIET = Mark("quiet", "Nothing against it")
UNKNOWN = Mark("unknown", "Not known")


def mark_of(severity: Severity | None, known: bool) -> Mark:
    """The mark of a surface: what speaks, otherwise "not known" before "nothing against it"."""
    if not known:
        return UNKNOWN
    return QUIET if severity is None else Mark(severity.value.lower(), severity.value)


@dataclass(frozen=True)
class StripDay:
    """One cell of the strip."""

    day: date
    mark: Mark
    titles: tuple[str, ...]
    weekend: bool


@dataclass(frozen=True)
class Strip:
    """The coming days at a glance, and the same in words."""

    days: tuple[StripDay, ...]
    words: str


def strip_of(outlook: SurfaceOutlook) -> Strip:
    """The coming 14 days of a surface. A day without weather is "not known"; a rule on trial leaves no mark."""
    trial = {signal.rule_id for signal in outlook.signals if signal.trial}
    cells = []
    for day in [d for d in outlook.days if d.lead_days >= 0][:STRIP_DAYS]:
        risks = [risk for risk in day.risks if risk.rule_id not in trial]
        worst = max((risk.severity for risk in risks), key=lambda s: s.rank, default=None)
        known = day.origin is not Origin.MISSING and day.sound is not None
        titles = tuple(dict.fromkeys(risk.title for risk in sorted(risks, key=lambda r: -r.severity.rank)))
        cells.append(StripDay(day.day, mark_of(worst, known), titles, day.day.weekday() >= 5))
    return Strip(tuple(cells), _strip_words(cells))


def _strip_words(cells: Sequence[StripDay]) -> str:
    parts = []
    for (mark, titles), group in groupby(cells, key=lambda cell: (cell.mark, cell.titles)):
        run = list(group)
        first, last = short_day_words(run[0].day), short_day_words(run[-1].day)
        span = first if len(run) == 1 else f"{first} to {last}"
        parts.append(f"{span}: {mark.word}{f' ({chr(44).join(titles)})' if titles else ''}".replace(",", ", "))
    return "; ".join(parts)


def next_fixture(ground: GroundSummary, surface_id: str, now: datetime) -> str | None:
    """The fixture that is on, or the next one, in words; None where none is listed."""
    coming = [f for f in ground.fixtures if f.surface_id == surface_id and f.ends_at_utc > now]
    first: FixtureSummary | None = min(coming, key=lambda f: f.starts_at_utc, default=None)
    return None if first is None else fixture_words(first.title, first.starts_at_utc, first.ends_at_utc, ground.time_zone, now=now)


def opening(text: str, *, letters: int = 80) -> str:
    """The first whole sentences of a text that make up at least so many letters; a point inside a number ends no sentence."""
    found = ""
    for sentence in re.split(r"(?<=[.!?])\s+(?=[A-Z])", text):
        found = f"{found} {sentence}".strip()
        if len(found) >= letters:
            break
    return found


@dataclass(frozen=True)
class Card:
    """One surface on the page of its ground."""

    standing: SurfaceStanding
    mark: Mark
    lead: Signal | None
    """The signal that the card tells: the worst one that is not on trial."""
    others: tuple[Signal, ...]
    strip: Strip | None
    fixture: str | None


def cards_of(
    ground: GroundSummary, standings: Sequence[SurfaceStanding], outlooks: Mapping[str, SurfaceOutlook], now: datetime
) -> list[Card]:
    """The cards of a ground, in the order of the standings."""
    cards = []
    for standing in standings:
        outlook = outlooks.get(standing.surface.id)
        told = [] if outlook is None else [signal for signal in outlook.signals if not signal.trial]
        cards.append(
            Card(
                standing=standing,
                mark=mark_of(standing.severity, standing.known),
                lead=told[0] if told else None,
                others=tuple(told[1:]),
                strip=None if outlook is None or not any(d.lead_days >= 0 for d in outlook.days) else strip_of(outlook),
                fixture=next_fixture(ground, standing.surface.id, now),
            )
        )
    return cards


@dataclass(frozen=True)
class Glance:
    """The names of all surfaces that carry one mark."""

    mark: Mark
    names: tuple[str, ...]


def glance_of(standings: Sequence[SurfaceStanding]) -> list[Glance]:
    """All surfaces of a ground in a few words, in the order of the standings."""
    marked = [(mark_of(standing.severity, standing.known), standing.surface.name) for standing in standings]
    return [Glance(mark, tuple(name for _, name in group)) for mark, group in groupby(marked, key=lambda pair: pair[0])]


@dataclass(frozen=True)
class OpenAlert:
    """One open alert in words."""

    mark: Mark
    surface: str
    words: str


def open_alerts(
    ground: GroundSummary, alerts: Sequence[AlertDocument], outlooks: Mapping[str, SurfaceOutlook], now: datetime
) -> list[OpenAlert]:
    """Open alerts, worst first, then in the ground's own order; with the words of the signal behind them where it still speaks."""
    order = {surface.id: number for number, surface in enumerate(ground.surfaces)}
    names = {surface.id: surface.name for surface in ground.surfaces}
    ranked = sorted(alerts, key=lambda a: (-a.severity.rank, order.get(a.surface_id, len(order)), a.first_day))
    return [
        OpenAlert(mark_of(a.severity, True), names.get(a.surface_id, a.surface_id), f"{a.title}, {_alert_when(a, outlooks)}{_said(a, now)}")
        for a in ranked
    ]


def _said(alert: AlertDocument, now: datetime) -> str:
    """What people said to an alert, while it stands."""
    said = ""
    if alert.acknowledgement is not None and alert.acknowledgement.stands(now):
        said += f"; {alert.acknowledgement.by} sees to it"
    if alert.snooze is not None and alert.snooze.stands(now):
        said += f"; put off by {alert.snooze.by}"
    return said


def _alert_when(alert: AlertDocument, outlooks: Mapping[str, SurfaceOutlook]) -> str:
    outlook = outlooks.get(alert.surface_id)
    signal = None if outlook is None else next((s for s in outlook.signals if s.rule_id == alert.rule_id), None)
    if alert.status == "held":
        return f"since {date_words(alert.first_day)}, kept open because weather is missing"
    if signal is not None:
        return signal.when
    return f"expected from {day_words(alert.first_day)}" if alert.status == "expected" else f"since {date_words(alert.first_day)}"


@dataclass(frozen=True)
class Table:
    """A table of numbers, already in words: the first cell of a row is its day."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def coming_table(outlook: SurfaceOutlook) -> Table:
    """The coming days in numbers."""
    strip = {cell.day: cell for cell in strip_of(outlook).days}
    rows = tuple(
        (
            short_day_words(d.day),
            strip[d.day].mark.word,
            number_words(d.rain_mm, decimals=1),
            number_words(d.et0_mm, decimals=1),
            f"{number_words(d.air_temperature_min_c)} / {number_words(d.air_temperature_max_c)}",
            number_words(d.soil_temperature_c, decimals=1),
            number_words(None if d.sound is None else d.sound.available_water_fraction, scale=100),
            number_words(None if d.band is None else d.band.available_water_fraction, scale=100),
            ", ".join(strip[d.day].titles) or ("none" if strip[d.day].mark == QUIET else "–"),
        )
        for d in outlook.days
        if d.day in strip
    )
    columns = (
        *("Day", "Severity", "Rain mm", "Air asks for (ET0) mm", "Air °C low / high", "Soil °C"),
        *("Water left, sound %", "Water left, band %", "Warnings"),
    )
    return Table("The coming 14 days", columns, rows)


def water_table(outlook: SurfaceOutlook) -> Table:
    """The numbers behind the water chart."""

    def row(d: OutlookDay) -> tuple[str, ...]:
        return (
            short_day_words(d.day),
            number_words(d.rain_mm, decimals=1),
            number_words(d.irrigation_mm, decimals=1),
            number_words(d.et0_mm, decimals=1),
            number_words(None if d.sound is None else d.sound.surface_water_m3m3, scale=100, decimals=1),
            number_words(None if d.band is None else d.band.surface_water_m3m3, scale=100, decimals=1),
            d.origin.value,
        )

    columns = ("Day", "Rain mm", "Irrigation mm", "ET0 mm", "Sound turf % vol.", "Band % vol.", "Weather")
    return Table("Rain, irrigation, ET0 and surface water by day", columns, tuple(row(d) for d in outlook.days))


def ring_table(outlook: SurfaceOutlook) -> Table:
    """The numbers behind the ring chart."""

    def row(d: OutlookDay) -> tuple[str, ...]:
        return (
            short_day_words(d.day),
            "–" if d.sound is None else d.sound.repellency_class,
            "–" if d.band is None else d.band.repellency_class,
            number_words(d.ring_contrast, scale=100),
            number_words(d.flush_hazard_per_day, scale=100, decimals=1),
            number_words(d.flush_chance_7_days, scale=100),
        )

    columns = ("Day", "Repellency, sound", "Repellency, band", "Cover difference %", "Fruit bodies % a day", "Fruit bodies % in 7 days")
    return Table("Repellency, ring contrast and fruit bodies by day", columns, tuple(row(d) for d in outlook.days))
