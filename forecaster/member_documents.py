"""What the weather members say: parts of the stored documents."""

from __future__ import annotations

from datetime import datetime

from forecaster.credits import Part


class MemberStatus(Part):
    """The weather members behind an outlook: many tellings of the same days by one model. ``text`` is the sentence that is shown."""

    text: str
    members: int = 0
    """0: there are none, and the outlook rests on a single forecast."""
    model: str = ""
    issued_at_utc: datetime | None = None
    """When they were asked for; the service does not say when its model ran."""
    age_hours: float | None = None
    problem: str | None = None
    """Why the newest pull of members failed, where it did."""


class MemberSpread(Part):
    """How far the weather members lie apart on one day: a tenth of them is below ``low``, half below ``median``, a tenth above ``high``.

    ``quantity``: a name of the risk quantities, or sound_ or band_surface_water_m3m3.
    """

    quantity: str
    low: float
    median: float
    high: float


class MemberChance(Part):
    """In how many weather members a rule's level and conditions are reached on one day. Not a calibrated probability."""

    rule_id: str
    title: str
    members: int


class MemberDay(Part):
    """One coming day as the weather members tell it, the soil simulated for each of them."""

    members: int
    """How many of them know the day."""
    spread: tuple[MemberSpread, ...]
    chances: tuple[MemberChance, ...] = ()
    """Most members first; a rule that no member reaches is left out."""
