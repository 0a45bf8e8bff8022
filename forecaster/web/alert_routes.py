"""Alerts of a ground, and what people say to them: acknowledged, or put off until a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from forecaster.documents import AlertDocument
from forecaster.errors import Conflict, NotFound, StorageError
from forecaster.records import Entry, Moment, Note, Person
from forecaster.web.ages import ground_weather
from forecaster.web.answers import AlertAnswer, AlertsAnswer
from forecaster.web.conditional import NOT_CHANGED, told
from forecaster.web.entering import Mistakes, body_of, body_schema
from forecaster.web.lookup import GroundId, ground_or_missing
from forecaster.web.paging import Limit, Next, SurfaceFilter, page_of, place_after
from forecaster.web.problems import openapi_problem
from forecaster.web.reading import Store
from forecaster.web.ready import ReadyAnswers, to_the_minute
from forecaster.web.recorded import StoredRecords
from forecaster.web.standing import outlooks_of
from forecaster.web.visitor import Visitor, require_write

SNOOZE_DAYS_AT_MOST = 14
"""An alert is put off no longer than the outlook reaches. Status: own choice."""
READ_AT_MOST = 10_000

AlertId = Annotated[
    str,
    Path(
        description="Id of an alert, slashes and all",
        min_length=1,
        max_length=200,
        pattern=r"^[a-z0-9][a-z0-9/-]*$",
        examples=["thistlefold/main-pitch/rings-showing/2026-09-08"],
    ),
]
_LIST = openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)
_UNDO = openapi_problem(NotFound.slug, Conflict.slug, "request-invalid", StorageError.slug)
_MARK = {**_UNDO, **openapi_problem("bad-request", "body-too-large", "media-type-refused")}


class AcknowledgementEntry(Entry):
    """Somebody knows of the alert and sees to it. It ends with the alert, or when the alert gets worse."""

    by: Person
    note: Note = ""


class SnoozeEntry(Entry):
    """The alert is put off; it is told again then, or before if it gets worse."""

    by: Person
    until_utc: Moment
    note: Note = ""


@dataclass(frozen=True)
class _Placed:
    happened_at: datetime
    id: str
    alert: AlertDocument


def add_alert_routes(
    router: APIRouter, store: Store, records: StoredRecords | None, ready: ReadyAnswers, now: Callable[[], datetime], *, limit_hours: float
) -> None:
    """The routes of alerts; without ``records`` they can only be read."""

    @router.get("/grounds/{ground}/alerts", tags=["alerts"], response_model=AlertsAnswer, responses={**NOT_CHANGED, **_LIST})
    def list_alerts(
        request: Request,
        ground: GroundId,
        state: Annotated[Literal["open", "all"], Query(description="Open alerts, or ended ones too")] = "open",
        surface: SurfaceFilter = None,
        limit: Limit = 50,
        next: Next = None,
    ) -> Response:
        """Alerts of a ground, newest first."""
        after = place_after(next)
        moment = to_the_minute(now())

        def render() -> AlertsAnswer:
            found = ground_or_missing(store, ground)
            alerts = store.alerts(found.id, include_ended=state == "all", limit=READ_AT_MOST)
            placed = [_Placed(a.raised_at_utc, a.id, a) for a in alerts if surface in (None, a.surface_id)]
            items, following = page_of(placed, after, limit)
            weather = ground_weather(found, outlooks_of(store, found), moment, limit_hours=limit_hours)
            told_alerts = tuple(placed.alert for placed in items)
            return AlertsAnswer(ground_id=found.id, items=told_alerts, next=following, answered_at_utc=moment, weather=weather)

        mark = store.alerts_mark(ground) if state == "open" else None
        if mark is None:
            return told(request, render())
        return ready.serve(request, ("alerts", ground, surface, limit, after), (mark, moment), render)

    if records is not None:
        _add_marks(router, store, records, now)

    # Last: the id of an alert has slashes in it, so this address would take in all that begin like it.
    @router.get("/grounds/{ground}/alerts/{alert:path}", tags=["alerts"], response_model=AlertAnswer, responses={**NOT_CHANGED, **_LIST})
    def show_alert(request: Request, ground: GroundId, alert: AlertId) -> Response:
        """One alert, open or ended, with what people said to it."""
        found = ground_or_missing(store, ground)
        document = store.alert(found.id, alert)
        moment = now()
        weather = ground_weather(found, outlooks_of(store, found), moment, limit_hours=limit_hours)
        return told(request, AlertAnswer(alert=document, quiet=document.quiet(moment), answered_at_utc=moment, weather=weather))


def _who(visitor: Visitor, stated: str) -> str:
    """Who is noted: whoever the key belongs to, and, where no key is needed, whom the client names."""
    return stated if visitor.by == "machine" else visitor.name


def _add_marks(router: APIRouter, store: Store, records: StoredRecords, now: Callable[[], datetime]) -> None:
    acknowledged, snoozed = Depends(body_of(AcknowledgementEntry)), Depends(body_of(SnoozeEntry))
    place = "/grounds/{ground}/alerts/{alert:path}"

    @router.put(
        f"{place}/acknowledgement",
        tags=["alerts"],
        response_model=AlertDocument,
        responses=_MARK,
        openapi_extra=body_schema(AcknowledgementEntry),
    )
    def acknowledge(request: Request, ground: GroundId, alert: AlertId, entry: Any = acknowledged) -> Response:
        """Say that somebody knows and sees to it: it is not told again as new until it gets worse. The first one stands."""
        found = ground_or_missing(store, ground)
        by = _who(require_write(request, found.id), entry.by)
        return told(request, records.acknowledge(found.id, alert, by=by, note=entry.note))

    @router.delete(f"{place}/acknowledgement", tags=["alerts"], response_model=AlertDocument, responses=_UNDO)
    def take_acknowledgement_back(request: Request, ground: GroundId, alert: AlertId) -> Response:
        """Take an acknowledgement back; who made it and who took it back is kept."""
        found = ground_or_missing(store, ground)
        by = require_write(request, found.id).name
        return told(request, records.take_back(found.id, alert, "acknowledgement", by=by))

    @router.put(f"{place}/snooze", tags=["alerts"], response_model=AlertDocument, responses=_MARK, openapi_extra=body_schema(SnoozeEntry))
    def put_off(request: Request, ground: GroundId, alert: AlertId, entry: Any = snoozed) -> Response:
        """Put an alert off until a time, fourteen days ahead at most. A later one takes the place of an earlier one."""
        found = ground_or_missing(store, ground)
        by = _who(require_write(request, found.id), entry.by)
        moment, mistakes = now(), Mistakes()
        if not moment < entry.until_utc <= moment + timedelta(days=SNOOZE_DAYS_AT_MOST):
            mistakes.add("until_utc", f"a time from now on, {SNOOZE_DAYS_AT_MOST} days ahead at most")
        mistakes.raise_if_any()
        return told(request, records.put_off(found.id, alert, until=entry.until_utc, by=by, note=entry.note))

    @router.delete(f"{place}/snooze", tags=["alerts"], response_model=AlertDocument, responses=_UNDO)
    def take_snooze_back(request: Request, ground: GroundId, alert: AlertId) -> Response:
        """Do not put the alert off any longer; who did and who took it back is kept."""
        found = ground_or_missing(store, ground)
        by = require_write(request, found.id).name
        return told(request, records.take_back(found.id, alert, "snooze", by=by))
