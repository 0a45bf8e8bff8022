"""A rule as an adviser wrote it in config/rules.toml: it looks at one quantity, with hysteresis, and speaks in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from forecaster.quantities import Severity

# Placeholder of a reason that stands for the rule's own ``raise_at``, so that the words move with the number.
RAISE_AT = "raise_at"


@dataclass(frozen=True)
class Condition:
    """A further number that must hold on the day for a rule to *start* speaking: at or above, at or below, or both.

    ``throughout``: it must hold for the rule to go on as well: a day on which it does not counts towards falling silent.
    """

    quantity: str
    at_least: float | None = None
    at_most: float | None = None
    throughout: bool = False


@dataclass(frozen=True)
class SeverityBand:
    """From this value on (in the rule's direction) the severity is this."""

    severity: Severity
    value: float


@dataclass(frozen=True)
class Rule:
    """One rule.

    It starts to speak after ``days_in`` days in a row with the quantity at or beyond ``raise_at`` (and every condition held), and falls
    silent after ``days_out`` days in a row short of ``clear_at``. ``raise_at > clear_at`` means large values are bad, ``<`` small ones.
    ``months``: months in which it may start (northern hemisphere; shifted by six in the southern), empty = all year.
    ``reason``: a sentence with placeholders {quantity_name:format} from ``quantities.RISK_QUANTITIES``, or
    {raise_at:format}.
    ``lead_days``: how far ahead in the outlook a spell opens an alert. ``trial``: shown, never mailed.
    ``ring_types``: speaks only for surfaces with such rings surveyed; empty = every surface.
    """

    id: str
    title: str
    quantity: str
    raise_at: float
    clear_at: float
    days_in: int
    days_out: int
    severity_bands: tuple[SeverityBand, ...]
    reason: str
    advice: str
    headline_now: str
    """"Rings are showing"."""
    headline_ahead: str
    """"Rings likely to show {when}"."""
    source: str
    lead_days: int = 14
    months: tuple[int, ...] = ()
    conditions: tuple[Condition, ...] = ()
    ring_types: tuple[Literal[1, 2, 3], ...] = ()
    cautions: tuple[str, ...] = ()
    trial: bool = False

    @property
    def rising(self) -> bool:
        """True where large values are bad."""
        return self.raise_at > self.clear_at
