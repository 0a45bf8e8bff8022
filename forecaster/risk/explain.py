"""What every rule looked at on every day and why it did or did not speak, as a document to be stored beside the outlook."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from forecaster.documents import ExplainedDay, Explanation, RuleLimits, RuleNumber, RuleSaid
from forecaster.quantities import RISK_QUANTITIES
from forecaster.risk.evaluate import RuleDay, allowed_months
from forecaster.risk.judgement import OUTLOOK_DAYS, Judgement, SurfaceRun, applies
from forecaster.risk.outlook import HISTORY_DAYS
from forecaster.risk.rule import Condition, Rule


def explanation(run: SurfaceRun, judged: Judgement, rules: Sequence[Rule], *, today: date, issued_at: datetime) -> Explanation:
    """The days of the outlook, each with every rule that looks at the surface. Source: ``risk.evaluate``; status: definition."""
    first, last = today - timedelta(days=HISTORY_DAYS), today + timedelta(days=OUTLOOK_DAYS - 1)
    southern = run.ground.latitude < 0.0
    days = tuple(
        ExplainedDay(
            day=day,
            origin=judged.origins[number],
            rules=tuple(_said(rule, said[number], judged, number) for rule, said in judged.by_rule),
        )
        for number, day in enumerate(judged.days)
        if first <= day <= last
    )
    return Explanation(
        ground_id=run.ground.id,
        surface_id=run.surface.id,
        surface_name=run.surface.name,
        today=today,
        issued_at_utc=issued_at,
        rules=tuple(_limits(rule, applies_here=applies(rule, run.surface), southern=southern) for rule in rules),
        days=days,
    )


def _said(rule: Rule, said: RuleDay, judged: Judgement, number: int) -> RuleSaid:
    names = dict.fromkeys((rule.quantity, *(condition.quantity for condition in rule.conditions)))
    values = {name: float(judged.quantities[name][number]) for name in names}
    return RuleSaid(
        rule_id=rule.id,
        speaks=said.speaks,
        held=said.held,
        severity=said.severity if said.speaks else None,
        why=said.why,
        numbers=tuple(RuleNumber(quantity=name, value=None if math.isnan(value) else value) for name, value in values.items()),
    )


def _limits(rule: Rule, *, applies_here: bool, southern: bool) -> RuleLimits:
    return RuleLimits(
        id=rule.id,
        title=rule.title,
        quantity=rule.quantity,
        unit=RISK_QUANTITIES[rule.quantity].unit,
        meaning=RISK_QUANTITIES[rule.quantity].meaning,
        raise_at=rule.raise_at,
        clear_at=rule.clear_at,
        days_in=rule.days_in,
        days_out=rule.days_out,
        severities={band.severity: band.value for band in rule.severity_bands},
        conditions=tuple(condition_words(condition) for condition in rule.conditions),
        starts_in_months=allowed_months(rule.months, southern=southern),
        ring_types=rule.ring_types,
        looks_at_this_surface=applies_here,
        trial=rule.trial,
        source=rule.source,
    )


def condition_words(condition: Condition) -> str:
    """ "rain_mm at least 3, for as long as it speaks"."""
    limits = [f"at least {condition.at_least:g}"] if condition.at_least is not None else []
    limits += [f"at most {condition.at_most:g}"] if condition.at_most is not None else []
    return f"{condition.quantity} {' and '.join(limits)}, {'for as long as it speaks' if condition.throughout else 'to start'}"
