"""May this surface be booked at that time? A verdict with its reasons, and the nearest better slot.

Silence never means safe: where weather is missing, old or does not reach, the verdict is "not known"; "nothing against it" speaks of our
data. Pure and light: the web process calls it on what a cycle stored. Status: practice, with limits of config/operations.toml.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from forecaster.advice.limits import BookingLimits
from forecaster.advice.play import BookingData, Play, Reason, Verdict, reasons_of

NOTHING_AGAINST_IT = "Nothing against it in our data: walk it first."
LOOK_FIRST = "Look first: walk the surface before you let anybody on."
KEEP_OFF = "Keep off."
NOT_KNOWN = "Not known: our data cannot tell, so go and look."
SLOT_DAYS = 14
SLOT_STEP = timedelta(hours=1)
HOURS_AT_MOST = 24

_WORDS: dict[Verdict, str] = {
    "nothing-against-it": NOTHING_AGAINST_IT,
    "look-first": LOOK_FIRST,
    "not-known": NOT_KNOWN,
    "keep-off": KEEP_OFF,
}
_RANK: dict[Verdict, int] = {verdict: rank for rank, verdict in enumerate(_WORDS)}


@dataclass(frozen=True)
class Slot:
    """A time that is better than the one asked about."""

    starts_at: datetime
    ends_at: datetime
    verdict: Verdict
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class BookingCheck:
    """The answer. ``resolution``: whether the hours were judged, or only whole days; ``assumptions``: what to know of the verdict."""

    verdict: Verdict
    text: str
    reasons: tuple[Reason, ...]
    resolution: Literal["hours", "day", "none"]
    better: Slot | None
    assumptions: tuple[str, ...]


def check_booking(
    data: BookingData, limits: BookingLimits, *, starts_at: datetime, ends_at: datetime, children: bool = False
) -> BookingCheck:
    """Judge one time on one surface, and look for the nearest better slot of the same length.

    Raises: ValueError where the end is not after the start, or the two lie more than a day apart. Status: practice.
    """
    if not timedelta(0) < ends_at - starts_at <= timedelta(hours=HOURS_AT_MOST):
        raise ValueError(f"a booking ends after it starts and lasts {HOURS_AT_MOST} hours at most")
    asked = Play(starts_at, ends_at, data.time_zone, children)
    reasons, resolution = reasons_of(data, limits, asked)
    verdict = verdict_of(reasons)
    better = None if verdict == "nothing-against-it" else _better_slot(data, limits, asked, verdict)
    return BookingCheck(verdict, _WORDS[verdict], reasons, resolution, better, _assumptions(data, limits, asked, resolution))


def verdict_of(reasons: Sequence[Reason]) -> Verdict:
    """What speaks loudest: keep off, before not known, before look first."""
    return max((reason.verdict for reason in reasons), key=_RANK.__getitem__, default="nothing-against-it")


def _better_slot(data: BookingData, limits: BookingLimits, asked: Play, verdict: Verdict) -> Slot | None:
    for starts_at in _candidates(data, limits, asked):
        play = Play(starts_at, starts_at + asked.length, asked.time_zone, asked.children)
        reasons, _ = reasons_of(data, limits, play)
        found = verdict_of(reasons)
        # Where nothing is known a time is no better than another.
        if _RANK[found] < _RANK[verdict] and found != "not-known":
            return Slot(play.starts_at, play.ends_at, found, reasons)
    return None


def _candidates(data: BookingData, limits: BookingLimits, asked: Play) -> list[datetime]:
    """Starts in hourly steps from now to fourteen days ahead, inside the hours of play, the nearest to what was asked first."""
    steps = range(-24 * SLOT_DAYS, 24 * SLOT_DAYS + 1)
    starts = [asked.starts_at + step * SLOT_STEP for step in steps if step]
    inside = [s for s in starts if data.now < s <= data.now + timedelta(days=SLOT_DAYS) and _in_hours(s, limits, asked)]
    return sorted(inside, key=lambda start: (abs(start - asked.starts_at), start))


def _in_hours(starts_at: datetime, limits: BookingLimits, asked: Play) -> bool:
    start, end = starts_at.astimezone(asked.time_zone), (starts_at + asked.length).astimezone(asked.time_zone)
    return start.date() == end.date() and start.time() >= limits.earliest_start and end.time() <= limits.latest_end


def _assumptions(data: BookingData, limits: BookingLimits, asked: Play, resolution: str) -> tuple[str, ...]:
    told = ["This speaks of our data, a model and what was entered, not of the surface itself: walk it first."]
    if resolution == "day":
        told.append("So far ahead nobody knows the hours: whole days were judged.")
    if not asked.children:
        told.append("Toadstools were left out, because no children were named.")
    elif data.outlook is not None and not data.outlook.rings:
        told.append("No ring is surveyed here, so nothing is known of toadstools: walk it for them before children play.")
    told.append("What nobody entered is not known here: treatments, closures, covers, damage.")
    told.append(f"A better slot is looked for between {limits.earliest_start:%H:%M} and {limits.latest_end:%H:%M}, {SLOT_DAYS} days ahead.")
    if data.outlook is not None:
        told.extend(data.outlook.assumptions[:1])
    return tuple(told)
