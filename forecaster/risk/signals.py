"""From rule days to signals: the spell that each rule speaks of now or within the outlook, with its certainty and its words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from forecaster.documents import Signal
from forecaster.quantities import Certainty, Origin
from forecaster.risk.evaluate import RuleDay, at_or_beyond
from forecaster.risk.rule import Rule
from forecaster.risk.sentences import ahead_words, day_words, since_words

# How far ahead a single forecast run is called likely. Status: assumption, until the spread of an ensemble says it.
LIKELY_LEAD_DAYS = 3
EASING = " It is easing: this is short of where the warning starts, and it ends when it has stayed so for some days."


@dataclass(frozen=True)
class Spell:
    """Days in a row on which a rule speaks. ``first`` and ``last``: day numbers; ``shown_from``: the first of them that is not past."""

    first: int
    last: int
    shown_from: int
    present: bool
    reaches_horizon: bool


@dataclass(frozen=True)
class SpokenDays:
    """The days behind an outlook and where its window lies; ``known`` and ``stale`` say how good their weather is."""

    days: tuple[date, ...]
    origins: tuple[Origin, ...]
    today: date
    horizon: date
    known: bool
    stale: bool

    @property
    def today_number(self) -> int:
        """Day number of today."""
        return (self.today - self.days[0]).days

    def spell(self, rule_days: Sequence[RuleDay]) -> Spell | None:
        """Find the spell that is going on today, or else the next one within the outlook; later ones are for a later cycle."""
        start, end = self.today_number, (self.horizon - self.days[0]).days
        shown_from = next((i for i in range(start, end + 1) if rule_days[i].speaks), None)
        if shown_from is None:
            return None
        first = last = shown_from
        while shown_from == start and first > 0 and rule_days[first - 1].speaks:
            first -= 1
        while last < end and rule_days[last + 1].speaks:
            last += 1
        return Spell(first, last, shown_from, present=shown_from == start, reaches_horizon=last == end)

    def when(self, spell: Spell, *, days_in: int) -> str:
        """Say when a spell is, in words. One that speaks as early as its ``days_in`` lets it may be older than the days we look at."""
        first, last = self.days[spell.first], self.days[spell.last]
        earlier = " or earlier" if spell.first < days_in else ""
        if not self.known:
            return f"when last known, since {day_words(first, today=self.today)}{earlier}; not known today"
        if spell.present:
            return since_words(first, today=self.today) + earlier
        return ahead_words(first, last, today=self.today, reaches_horizon=spell.reaches_horizon)

    def certainty(self, spell: Spell) -> Certainty:
        """How sure a spell is, by its first day that is not past."""
        if not self.known:
            return Certainty.POSSIBLE
        return certainty_of(self.origins[spell.shown_from], lead_days=spell.shown_from - self.today_number, stale=self.stale)


def certainty_of(origin: Origin, *, lead_days: int, stale: bool) -> Certainty:
    """Certainty of what a rule says on one day: by what its weather is, and by how far ahead it lies.

    A simulation is never an observation, so even on measured weather it is no more than likely; a forecast is likely for three days and
    possible beyond; an old forecast, and a day without weather, are possible. Source: CAP 1.2 words; limits our assumption.
    """
    if origin in (Origin.OBSERVED, Origin.MODELLED):
        return Certainty.LIKELY
    if origin is Origin.FORECAST and lead_days <= LIKELY_LEAD_DAYS and not stale:
        return Certainty.LIKELY
    return Certainty.POSSIBLE


def held_reason(said: RuleDay) -> str:
    """Reason of a day without weather on which a rule goes on speaking."""
    return f"No weather for this day, so this is held as it was. On the last day with weather: {said.reason}"


def signals_of(by_rule: Sequence[tuple[Rule, Sequence[RuleDay]]], spoken: SpokenDays) -> tuple[Signal, ...]:
    """One signal per rule that speaks today or within the outlook: rules that are mailed first, worst first, present before expected."""
    found = []
    for rule, rule_days in by_rule:
        spell = spoken.spell(rule_days)
        if spell is not None:
            found.append(_signal(rule, rule_days, spell, spoken))
    return tuple(sorted(found, key=lambda signal: (signal.trial, -signal.severity.rank, not signal.present, signal.first_day)))


def _signal(rule: Rule, rule_days: Sequence[RuleDay], spell: Spell, spoken: SpokenDays) -> Signal:
    inside = [said for said in rule_days[spell.shown_from : spell.last + 1] if said.severity is not None]
    with_weather = [said for said in inside if not said.held]
    worst = max(with_weather or inside, key=lambda said: said.severity.rank if said.severity else 0)
    assert worst.severity is not None  # a speaking day has one
    return Signal(
        rule_id=rule.id,
        title=rule.title,
        severity=worst.severity,
        certainty=spoken.certainty(spell),
        first_day=spoken.days[spell.first],
        last_day=spoken.days[spell.last],
        reaches_horizon=spell.reaches_horizon,
        present=spell.present,
        when=spoken.when(spell, days_in=rule.days_in) + _worsening(rule_days, spell, spoken, worst),
        reason=_reason(rule, rule_days, spell, spoken, worst),
        advice=rule.advice,
        cautions=rule.cautions,
        source=rule.source,
        trial=rule.trial,
        quantity=rule.quantity,
    )


def _reason(rule: Rule, rule_days: Sequence[RuleDay], spell: Spell, spoken: SpokenDays, worst: RuleDay) -> str:
    """Why a rule speaks: with today's numbers where it speaks today, else with the worst day's."""
    today = rule_days[spell.shown_from]
    if spell.present and not today.held and today.severity is not None:
        reason = f"Today: {today.reason}"
    elif worst.held:
        reason = held_reason(worst)
    elif worst.day == spoken.days[spell.first]:
        reason = worst.reason  # the day stands in ``when``
    else:
        reason = f"{_named(worst.day, spoken.today)}: {worst.reason}"
    if spell.present and worst.value is not None and not worst.held and not at_or_beyond(rule, worst.value, rule.raise_at):
        reason += EASING
    return reason


def _worsening(rule_days: Sequence[RuleDay], spell: Spell, spoken: SpokenDays, worst: RuleDay) -> str:
    """How bad a spell is today and when it will be worst: "; Minor today, Severe from tomorrow, …"; empty where that is today."""
    today = rule_days[spell.shown_from]
    if not spoken.known or not spell.present or worst.held or today.severity is worst.severity:
        return ""
    last = spoken.days.index(worst.day)
    while last < spell.last and rule_days[last + 1].severity is worst.severity:
        last += 1
    ends = last == spell.last and spell.reaches_horizon
    return (
        f"; {today.severity} today, {worst.severity} {ahead_words(worst.day, spoken.days[last], today=spoken.today, reaches_horizon=ends)}"
    )


def _named(day: date, today: date) -> str:
    if day == today:
        return "Today"
    words = day_words(day, today=today, weekday=True)
    return f"Tomorrow, {words}" if day == today + timedelta(days=1) else words
