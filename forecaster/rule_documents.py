"""The rules as they are configured, as pages and API show them."""

from __future__ import annotations

from forecaster.documents import Document
from forecaster.quantities import Severity


class ConditionSummary(Document):
    """A further number that must hold for a rule to start, and where ``throughout``, to go on."""

    quantity: str
    unit: str
    at_least: float | None
    at_most: float | None
    throughout: bool


class RuleSummary(Document):
    """One rule as it is configured."""

    id: str
    title: str
    quantity: str
    unit: str
    meaning: str
    """What the quantity is."""
    raise_at: float
    clear_at: float
    days_in: int
    days_out: int
    severity_from: dict[Severity, float]
    """From this value on, in the rule's direction, the severity is this."""
    conditions: tuple[ConditionSummary, ...]
    months: tuple[int, ...]
    """In which it may start, as on the northern half of the world; empty: all year."""
    ring_types: tuple[int, ...]
    """It speaks only where such rings were surveyed; empty: everywhere."""
    lead_days: int
    advice: str
    source: str
    trial: bool
    """On trial: shown, never mailed."""


class RulesDocument(Document):
    """All rules of the configuration, in its order."""

    rules: tuple[RuleSummary, ...]
