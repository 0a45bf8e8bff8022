"""A rule over days: when it speaks, how badly, and why or why not."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt

from forecaster.quantities import Severity
from forecaster.risk.rule import Condition, Rule
from forecaster.risk.sentences import MONTHS, counted, fill_reason, number_words

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class RuleDay:
    """What one rule says on one day, and why, also where it is silent.

    ``severity``, ``value`` and ``reason`` are those of the last day with weather where the day is ``held``; ``severity`` is None and
    ``reason`` "" where the rule is silent, ``value`` None before the first known day. ``why``: why it speaks or not, never mailed.
    """

    day: date
    speaks: bool
    severity: Severity | None
    value: float | None
    reason: str
    why: str
    held: bool = False


@dataclass(frozen=True)
class _Memory:
    """What a rule remembers from one day to the next."""

    speaks: bool = False
    days_beyond: int = 0
    days_short: int = 0


def allowed_months(months: Sequence[int], *, southern: bool) -> tuple[int, ...]:
    """Months in which a rule may start on this side of the world; empty means all year."""
    return tuple(sorted((month + 5) % 12 + 1 for month in months)) if southern else tuple(months)


def severity_of(rule: Rule, value: float) -> Severity:
    """Worst severity whose limit the value has reached; the mildest where it has fallen back short of all of them."""
    bands = sorted(rule.severity_bands, key=lambda band: band.severity.rank)
    reached = [band.severity for band in bands if at_or_beyond(rule, value, band.value)]
    if reached:
        return reached[-1]
    return bands[0].severity if bands else Severity.MINOR


def evaluate(
    rule: Rule, *, days: Sequence[date], quantities: Mapping[str, Floats], known: npt.NDArray[np.bool_], southern: bool
) -> tuple[RuleDay, ...]:
    """Run a rule over consecutive days, with its hysteresis.

    ``quantities``: arrays of shape (day,) under the names of ``quantities.RISK_QUANTITIES``; ``known``: shape (day,).
    A day that is not known, or on which a number the rule needs is NaN, is *held*: it neither starts a spell nor counts towards the
    start or the end of one. Months, and conditions without ``throughout``, gate only the start.
    Raises KeyError for an unknown quantity, ValueError when the shapes differ. Source: rule contract; status: definition.
    """
    needed = {rule.quantity, *(condition.quantity for condition in rule.conditions)}
    if any(len(quantities[name]) != len(days) for name in needed) or len(known) != len(days):
        raise ValueError(f"quantities and known must cover the {len(days)} days")
    months = allowed_months(rule.months, southern=southern)
    memory, found = _Memory(), list[RuleDay]()
    for number, day in enumerate(days):
        values = {name: float(series[number]) for name, series in quantities.items()}
        if not known[number] or any(math.isnan(values[name]) for name in _needed_now(rule, speaks=memory.speaks)):
            found.append(_held(found[-1] if found else None, day))
            continue
        memory, why = _next(rule, memory, values, month_allowed=not months or day.month in months, month=day.month)
        value = values[rule.quantity]
        if memory.speaks:
            found.append(RuleDay(day, True, severity_of(rule, value), value, fill_reason(rule.reason, values, rule=rule), why))
        else:
            found.append(RuleDay(day, False, None, value, "", why))
    return tuple(found)


def _needed_now(rule: Rule, *, speaks: bool) -> set[str]:
    """Numbers without which the day cannot be judged: a speaking rule no longer needs the conditions of its start."""
    return {rule.quantity, *(condition.quantity for condition in rule.conditions if condition.throughout or not speaks)}


def at_or_beyond(rule: Rule, value: float, limit: float) -> bool:
    """Whether a value lies at or beyond a limit in the direction in which the rule's quantity gets worse. NaN never does."""
    return value >= limit if rule.rising else value <= limit


def _held(before: RuleDay | None, day: date) -> RuleDay:
    if before is None:
        return RuleDay(day, False, None, None, "", "no weather yet: it cannot speak", held=True)
    why = "no weather on this day: it goes on speaking" if before.speaks else "no weather on this day: it stays as it was"
    return replace(before, day=day, why=why, held=True)


def _next(rule: Rule, memory: _Memory, values: Mapping[str, float], *, month_allowed: bool, month: int) -> tuple[_Memory, str]:
    """One known day further: the new memory, and why."""
    value = values[rule.quantity]
    shown = f"{rule.quantity} {number_words(value, '.3g')}"
    if memory.speaks:
        failed = next((c for c in rule.conditions if c.throughout and not holds(c, values)), None)
        if failed is None and at_or_beyond(rule, value, rule.clear_at):
            return _Memory(speaks=True), f"speaks: {shown} has not cleared {rule.clear_at:g}"
        cause = _failure(failed, values) if failed else f"{shown} is short of {rule.clear_at:g}"
        short = memory.days_short + 1
        if short >= rule.days_out:
            return _Memory(), f"falls silent: {cause} for {counted(short, 'day')}"
        return _Memory(speaks=True, days_short=short), f"speaks: {cause}, but only for {short} of {counted(rule.days_out, 'day')}"
    if not at_or_beyond(rule, value, rule.raise_at):
        return _Memory(), f"silent: {shown} is short of {rule.raise_at:g}"
    failed = next((c for c in rule.conditions if not holds(c, values)), None)
    if failed is not None:
        return _Memory(), f"silent: {shown} reaches {rule.raise_at:g}, but {_failure(failed, values)}"
    beyond = memory.days_beyond + 1
    waiting = _Memory(days_beyond=beyond)
    if beyond < rule.days_in:
        return waiting, f"silent: {shown} reaches {rule.raise_at:g}, but only for {beyond} of {counted(rule.days_in, 'day')}"
    if not month_allowed:
        return waiting, f"silent: {shown} reaches {rule.raise_at:g}, but the rule does not start in {MONTHS[month - 1]}"
    return _Memory(speaks=True), f"starts: {shown} has reached {rule.raise_at:g} for {counted(beyond, 'day')}"


def holds(condition: Condition, values: Mapping[str, float]) -> bool:
    """Whether a condition holds with the numbers of a day; not with a NaN."""
    value = values[condition.quantity]
    above = condition.at_least is None or value >= condition.at_least
    below = condition.at_most is None or value <= condition.at_most
    return above and below and not math.isnan(value)


def _failure(condition: Condition, values: Mapping[str, float]) -> str:
    limits = [f"at least {condition.at_least:g}"] if condition.at_least is not None else []
    limits += [f"at most {condition.at_most:g}"] if condition.at_most is not None else []
    return f"{condition.quantity} {number_words(values[condition.quantity], '.3g')} is not {' and '.join(limits)}"
