"""How a weather service stands with us: whether it may be asked, and what is wrong with it in one of four names.

A breaker: closed, it is asked; after trouble it is open, and nobody asks until a moment; then one asks first (half-open), and its answer
closes or opens it again. What is wrong is named apart from that: ``shut out`` (the key, or we, are refused), ``terms`` (moved, ended, to be
paid for, or a web page in place of data), ``limit`` (the hour's or day's budget is used up) and ``deprecated`` (it answers, but not for
much longer). Pure: ``now`` is an argument, and what is stored is somebody else's matter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

from forecaster.errors import Trouble, WeatherError, Window

Breaker = Literal["closed", "open", "half-open"]
Named = Literal["shut out", "terms", "limit", "deprecated"]

PROBE_LASTS = timedelta(minutes=3)
"""Who asks first has so long to say how it went; longer than any patience with a service. Then the next may."""
LONGEST_PAUSE = timedelta(hours=24)
"""Whatever a service asks for, and whatever a wrong clock has left: it is asked once a day. Status: assumption."""


@dataclass(frozen=True)
class _Steps:
    """After how many failures in a row a breaker opens, and for how long: doubling from the first pause to the longest."""

    failures: int
    first: timedelta
    longest: timedelta


# Status: assumption. A breakdown passes in minutes to hours. A refusal needs a person, and who goes on asking in spite of it is shut out
# for good by some services; a renewed key works within a day without anybody's doing.
_STEPS: dict[Trouble, _Steps] = {
    "silent": _Steps(3, timedelta(minutes=5), timedelta(hours=1)),
    "page": _Steps(2, timedelta(minutes=30), timedelta(hours=6)),
    "shut out": _Steps(1, timedelta(hours=1), LONGEST_PAUSE),
    "terms": _Steps(1, timedelta(hours=1), LONGEST_PAUSE),
}
_MOMENT = timedelta(minutes=1)  # too many at once; practice: 10 to 60 seconds
_UNSAID = timedelta(hours=1)  # a limit of which nobody says how long it holds


@dataclass(frozen=True)
class ServiceState:
    """One service. Times are UTC. ``failures``: in a row. ``asked_as``: what tells one address and key from another.

    ``held_until``: it is not asked before. ``probe_until``: somebody is asking it first. ``named_since``: since when it is ``named`` so.
    """

    service: str
    asked_as: str = ""
    failures: int = 0
    held_until: datetime | None = None
    probe_until: datetime | None = None
    named: Named | None = None
    named_since: datetime | None = None
    last_error: str | None = None
    last_hint: str | None = None
    failed_at: datetime | None = None
    answered_at: datetime | None = None

    def breaker(self, now: datetime) -> Breaker:
        """Where the breaker stands."""
        if self.held_until is None:
            return "closed"
        return "open" if now < self.held_until <= now + LONGEST_PAUSE else "half-open"


def before_asking(state: ServiceState, *, asked_as: str, now: datetime) -> tuple[ServiceState, bool]:
    """Whether the service may be asked now, and the state after that. Another address or key begins anew: it is another matter.

    Half-open, the first who comes may ask; the others wait for how it goes.
    """
    if state.asked_as != asked_as:
        state = ServiceState(state.service, asked_as, answered_at=state.answered_at)
    where = state.breaker(now)
    if where == "closed":
        return state, True
    asked_by_another = state.probe_until is not None and now < state.probe_until <= now + PROBE_LASTS
    if where == "open" or asked_by_another:
        return state, False
    return replace(state, probe_until=now + PROBE_LASTS), True


def after_answer(state: ServiceState, *, now: datetime, deprecated: bool = False) -> ServiceState:
    """The service gave what was asked for."""
    named: Named | None = "deprecated" if deprecated else None
    since = None if named is None else state.named_since if state.named == named else now
    return ServiceState(state.service, state.asked_as, named=named, named_since=since, answered_at=now)


def after_failure(state: ServiceState, error: WeatherError, *, now: datetime) -> ServiceState:
    """The service did not give what was asked for.

    A question that it does not take, or an answer that is not what was asked for, is a matter of one place: it shows that somebody is
    there. Our own budget keeps anybody from asking without a breaker: it is only named.
    """
    told = replace(state, last_error=error.message, last_hint=error.hint or None, failed_at=now)
    if error.trouble in ("question", "answer"):
        return replace(told, failures=0, held_until=None, probe_until=None, named=state.named if state.named == "deprecated" else None)
    if error.trouble == "budget":
        # Nothing was asked, so nothing is known of the service: another may ask first.
        return _with_name(replace(told, probe_until=None), _named(error, told), now)
    told = replace(told, failures=state.failures + 1, probe_until=None)
    return _with_name(replace(told, held_until=_held_until(told, error, now)), _named(error, told), now)


def _with_name(state: ServiceState, named: Named | None, now: datetime) -> ServiceState:
    """A name stays until the service answers: a breakdown in between is no news about a key."""
    if named is None or named == state.named:
        return state
    return replace(state, named=named, named_since=now)


def _named(error: WeatherError, state: ServiceState) -> Named | None:
    """The name of the trouble, where it has one: a minute's limit and a breakdown pass by themselves."""
    if error.trouble in ("limit", "budget"):
        return None if error.window in ("minute", "moment") else "limit"
    if error.trouble == "page":
        return "terms" if state.failures >= _STEPS["page"].failures else None
    return error.trouble if error.trouble in ("shut out", "terms") else None


def _held_until(state: ServiceState, error: WeatherError, now: datetime) -> datetime | None:
    """Until when it is not asked after this failure; None: it is asked as before."""
    asked_for = None if error.retry_after_s is None else now + timedelta(seconds=min(error.retry_after_s, LONGEST_PAUSE.total_seconds()))
    if error.trouble == "limit":
        until = window_ends(error.window, now)
        return min(now + LONGEST_PAUSE, until if asked_for is None else asked_for if error.window is None else max(until, asked_for))
    steps = _STEPS[error.trouble]
    over = state.failures - steps.failures
    if over < 0:
        return asked_for
    until = now + min(steps.longest, steps.first * 2 ** min(over, 10))
    return until if asked_for is None else max(until, asked_for)


def window_ends(window: Window | None, now: datetime) -> datetime:
    """When a limit is over: with the clock minute, the clock hour or the UTC day; a moment and an unknown one after a fixed time."""
    minute = now.astimezone(UTC).replace(second=0, microsecond=0)
    if window == "minute":
        return minute + timedelta(minutes=1)
    if window == "hour":
        return minute.replace(minute=0) + timedelta(hours=1)
    if window == "day":
        return minute.replace(hour=0, minute=0) + timedelta(days=1)
    return now + (_MOMENT if window == "moment" else _UNSAID)
