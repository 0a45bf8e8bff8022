"""``forecaster explain``: which rules looked at which numbers on one day, and why each did or did not speak."""

from __future__ import annotations

from datetime import date

from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

from forecaster.documents import ExplainedDay, Explanation, RuleLimits, RuleSaid
from forecaster.errors import NotFound
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.quantities import RISK_QUANTITIES
from forecaster.risk.sentences import MONTHS, counted
from forecaster.storage.database import reading
from forecaster.storage.explanations import latest_explanation


def stored_explanation(ground: Ground, surface_id: str, context: Context) -> Explanation:
    """What the last cycle left. Raises: NotFound where the surface is not configured, or no cycle has run."""
    if surface_id not in {surface.id for surface in ground.surfaces}:
        known = ", ".join(surface.id for surface in ground.surfaces)
        raise NotFound(f"{ground.id} has no surface {surface_id!r}", hint=f"Known are: {known}.")
    with reading(context.engine) as session:
        found = latest_explanation(session, ground.id, surface_id)
    if found is None:
        raise NotFound(f"nothing is stored of {ground.id}/{surface_id}", hint="Run one cycle first.")
    return found


def explained_day(explanation: Explanation, day: date) -> ExplainedDay:
    """One day of an explanation. Raises: NotFound, naming the days there are."""
    for found in explanation.days:
        if found.day == day:
            return found
    known = f"{explanation.days[0].day} to {explanation.days[-1].day}" if explanation.days else "none"
    raise NotFound(f"{day} is not in the newest outlook of {explanation.surface_id}", hint=f"Its days: {known}.")


def print_day(explanation: Explanation, day: ExplainedDay, console: Console) -> None:
    """Every rule of that day: what it said and why, its limits, and the numbers it looked at."""
    said_of = {said.rule_id: said for said in day.rules}
    made = f"{explanation.issued_at_utc:%Y-%m-%d %H:%M} UTC"
    console.print(f"{explanation.surface_name}, {day.day} (weather: {day.origin.value}), as worked out at {made}.", highlight=False)
    for rule in explanation.rules:
        trial = " (trial: shown, never mailed)" if rule.trial else ""
        said = said_of.get(rule.id)
        if said is None:
            reason = f"looks only at surfaces with a surveyed ring of type {' or '.join(map(str, rule.ring_types))}"
            console.print(f"\n[bold]{rule.title}[/bold]{trial}: {reason}.", highlight=False, soft_wrap=True)
            continue
        severity = f", {said.severity.value}" if said.severity else ""
        console.print(f"\n[bold]{rule.title}[/bold]{trial}: {said.why}{severity}.", highlight=False, soft_wrap=True)
        console.print(f"  Limits: {_limits(rule)}.", highlight=False, soft_wrap=True)
        console.print(_numbers(said))
        console.print(f"  Source: {rule.source}", highlight=False, soft_wrap=True)


def _limits(rule: RuleLimits) -> str:
    words = [
        f"starts at {rule.raise_at:g} for {counted(rule.days_in, 'day')}",
        f"ends short of {rule.clear_at:g} for {counted(rule.days_out, 'day')}",
        ", ".join(f"{severity.value} from {value:g}" for severity, value in rule.severities.items()),
        *rule.conditions,
    ]
    if rule.starts_in_months:
        words.append("starts only in " + ", ".join(MONTHS[month - 1] for month in rule.starts_in_months))
    return "; ".join(words)


def _numbers(said: RuleSaid) -> Table:
    table = Table(box=SIMPLE, padding=(0, 2))
    for heading in ("number", "value", "unit", "what it is"):
        table.add_column(heading, justify="right" if heading == "value" else "left")
    for number in said.numbers:
        known = RISK_QUANTITIES[number.quantity]
        value = "not known" if number.value is None else f"{number.value:.3g}"
        table.add_row(number.quantity, value, known.unit, known.meaning)
    return table
