"""The events of a ground's calendar: kept work windows, and keep-off times as people entered them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Protocol

from forecaster.documents import GroundSummary
from forecaster.feeds.calendar import CalendarEvent


class KeptWindow(Protocol):
    """A work window as storage keeps it."""

    @property
    def uid(self) -> str: ...
    @property
    def starts_at(self) -> datetime: ...
    @property
    def ends_at(self) -> datetime: ...
    @property
    def summary(self) -> str: ...
    @property
    def description(self) -> str: ...
    @property
    def sequence(self) -> int: ...
    @property
    def changed_at(self) -> datetime: ...
    @property
    def cancelled(self) -> bool: ...


class EnteredKeepOff(Protocol):
    """A keep-off time as storage reads it."""

    @property
    def record_id(self) -> str: ...
    @property
    def surface_id(self) -> str: ...
    @property
    def product(self) -> str: ...
    @property
    def from_utc(self) -> datetime: ...
    @property
    def until_utc(self) -> datetime: ...
    @property
    def version(self) -> int: ...
    @property
    def changed_at(self) -> datetime: ...
    @property
    def deleted(self) -> bool: ...


def feed_events(ground: GroundSummary, windows: Iterable[KeptWindow], off: Iterable[EnteredKeepOff]) -> tuple[CalendarEvent, ...]:
    """All events of a ground; one that was called off stays in, marked, so that calendars take it out."""
    names = {surface.id: surface.name for surface in ground.surfaces}
    return (
        *(
            CalendarEvent(w.uid, w.sequence, w.changed_at, w.starts_at, w.ends_at, w.summary, w.description, False, w.cancelled)
            for w in windows
        ),
        *(_keep_off(one, ground, names.get(one.surface_id, one.surface_id)) for one in off),
    )


def _keep_off(one: EnteredKeepOff, ground: GroundSummary, surface: str) -> CalendarEvent:
    return CalendarEvent(
        uid=f"keep-off.{one.record_id}.{ground.id}@calendar.invalid",
        sequence=one.version - 1,
        stamped_at=one.changed_at,
        starts_at=one.from_utc,
        ends_at=one.until_utc,
        summary=f"{surface}: keep off",
        description=f"{one.product} was put down. The time is what was entered from the label; the label decides.",
        busy=True,
        cancelled=one.deleted,
    )
