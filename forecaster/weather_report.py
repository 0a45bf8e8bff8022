"""The stored document on a ground's weather: from where, how old, how complete, what was not used and why, where sources differ.

Built beside the joined weather, kept by storage, shown by pages, the API and the command. Times are UTC.
"""

from __future__ import annotations

from datetime import datetime

from forecaster.documents import Document


class KnownSource(Document):
    """One issue of one source, most trusted first in the report."""

    name: str
    issued_at_utc: datetime
    first_hour_utc: datetime | None
    """None for a source without any hour."""
    last_hour_utc: datetime | None
    hours_used: int
    """Hours of the report's time in which at least one value comes from here."""
    hours_missing: int
    """Hours between its first and its last in which it says nothing at all, as far as they lie in the report's time."""


class KnownQuantity(Document):
    """One weather quantity in the joined weather."""

    quantity: str
    unit: str
    missing_past: float | None
    """Share of past hours without a value, 0 to 1; None where there is no past hour."""
    missing_ahead: float | None
    known_until_utc: datetime | None
    """The last hour with a value."""
    sources: tuple[str, ...]
    origins: tuple[str, ...]


class OriginalValue(Document):
    """What stood where a value was not used."""

    hour_utc: datetime
    value: float | None
    """None where it was not a finite number."""


class NotUsed(Document):
    """Values of one source that one check keeps out."""

    source: str
    quantity: str
    unit: str
    check: str
    """The kind of check: range, step, persistence, clear sky, tipping bucket, unit mix-up, file …"""
    why: str
    limits: str
    basis: str
    """Where the limits come from: published, practice or assumption."""
    count: int
    first_hour_utc: datetime | None
    last_hour_utc: datetime | None
    originals: tuple[OriginalValue, ...] = ()
    """Every value of hours as it came, oldest first."""
    examples: tuple[str, ...] = ()
    """Of lines of files: some of them, as they stand there."""


class Difference(Document):
    """How two sources differ on the hours that both know: first minus second."""

    quantity: str
    unit: str
    first: str
    second: str
    hours: int
    mean_difference: float
    first_mean: float
    second_mean: float
    first_sum: float | None
    """Of rain only."""
    second_sum: float | None


class WeatherReport(Document):
    """All that is known of a ground's weather at one moment."""

    ground_id: str
    made_at_utc: datetime
    since_utc: datetime
    """The report looks at hours from here on."""
    sources: tuple[KnownSource, ...]
    quantities: tuple[KnownQuantity, ...]
    not_used: tuple[NotUsed, ...]
    differences: tuple[Difference, ...]
    rough_from_utc: datetime | None
    """First coming hour from which on values are spread from steps of several hours: nothing rests on their exact hour. None: nowhere."""
    notes: tuple[str, ...]
    """What was filled in from where, which soil temperature is used, doubts about instruments, and what sources say of themselves."""
