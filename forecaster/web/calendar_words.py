"""What the page of a ground says of its own calendar."""

from __future__ import annotations

from datetime import datetime, timedelta

from forecaster.calendar_documents import CalendarStanding
from forecaster.web.ages import hours_between

OLD_HOURS = 3.0
"""A calendar is fetched hourly; that it was missed once or twice is not worth a banner. Status: assumption."""


def calendar_sentences(standing: CalendarStanding | None, now: datetime) -> tuple[str, ...]:
    """What is wrong with a ground's calendar, in sentences; nothing where all is well or there is none."""
    if standing is None:
        return ()
    said = [standing.problem] if standing.problem else []
    if standing.fetched_at_utc is None:
        said.append("No fixtures from it yet.")
    elif standing.problem or now - standing.fetched_at_utc > timedelta(hours=OLD_HOURS):
        said.append(f"Its fixtures are as they were {hours_between(standing.fetched_at_utc, now):.0f} hours ago.")
    if standing.not_placed_count:
        count = standing.not_placed_count
        more = ", …" if len(standing.not_placed) < count else ""
        some = f"{count} coming events name" if count != 1 else "One coming event names"
        said.append(f"{some} no surface and {'are' if count != 1 else 'is'} left out: {', '.join(standing.not_placed)}{more}.")
    return tuple(said)
