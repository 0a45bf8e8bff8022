"""May this surface be booked at that time? Worked out when it is asked, by the light part of advice, from what is stored."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request, Response

from forecaster.advice.booking import HOURS_AT_MOST, SLOT_DAYS, check_booking
from forecaster.advice.play import BookingData, Reason
from forecaster.documents import GroundSummary, SurfaceSummary
from forecaster.errors import NotFound, StorageError
from forecaster.records import KEEP_OFF_DAYS_AT_MOST, FruitBodies, Moment
from forecaster.storage.records import RecordQuery
from forecaster.web.ages import weather_at
from forecaster.web.answers import BookingAnswer, BookingReason, BookingSlot
from forecaster.web.conditional import NOT_CHANGED, told
from forecaster.web.entering import Mistakes
from forecaster.web.lookup import GroundId, SurfaceId, ground_or_missing, surface_or_missing
from forecaster.web.problems import openapi_problem
from forecaster.web.reading import Store
from forecaster.web.recorded import StoredRecords

ALERTS_READ = 1000

_ANSWERS = {**NOT_CHANGED, **openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)}
StartsAt = Annotated[Moment, Query(description="Start, with its offset; from now on", examples=["2026-09-12T08:30:00Z"])]
EndsAt = Annotated[
    Moment, Query(description=f"End, with its offset; {HOURS_AT_MOST} hours after the start at most", examples=["2026-09-12T10:00:00Z"])
]


def add_booking_route(router: APIRouter, store: Store, records: StoredRecords, now: Callable[[], datetime], *, limit_hours: float) -> None:
    """The booking check."""

    @router.get("/grounds/{ground}/surfaces/{surface}/booking-check", tags=["surfaces"], response_model=BookingAnswer, responses=_ANSWERS)
    def check(
        request: Request,
        ground: GroundId,
        surface: SurfaceId,
        starts_at_utc: StartsAt,
        ends_at_utc: EndsAt,
        children: Annotated[bool, Query(description="Children play: toadstools are looked for")] = False,
    ) -> Response:
        """Nothing against it, look first, keep off or not known, with reasons and the nearest better slot. It speaks of our data."""
        found = ground_or_missing(store, ground)
        summary = surface_or_missing(found, surface)
        moment, mistakes = now(), Mistakes("query")
        if starts_at_utc < moment:
            mistakes.add("starts_at_utc", "this has passed: ask about a time to come")
        if not timedelta(0) < ends_at_utc - starts_at_utc <= timedelta(hours=HOURS_AT_MOST):
            mistakes.add("ends_at_utc", f"after the start, {HOURS_AT_MOST} hours at most")
        mistakes.raise_if_any()
        limits = store.booking_limits()
        if limits is None:
            raise StorageError("the limits of the booking check have not been stored yet", hint="Run one cycle: it writes them.")
        data = booking_data(store, records, found, summary, moment, limit_hours=limit_hours)
        done = check_booking(data, limits, starts_at=starts_at_utc, ends_at=ends_at_utc, children=children)
        better = done.better
        answer = BookingAnswer(
            ground_id=found.id,
            surface_id=summary.id,
            starts_at_utc=starts_at_utc,
            ends_at_utc=ends_at_utc,
            children=children,
            verdict=done.verdict,
            text=done.text,
            reasons=_told(done.reasons),
            resolution=done.resolution,
            better_slot=None
            if better is None
            else BookingSlot(
                starts_at_utc=better.starts_at, ends_at_utc=better.ends_at, verdict=better.verdict, reasons=_told(better.reasons)
            ),
            better_slot_within_days=SLOT_DAYS,
            assumptions=done.assumptions,
            outlook_issued_at_utc=None if data.outlook is None else data.outlook.issued_at_utc,
            answered_at_utc=moment,
            weather=data.weather,
        )
        return told(request, answer)


def booking_data(
    store: Store, records: StoredRecords, ground: GroundSummary, surface: SurfaceSummary, now: datetime, *, limit_hours: float
) -> BookingData:
    """What is stored of one surface, as the check takes it."""
    outlook = store.outlook(ground.id, surface.id)
    recent = RecordQuery(surface_id=surface.id, since=now - timedelta(days=KEEP_OFF_DAYS_AT_MOST))
    observed = [placed.record.observation for placed in records.many(ground.id, "observation", recent)]
    return BookingData(
        outlook=outlook,
        weather=weather_at(outlook, now, limit_hours=limit_hours),
        time_zone=ZoneInfo(ground.time_zone),
        alerts=[a for a in store.alerts(ground.id, include_ended=False, limit=ALERTS_READ) if a.surface_id == surface.id],
        applications=[placed.record.application for placed in records.many(ground.id, "application", recent)],
        fruit_bodies=[seen for seen in observed if isinstance(seen, FruitBodies)],
        fixtures=[fixture for fixture in ground.fixtures if fixture.surface_id == surface.id],
        now=now,
    )


def _told(reasons: tuple[Reason, ...]) -> tuple[BookingReason, ...]:
    return tuple(BookingReason(code=r.code, verdict=r.verdict, text=r.text, basis=r.basis) for r in reasons)
