"""How sure the coming days are, by the weather members, in words and as a table."""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.documents import OutlookDay, SurfaceOutlook
from forecaster.member_documents import MemberDay
from forecaster.web.views import Table
from forecaster.web.wording import day_words, number_words, short_day_words

_WATER = "available_water_fraction"


@dataclass(frozen=True)
class MemberView:
    """What the page of a surface says of its weather members; ``table`` None where there are none, and ``status`` says why."""

    finding: str
    status: str
    table: Table | None


def member_view(outlook: SurfaceOutlook) -> MemberView | None:
    """None for an outlook from before members were asked for."""
    status = outlook.weather.members
    if status is None:
        return None
    days = [(day, day.members) for day in outlook.days if day.members is not None]
    if not days:
        return MemberView("How sure the coming days are: not known", status.text, None)
    columns = ("Day", "Rain mm", "Water left, sound %", "Water left, band %", "Cover difference %", "Warning levels reached")
    rows = tuple(_row(day, members) for day, members in days)
    caption = "The middle member, and the range that eight in ten of them lie in"
    return MemberView(_finding(days), status.text, Table(caption, columns, rows))


def _row(day: OutlookDay, members: MemberDay) -> tuple[str, ...]:
    reached = "; ".join(f"{chance.title}: {chance.members} of {members.members}" for chance in members.chances)
    return (
        short_day_words(day.day),
        _range(members, "rain_mm", decimals=1),
        _range(members, f"sound_{_WATER}", scale=100),
        _range(members, f"band_{_WATER}", scale=100),
        _range(members, "ring_contrast", scale=100),
        reached or "none",
    )


def _range(members: MemberDay, quantity: str, *, decimals: int = 0, scale: float = 1.0) -> str:
    found = next((spread for spread in members.spread if spread.quantity == quantity), None)
    if found is None:
        return number_words(None)
    low, median, high = (number_words(value, decimals=decimals, scale=scale) for value in (found.low, found.median, found.high))
    return median if low == high else f"{median} ({low} to {high})"


def _finding(days: list[tuple[OutlookDay, MemberDay]]) -> str:
    """The warning level that most members come to reach, and when; those that all members reach today say nothing new."""
    by_all = [(day, chance.rule_id) for day, members in days for chance in members.chances if chance.members == members.members]
    today = {rule_id for day, rule_id in by_all if day.lead_days == 0}
    ahead = [
        (chance, day, members) for day, members in days if day.lead_days > 0 for chance in members.chances if chance.rule_id not in today
    ]
    if not ahead:
        new = " new" if today else ""
        return f"None of the {days[0][1].members} weather members reaches a{new} warning level in the days ahead"
    chance, day, members = max(ahead, key=lambda found: (found[0].members / found[2].members, -found[1].lead_days))
    return f"{chance.title}: level reached in {chance.members} of {members.members} weather members on {day_words(day.day)}"
