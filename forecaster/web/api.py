"""The API under /api/v1: it reads what is stored and computes nothing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Literal

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from forecaster.documents import GroundSummary
from forecaster.errors import ForecasterError, NotFound, StorageError
from forecaster.web.ages import ground_weather, hours_between, local_day, weather_at, worst_weather
from forecaster.web.alert_routes import add_alert_routes
from forecaster.web.answers import (
    GroundAnswer,
    GroundHealth,
    GroundMail,
    GroundsAnswer,
    HealthAnswer,
    MailTrouble,
    OffAddress,
    OutlookAnswer,
    SurfaceAnswer,
    SurfacesAnswer,
)
from forecaster.web.booking_routes import add_booking_route
from forecaster.web.conditional import NOT_CHANGED, told
from forecaster.web.explanation_route import add_explanation_route
from forecaster.web.lookup import GroundId, SurfaceId, ground_or_missing, surface_or_missing
from forecaster.web.model_routes import PastDays, add_model_routes
from forecaster.web.paging import PAGE, Limit, Next, page_in_order, place_after
from forecaster.web.problems import KINDS, openapi_problem
from forecaster.web.reading import Store
from forecaster.web.ready import ReadyAnswers, to_the_minute
from forecaster.web.record_routes import add_record_routes
from forecaster.web.recorded import StoredRecords
from forecaster.web.rounding import rounded
from forecaster.web.standing import grounds_worst_first, outlooks_of, standing_of, surfaces_worst_first
from forecaster.web.visitor import visible_grounds
from forecaster.web.weather_report_route import add_weather_report_route

PREFIX = "/api/v1"
MAIL_DAYS = 7

_PAGED = openapi_problem("request-invalid", StorageError.slug)
_MISSING = openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)
_INVALID = openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)


def api_router(store: Store, records: StoredRecords | None, now: Callable[[], datetime], *, limit_hours: float) -> APIRouter:
    """All routes of the API over a store. ``records``: None for one that only reads what cycles stored."""
    router = APIRouter(prefix=PREFIX)
    ready = ReadyAnswers()
    add_alert_routes(router, store, records, ready, now, limit_hours=limit_hours)
    add_model_routes(router, store, records, now, limit_hours=limit_hours)
    if records is not None:
        add_booking_route(router, store, records, now, limit_hours=limit_hours)
        add_record_routes(router, store, records, now, limit_hours=limit_hours)

    @router.get("/", tags=["service"])
    def list_addresses() -> dict[str, str]:
        """Where to begin."""
        return {name: f"{PREFIX}/{name}" for name in ("grounds", "health", "problems", "openapi.json")}

    @router.get("/grounds", tags=["grounds"], response_model=GroundsAnswer, responses={**NOT_CHANGED, **_PAGED})
    def list_grounds(request: Request, limit: Limit = PAGE, next: Next = None) -> Response:
        """All grounds, worst first."""
        after, moment = place_after(next), now()
        every = tuple(grounds_worst_first(store, visible_grounds(request, store), moment, limit_hours=limit_hours))
        weather = worst_weather([item.weather for item in every] or [weather_at(None, moment)])
        items, following = page_in_order(every, after, limit, id_of=lambda item: item.id)
        return told(request, GroundsAnswer(items=tuple(items), next=following, answered_at_utc=moment, weather=weather))

    @router.get("/grounds/{ground}", tags=["grounds"], response_model=GroundAnswer, responses={**NOT_CHANGED, **_MISSING})
    def show_ground(request: Request, ground: GroundId) -> Response:
        """One ground as it is described, with its surfaces and fixtures."""
        found = ground_or_missing(store, ground)
        outlooks = outlooks_of(store, found)
        moment = now()
        weather = ground_weather(found, outlooks, moment, limit_hours=limit_hours)
        return told(request, GroundAnswer(ground=found, answered_at_utc=moment, weather=weather))

    @router.get("/grounds/{ground}/surfaces", tags=["surfaces"], response_model=SurfacesAnswer, responses={**NOT_CHANGED, **_INVALID})
    def list_surfaces(request: Request, ground: GroundId, limit: Limit = PAGE, next: Next = None) -> Response:
        """The surfaces of a ground, worst first."""
        after = place_after(next)
        found = ground_or_missing(store, ground)
        outlooks = outlooks_of(store, found)
        moment = now()
        weather = ground_weather(found, outlooks, moment, limit_hours=limit_hours)
        items, following = page_in_order(tuple(surfaces_worst_first(found, outlooks)), after, limit, id_of=lambda item: item.surface.id)
        answer = SurfacesAnswer(ground_id=found.id, items=tuple(items), next=following, answered_at_utc=moment, weather=weather)
        return told(request, answer)

    @router.get(
        "/grounds/{ground}/surfaces/{surface}", tags=["surfaces"], response_model=SurfaceAnswer, responses={**NOT_CHANGED, **_MISSING}
    )
    def show_surface(request: Request, ground: GroundId, surface: SurfaceId) -> Response:
        """One surface and how it stands."""
        found = ground_or_missing(store, ground)
        summary = surface_or_missing(found, surface)
        outlook = store.outlook(found.id, summary.id)
        moment = now()
        weather = weather_at(outlook, moment, limit_hours=limit_hours)
        answer = SurfaceAnswer(ground_id=found.id, standing=standing_of(summary, outlook), answered_at_utc=moment, weather=weather)
        return told(request, answer)

    @router.get(
        "/grounds/{ground}/surfaces/{surface}/outlook",
        tags=["surfaces"],
        response_model=OutlookAnswer,
        responses={**NOT_CHANGED, **_INVALID},
    )
    def show_outlook(
        request: Request,
        ground: GroundId,
        surface: SurfaceId,
        past_days: PastDays = 0,
    ) -> Response:
        """Today and the coming 14 days with signals and reasons. Send If-None-Match to ask only for news."""
        moment = to_the_minute(now())

        def render() -> OutlookAnswer:
            return _outlook_answer(store, ground, surface, past_days, moment, limit_hours=limit_hours)

        mark = store.outlook_mark(ground, surface)
        if mark is None:
            return told(request, render())
        return ready.serve(request, ("outlook", ground, surface, past_days), (mark, moment), render)

    add_explanation_route(router, store, now, limit_hours=limit_hours)
    add_weather_report_route(router, store, now, limit_hours=limit_hours)

    @router.get(
        "/health",
        tags=["service"],
        response_model=HealthAnswer,
        responses={
            503: {"description": "A ground had no good cycle lately, or none ever; the numbers are in the body", "model": HealthAnswer},
        },
    )
    def show_health(request: Request) -> Response:
        """When each ground last had a good cycle, on what weather, and how its mails of the last seven days went."""
        moment = now()
        grounds = tuple(health_of(store, ground, moment, limit_hours=limit_hours) for ground in visible_grounds(request, store))
        states = {ground.status for ground in grounds}
        status: Literal["ok", "late", "never"] = "never" if not grounds or "never" in states else "late" if "late" in states else "ok"
        answer = HealthAnswer(status=status, limit_hours=limit_hours, grounds=grounds, answered_at_utc=moment)
        headers = {"Cache-Control": "no-store"}
        return JSONResponse(answer.model_dump(mode="json"), status_code=200 if status == "ok" else 503, headers=headers)

    @router.get("/problems", tags=["service"])
    def list_problems() -> dict[str, dict[str, int | str]]:
        """Every kind of problem document: slug, HTTP status and title."""
        return {slug: {"status": status, "title": title} for slug, (status, title) in KINDS.items() if slug != ForecasterError.slug}

    return router


def _outlook_answer(
    store: Store, ground_id: str, surface_id: str, past_days: int, moment: datetime, *, limit_hours: float
) -> OutlookAnswer:
    found = ground_or_missing(store, ground_id)
    summary = surface_or_missing(found, surface_id)
    stored = store.outlook(found.id, summary.id)
    if stored is None:
        raise NotFound(f"There is no outlook of {summary.name} yet.", hint="The first cycle makes one; /api/v1/health tells when it ran.")
    outlook = stored.model_copy(update={"days": tuple(d for d in stored.days if d.lead_days >= -past_days)})
    weather = weather_at(stored, moment, limit_hours=limit_hours)
    age = hours_between(stored.issued_at_utc, moment)
    return rounded(OutlookAnswer(outlook=outlook, outlook_age_hours=age, answered_at_utc=moment, weather=weather))


def health_of(store: Store, ground: GroundSummary, now: datetime, *, limit_hours: float) -> GroundHealth:
    """The health of one ground: "never" without a good cycle, "late" when the last good one is older than the limit."""
    cycle = store.last_cycle(ground.id)
    outlooks = outlooks_of(store, ground)
    good = None if cycle is None else cycle.good_at_utc
    age = None if good is None else hours_between(good, now)
    status: Literal["ok", "late", "never"] = "never" if age is None else "late" if age > limit_hours else "ok"
    return GroundHealth(
        ground_id=ground.id,
        ground_name=ground.name,
        status=status,
        last_good_at_utc=good,
        last_good_age_hours=age,
        last_tried_at_utc=None if cycle is None else cycle.tried_at_utc,
        problem=None if cycle is None else cycle.problem,
        outlook_day=max((o.today for o in outlooks.values()), default=None),
        weather=ground_weather(ground, outlooks, now, limit_hours=limit_hours),
        mail=_mail_of(store, ground, now),
    )


def _mail_of(store: Store, ground: GroundSummary, now: datetime) -> GroundMail:
    since = local_day(ground, now) - timedelta(days=MAIL_DAYS - 1)
    mail = store.mail(ground.id, since=since)
    newest = mail.problems[0] if mail.problems else None
    return GroundMail(
        since=since,
        waiting=mail.waiting,
        sent=mail.sent,
        failed=mail.failed,
        expired=mail.expired,
        newest_problem=None
        if newest is None
        else MailTrouble(local_day=newest.local_day, end=newest.end, recipient=newest.recipient, reason=newest.reason),
        off=tuple(OffAddress(recipient=one.recipient, reason=one.reason, detail=one.detail, since=one.since) for one in mail.off),
    )
