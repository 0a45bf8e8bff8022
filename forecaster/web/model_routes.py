"""What lies behind an outlook: the weather of its days, the state of the soil, the rules, the messages and how forecasts scored."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from forecaster.documents import OutlookDay, SurfaceOutlook
from forecaster.errors import NotFound, StorageError
from forecaster.quantities import TurfState
from forecaster.web.ages import ground_weather
from forecaster.web.answers import (
    MessageHeadAnswer,
    MessagesAnswer,
    RulesAnswer,
    ScoresAnswer,
    SoilState,
    StateAnswer,
    WeatherAnswer,
    WeatherDay,
)
from forecaster.web.conditional import NOT_CHANGED, told
from forecaster.web.lookup import GroundId, ground_or_missing
from forecaster.web.mail import masked
from forecaster.web.paging import Limit, Next, SurfaceFilter, cut, place_after
from forecaster.web.problems import openapi_problem
from forecaster.web.reading import Store
from forecaster.web.recorded import StoredRecords
from forecaster.web.rounding import rounded
from forecaster.web.standing import outlooks_of

PAST_DAYS_AT_MOST = 60

_GROUND = {**NOT_CHANGED, **openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)}
_SERVICE = {**NOT_CHANGED, **openapi_problem(StorageError.slug)}
PastDays = Annotated[int, Query(ge=0, le=PAST_DAYS_AT_MOST, description="Past days to add before today", examples=[0])]


def add_model_routes(
    router: APIRouter, store: Store, records: StoredRecords | None, now: Callable[[], datetime], *, limit_hours: float
) -> None:
    """The routes behind an outlook. ``records``: what people entered, None where nothing can be."""

    @router.get("/grounds/{ground}/weather", tags=["grounds"], response_model=WeatherAnswer, responses=_GROUND)
    def show_weather(request: Request, ground: GroundId, past_days: PastDays = 0) -> Response:
        """The weather of today and the coming days, day by day: observed, modelled, forecast or missing, and what had to be estimated."""
        found = ground_or_missing(store, ground)
        outlooks = outlooks_of(store, found)
        moment = now()
        newest = max(outlooks.values(), key=lambda o: o.issued_at_utc, default=None)
        days = () if newest is None else tuple(_weather_day(d) for d in newest.days if d.lead_days >= -past_days)
        answer = WeatherAnswer(
            ground_id=found.id,
            time_zone=found.time_zone,
            days=days,
            issued_at_utc=None if newest is None else newest.issued_at_utc,
            answered_at_utc=moment,
            weather=ground_weather(found, outlooks, moment, limit_hours=limit_hours),
        )
        return told(request, rounded(answer))

    @router.get("/grounds/{ground}/state", tags=["surfaces"], response_model=StateAnswer, responses=_GROUND)
    def show_state(request: Request, ground: GroundId, surface: SurfaceFilter = None) -> Response:
        """Soil and turf of each surface, sound and band, at the end of the last day that is over. Simulated, not measured."""
        found = ground_or_missing(store, ground)
        outlooks = outlooks_of(store, found)
        moment = now()
        asked = [outlooks[s.id] for s in found.surfaces if s.id in outlooks and surface in (None, s.id)]
        answer = StateAnswer(
            ground_id=found.id,
            time_zone=found.time_zone,
            items=tuple(state for outlook in asked for state in _states(outlook)),
            answered_at_utc=moment,
            weather=ground_weather(found, outlooks, moment, limit_hours=limit_hours),
        )
        return told(request, rounded(answer))

    @router.get("/rules", tags=["rules"], response_model=RulesAnswer, responses=_SERVICE)
    def list_rules(request: Request) -> Response:
        """The rules as they are configured: limits, words, source, and whether a rule is on trial."""
        moment = now()
        kept = store.rules()
        answer = RulesAnswer(
            items=() if kept is None else kept[0].rules,
            configured_at_utc=None if kept is None else kept[1],
            answered_at_utc=moment,
        )
        return told(request, answer)

    @router.get("/grounds/{ground}/messages", tags=["messages"], response_model=MessagesAnswer, responses=_GROUND)
    def list_messages(
        request: Request,
        ground: GroundId,
        state: Annotated[
            Literal["waiting", "claimed", "sent", "failed", "expired"] | None, Query(description="Only those that stand there")
        ] = None,
        limit: Limit = 50,
        next: Next = None,
    ) -> Response:
        """What was sent and what was not, and why, newest first. Addresses are masked."""
        after = place_after(next)
        found = ground_or_missing(store, ground)
        heads, following = cut(store.messages(found.id, status=state, after=after, limit=limit + 1), limit)
        moment = now()
        items = tuple(
            MessageHeadAnswer(
                id=head.id,
                kind=head.kind,
                local_day=head.local_day,
                recipient=masked(head.recipient),
                subject=head.subject,
                state=head.status,
                reason=masked(head.last_error or ""),
                attempts=head.attempts,
                written_at_utc=head.happened_at,
                sent_at_utc=head.sent_at,
                of_use_until_utc=head.expires_at,
            )
            for head in heads
        )
        weather = ground_weather(found, outlooks_of(store, found), moment, limit_hours=limit_hours)
        return told(request, MessagesAnswer(ground_id=found.id, items=items, next=following, answered_at_utc=moment, weather=weather))

    @router.get("/grounds/{ground}/scores", tags=["scores"], response_model=ScoresAnswer, responses=_GROUND)
    def show_scores(request: Request, ground: GroundId) -> Response:
        """How forecasts compared with what people saw. Nothing is scored yet: the answer says why, and how much there is to score."""
        found = ground_or_missing(store, ground)
        moment = now()
        seen = 0 if records is None else records.count(found.id, "observation")
        answer = ScoresAnswer(
            ground_id=found.id,
            state="not-scored",
            reason="This version of the program does not compare forecasts with observations yet. Both are kept, so that it can later.",
            observations=seen,
            answered_at_utc=moment,
            weather=ground_weather(found, outlooks_of(store, found), moment, limit_hours=limit_hours),
        )
        return told(request, answer)


def _weather_day(day: OutlookDay) -> WeatherDay:
    return WeatherDay(
        day=day.day,
        lead_days=day.lead_days,
        origin=day.origin,
        rain_mm=day.rain_mm,
        et0_mm=day.et0_mm,
        air_temperature_min_c=day.air_temperature_min_c,
        air_temperature_max_c=day.air_temperature_max_c,
        soil_temperature_c=day.soil_temperature_c,
        estimated=day.estimated,
        estimated_share=day.estimated_share,
    )


def _states(outlook: SurfaceOutlook) -> list[SoilState]:
    """Sound and band at the end of yesterday; of an earlier day where its weather is missing."""
    over = [day for day in outlook.days if day.lead_days < 0 and day.sound is not None and day.band is not None]
    if not over:
        return []
    last = over[-1]
    found = []
    for turf_state, column in ((TurfState.SOUND, last.sound), (TurfState.BAND, last.band)):
        if column is not None:
            found.append(
                SoilState(
                    surface_id=outlook.surface_id,
                    turf_state=turf_state,
                    day=last.day,
                    origin=last.origin,
                    soil_temperature_c=last.soil_temperature_c,
                    issued_at_utc=outlook.issued_at_utc,
                    column=column,
                )
            )
    return found
