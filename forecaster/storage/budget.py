"""What may still be asked of a weather service: counted here, and shared by all processes, so that we stop before the service has to.

The service clears its counters on the clock minute, the clock hour and at 00:00 UTC; so do we. One row per service and window.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal, cast

from sqlalchemy import ColumnElement, CursorResult, Engine, and_, case, not_, or_, select, true, update
from sqlalchemy.orm import Session

from forecaster.errors import WeatherRefused
from forecaster.storage.ahead import AHEAD
from forecaster.storage.database import reading, transaction
from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import RequestBudgetRow as Row

Span = Literal["minute", "hour", "day"]
LENGTHS: dict[Span, timedelta] = {"minute": timedelta(minutes=1), "hour": timedelta(hours=1), "day": timedelta(days=1)}
# Weights are sums of fractions: what fits exactly must not fail by the last bit.
_ROUNDING = 1e-6


@dataclass(frozen=True)
class UsedUp:
    """The window that has no room for a request, and when the next one begins (UTC)."""

    span: Span
    until: datetime


@dataclass(frozen=True)
class RequestBudget:
    """The budget of one service in one database. ``limits``: weight allowed per window, as the service publishes it.

    Promise: any number of processes on the same database never take more than the limits together, as long as their clocks agree.
    Every call is a transaction of its own: not to be called inside another one that writes. Raises: StorageError.
    """

    engine: Engine
    service: str
    limits: Mapping[Span, float]
    clock: Callable[[], datetime]
    """The time in UTC at the moment of asking; a long cycle passes many minutes."""

    def take(self, weight: float, *, now: datetime) -> UsedUp | None:
        """Take the weight from every window, or from none: then says which is used up, the one that lasts longest.

        Raises: WeatherRefused where the weight would not even fit an empty window.
        """
        for span, limit in self.limits.items():
            if weight > limit + _ROUNDING:
                raise WeatherRefused(
                    f"a request of weight {weight:g} is more than {self.service} allows in a {span} ({limit:g})",
                    source=self.service,
                    hint="Ask for fewer places or days at a time.",
                )
        full = None
        try:
            with transaction(self.engine) as session:
                full = self._take_all(session, weight, now)
                if full is not None:
                    raise _NothingTaken
        except _NothingTaken:
            return full
        return None

    def give_back(self, weight: float, *, taken_at: datetime) -> None:
        """The service counted less than was taken (an error answer, a request that never arrived). A past window is left alone."""
        with transaction(self.engine) as session:
            for span in self.limits:
                same = Row.starts_at == window_start(span, taken_at)
                self._change(session, span, same, used=case((Row.used > weight, Row.used - weight), else_=0.0))

    def fill(self, span: Span, *, now: datetime) -> None:
        """The service says that a window is used up (others behind our address ask too): nothing more until the next one."""
        if span not in self.limits:
            return
        limit, start, current = self.limits[span], window_start(span, now), _current(span, now)
        with transaction(self.engine) as session:
            self._make_row(session, span, start)
            used = case((and_(current, Row.used > limit), Row.used), else_=limit)
            self._change(session, span, true(), used=used, starts_at=case((current, Row.starts_at), else_=start))

    def used(self, *, now: datetime) -> dict[Span, float]:
        """Weight taken in each current window."""
        with reading(self.engine) as session:
            found = {
                span: session.scalar(select(Row.used).where(Row.service == self.service, Row.span == span, _current(span, now)))
                for span in self.limits
            }
        return {span: used or 0.0 for span, used in found.items()}

    def _take_all(self, session: Session, weight: float, now: datetime) -> UsedUp | None:
        full: list[UsedUp] = []
        for span, limit in self.limits.items():
            start, current = window_start(span, now), _current(span, now)
            self._make_row(session, span, start)
            fits = or_(not_(current), Row.used + weight <= limit + _ROUNDING)
            used = case((current, Row.used + weight), else_=weight)
            if not self._change(session, span, fits, used=used, starts_at=case((current, Row.starts_at), else_=start)):
                full.append(UsedUp(span, start + LENGTHS[span]))
        return max(full, key=lambda used_up: used_up.until, default=None)

    def _make_row(self, session: Session, span: Span, start: datetime) -> None:
        row = {"service": self.service, "span": span, "starts_at": start, "used": 0.0}
        insert_or_ignore(session, Row, row, key=("service", "span"))

    def _change(self, session: Session, span: Span, where: ColumnElement[bool], **values: ColumnElement[Any]) -> bool:
        statement = update(Row).where(Row.service == self.service, Row.span == span, where).values(**values)
        result = session.execute(statement.execution_options(synchronize_session=False))
        return cast("CursorResult[Any]", result).rowcount == 1


@dataclass(frozen=True)
class PartBudget:
    """A budget of which one kind of question may take a part only, so that it never leaves nothing for the others. Raises: as its two."""

    whole: RequestBudget
    part: RequestBudget

    @property
    def clock(self) -> Callable[[], datetime]:
        return self.whole.clock

    def take(self, weight: float, *, now: datetime) -> UsedUp | None:
        """Take from both or from neither."""
        if used_up := self.part.take(weight, now=now):
            return used_up
        if used_up := self.whole.take(weight, now=now):
            self.part.give_back(weight, taken_at=now)
            return used_up
        return None

    def give_back(self, weight: float, *, taken_at: datetime) -> None:
        """The service counted less than was taken."""
        self.part.give_back(weight, taken_at=taken_at)
        self.whole.give_back(weight, taken_at=taken_at)

    def fill(self, span: Span, *, now: datetime) -> None:
        """The service says that a window is used up: nobody asks."""
        self.whole.fill(span, now=now)


class _NothingTaken(Exception):
    """Rolls back what the other windows gave."""


def window_start(span: Span, now: datetime) -> datetime:
    """When the window began that holds ``now``: the clock minute, the clock hour, 00:00 UTC."""
    minute = now.astimezone(UTC).replace(second=0, microsecond=0)
    if span == "minute":
        return minute
    return minute.replace(minute=0) if span == "hour" else minute.replace(minute=0, hour=0)


def _current(span: Span, now: datetime) -> ColumnElement[bool]:
    """The row is of this window, or of one that a clock a little ahead of ours has begun; what a wrong clock left far ahead is not."""
    return and_(Row.starts_at >= window_start(span, now), Row.starts_at <= now + min(LENGTHS[span], AHEAD))
