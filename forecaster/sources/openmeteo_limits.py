"""What Open-Meteo lets one address ask, in its own weights, and what it means when it says stop.

Figures: the provider's published terms and pricing, and the rule by which its server weighs a request. Status: published.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Literal, Protocol

from forecaster.errors import Window

Span = Literal["minute", "hour", "day"]

FREE_LIMITS: Mapping[Span, float] = {"minute": 600.0, "hour": 5_000.0, "day": 10_000.0}
"""Weight that one address may ask without a key, per clock minute, clock hour and UTC day."""
LARGEST_CALL = 5_000.0
"""A single request above this is refused, also with a key."""
ERROR_WEIGHT = 1.0
"""What an error answer counts, whatever was asked."""


def call_weight(variables: int, *, days: float, members: int = 1, locations: int = 1) -> float:
    """What one request counts: ten variables over two weeks at one place are 1, and a place never counts less.

    ``members``: ensemble members that each variable comes with, 1 where there is no ensemble. ``days``: all days asked for, past and
    to come. Source: the rule of the provider's server; status: published.
    """
    tens = variables * members / 10.0
    return locations * max(1.0, tens, tens * days / 14.0)


class UsedUp(Protocol):
    """The window that has no room, and when the next one begins."""

    @property
    def span(self) -> Span: ...
    @property
    def until(self) -> datetime: ...


class Budget(Protocol):
    """Counts what is asked, for all processes that share one address. Times are moments of asking, in UTC."""

    @property
    def clock(self) -> Callable[[], datetime]: ...
    def take(self, weight: float, *, now: datetime) -> UsedUp | None:
        """Take the weight, or say which window has no room for it; then nothing was taken."""

    def give_back(self, weight: float, *, taken_at: datetime) -> None:
        """The service counted that much less than was taken."""

    def fill(self, span: Span, *, now: datetime) -> None:
        """The service says that the window is used up."""


# Words in the reason of a 429, the window that is used up (None: too many at once), and what a person can do.
_REASONS: tuple[tuple[str, Span | None, str], ...] = (
    ("minutely", "minute", "Try again after the next full minute."),
    ("hourly", "hour", "Try again after the next full hour."),
    ("daily", "day", "Try again after midnight UTC; ask less often, or use a key."),
    ("concurrent", None, "Try again in about a minute; others behind the same address are asking too."),
)
# The next clock minute has begun by then, with a second for clocks that differ.
_MINUTE_SECONDS = 61.0
# Source of 10 to 60 seconds: practice; abandoned requests keep their place in the provider's queue for a while.
_CONCURRENT_SECONDS = (10.0, 60.0)


def limit_hint(reason: str) -> str:
    """What to do about a 429, by the reason the service gives."""
    found = _reason(reason)
    return found[2] if found else "Try again in an hour; ask less often, or use a key."


def span_used_up(reason: str) -> Span | None:
    """The window that a 429 says is used up; None where it says something else."""
    found = _reason(reason)
    return found[1] if found else None


def window_of(reason: str) -> Window | None:
    """For how long the limit holds that a 429 names; None where it says nothing that is known."""
    found = _reason(reason)
    return None if found is None else found[1] or "moment"


def pause_after(reason: str, *, draw: float) -> float | None:
    """Seconds after which asking again makes sense; None where that is not a matter of a minute. ``draw``: between 0 and 1, for jitter."""
    found = _reason(reason)
    if found is None or found[1] in ("hour", "day"):
        return None
    if found[1] == "minute":
        return _MINUTE_SECONDS
    shortest, longest = _CONCURRENT_SECONDS
    return shortest + draw * (longest - shortest)


def _reason(reason: str) -> tuple[str, Span | None, str] | None:
    return next((known for known in _REASONS if known[0] in reason.lower()), None)
