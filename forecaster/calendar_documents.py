"""How a ground's own calendar stands: a part of its stored description."""

from __future__ import annotations

from datetime import datetime

from forecaster.credits import Part


class CalendarStanding(Part):
    """How a ground's own calendar stands."""

    fetched_at_utc: datetime | None
    """Of the last good one, from which the fixtures are; None where none came yet."""
    problem: str | None
    """Why the last look gave none; None where it did."""
    not_placed: tuple[str, ...]
    """Titles of coming events that name no surface, at most 20: they are no fixtures."""
    not_placed_count: int
