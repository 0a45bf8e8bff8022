"""When the leaf is wet, day by day, in words: what to know before spraying, brushing or playing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from forecaster.documents import SurfaceOutlook, WetSpell

DAYS_SHOWN = 3
# Dew from before this hour is the night's: people ask when it goes, not when it came.
MORNING = time(6)
_ROUNDED = timedelta(minutes=30)
_DEW = ("dew", "frost")


@dataclass(frozen=True)
class WetDay:
    """One local day and a sentence on it."""

    day: date
    words: str


def wet_days(outlook: SurfaceOutlook) -> tuple[WetDay, ...]:
    """Today and the next two days of a surface; empty where its outlook was made without hours."""
    if outlook.wet_hours is None:
        return ()
    zone = ZoneInfo(outlook.time_zone)
    days = [outlook.today + timedelta(days=n) for n in range(DAYS_SHOWN)]
    return tuple(WetDay(day, _words(day, outlook.wet_hours, zone)) for day in days)


def _words(day: date, spells: Sequence[WetSpell], zone: ZoneInfo) -> str:
    start, end = (datetime.combine(day + timedelta(days=n), time.min, zone) for n in (0, 1))
    here = [spell for spell in spells if spell.ends_at_utc > start and spell.starts_at_utc < end]
    if not here:
        return "Dry by this forecast."
    told = "; ".join(_chain_words(chain, start, end) for chain in _chains(here))
    rough = "" if all(spell.exact or spell.cause == "unknown" for spell in here) else "roughly, because it is far ahead: "
    return f"{rough}{told}."[0].upper() + f"{rough}{told}."[1:]


def _chains(spells: Sequence[WetSpell]) -> list[list[WetSpell]]:
    """Spells that follow each other without a dry time; a spell that is not known stands alone."""
    chains: list[list[WetSpell]] = []
    for spell in spells:
        before = chains[-1][-1] if chains else None
        joined = before is not None and before.ends_at_utc == spell.starts_at_utc and "unknown" not in (before.cause, spell.cause)
        if joined:
            chains[-1].append(spell)
        else:
            chains.append([spell])
    return chains


def _chain_words(chain: Sequence[WetSpell], start: datetime, end: datetime) -> str:
    first, last = chain[0], chain[-1]
    until = f"about {_clock(last.ends_at_utc, start)}"
    goes_on = last.ends_at_utc >= end
    if first.cause == "unknown":
        begins = "" if first.starts_at_utc <= start else f" from {_clock(first.starts_at_utc, start)}"
        return f"not known{begins}{'' if goes_on else f' until {until}'}, for want of weather"
    if len(chain) == 1 and _begun(first, start):
        if goes_on:
            return f"wet all day ({first.cause})"
        return f"{'white or ' if first.cause == 'frost' else ''}wet until {until} ({first.cause})"
    events = [_event_words(spell, start, end) for spell in chain if spell.cause in _DEW or spell.water_until_utc is not None]
    if not goes_on:
        return ", ".join([*events, f"dry by {until}"])
    return ", ".join(events if last.cause in _DEW else [*events, "wet into the night"])


def _begun(spell: WetSpell, start: datetime) -> bool:
    """Whether the day finds the leaf wet already: the water fell before, or it is the night's dew."""
    if spell.cause in _DEW:
        return spell.starts_at_utc < datetime.combine(start.date(), MORNING, start.tzinfo)
    return spell.water_until_utc is None or spell.water_until_utc <= start


def _event_words(spell: WetSpell, start: datetime, end: datetime) -> str:
    starts = _clock(spell.starts_at_utc, start)
    if _begun(spell, start):
        return f"{spell.cause} in the night"
    if spell.cause in _DEW:
        return f"{spell.cause} from about {starts}"
    if spell.cause == "irrigation":
        return f"watering at {starts}"
    water_until = spell.water_until_utc
    if water_until is None or water_until > end:
        return f"rain from {starts}" if spell.starts_at_utc > start else "rain all day"
    falls_until = _clock(water_until, start)
    return f"rain {starts} to {falls_until}" if spell.starts_at_utc > start else f"rain until {falls_until}"


def _clock(moment: datetime, start: datetime) -> str:
    """Local time to the half hour: more would be false precision."""
    seconds = round(moment.timestamp() / _ROUNDED.total_seconds()) * _ROUNDED.total_seconds()
    local = datetime.fromtimestamp(seconds, tz=start.tzinfo)
    return "midnight" if local.time() == time.min else f"{local:%H:%M}"
