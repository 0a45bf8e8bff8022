"""What a rule file would have said over past days: spells on which each rule spoke, and how two rule files differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from forecaster.quantities import Severity
from forecaster.risk.evaluate import RuleDay
from forecaster.risk.judgement import SurfaceRun, applies, judge
from forecaster.risk.rule import Rule


@dataclass(frozen=True)
class SpokenSpell:
    """Consecutive days on which one rule spoke, first and last included; ``held``: how many of them had no weather."""

    first: date
    last: date
    worst: Severity
    held: int

    @property
    def days(self) -> int:
        """Length [d]."""
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class RehearsedRule:
    """One rule on one surface: its days since the first that counts, and the spells on which it spoke.

    ``applies``: False where the rule does not look at the surface at all (no such ring surveyed); it then has no days.
    """

    rule: Rule
    applies: bool
    days: tuple[RuleDay, ...]
    spells: tuple[SpokenSpell, ...]

    @property
    def spoken(self) -> frozenset[date]:
        """The days on which it spoke."""
        return frozenset(said.day for said in self.days if said.speaks)


@dataclass(frozen=True)
class Difference:
    """Days on which one rule of two files spoke in one alone; None instead of a rule that the file does not have."""

    rule_id: str
    one: RehearsedRule | None
    other: RehearsedRule | None

    @property
    def only_one(self) -> tuple[date, ...]:
        """Days on which the rule spoke in the first file alone."""
        return tuple(sorted(_spoken(self.one) - _spoken(self.other)))

    @property
    def only_other(self) -> tuple[date, ...]:
        """Days on which the rule spoke in the other file alone."""
        return tuple(sorted(_spoken(self.other) - _spoken(self.one)))


def _spoken(rehearsed: RehearsedRule | None) -> frozenset[date]:
    return frozenset() if rehearsed is None else rehearsed.spoken


def rehearse_rules(run: SurfaceRun, rules: Sequence[Rule], *, counted_from: date, last: date) -> tuple[RehearsedRule, ...]:
    """Run every rule over the days of a run as it would have spoken on each day, and list the spells from ``counted_from``
    to ``last``, both included.

    The rules see the days before it as well, so a spell that was under way is there from the first day that counts. The weather is what
    came, not what was forecast: a service would have known less. Source: ``risk.evaluate``; status: definition.
    """
    judged = judge(run, rules, today=last)
    by_id = {rule.id: days for rule, days in judged.by_rule}
    found = []
    for rule in rules:
        days = tuple(said for said in by_id.get(rule.id, ()) if counted_from <= said.day <= last)
        found.append(RehearsedRule(rule, applies(rule, run.surface), days, spells_of(days)))
    return tuple(found)


def spells_of(days: Sequence[RuleDay]) -> tuple[SpokenSpell, ...]:
    """The spells of consecutive days on which a rule spoke, oldest first."""
    spells = []
    for speaks, group in groupby(days, key=lambda said: said.speaks):
        if speaks:
            inside = list(group)
            worst = max((said.severity for said in inside if said.severity is not None), key=lambda severity: severity.rank)
            spells.append(SpokenSpell(inside[0].day, inside[-1].day, worst, sum(said.held for said in inside)))
    return tuple(spells)


def differences(one: Sequence[RehearsedRule], other: Sequence[RehearsedRule]) -> tuple[Difference, ...]:
    """Every rule of either file, in the order of the first, then those that only the other has."""
    ours, theirs = ({rehearsed.rule.id: rehearsed for rehearsed in file} for file in (one, other))
    return tuple(Difference(rule_id, ours.get(rule_id), theirs.get(rule_id)) for rule_id in dict.fromkeys((*ours, *theirs)))
