"""The API's answer to what is known of a ground's weather."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from fastapi import APIRouter, Request, Response

from forecaster.errors import NotFound, StorageError
from forecaster.web.ages import ground_weather
from forecaster.web.answers import WeatherReportAnswer
from forecaster.web.conditional import NOT_CHANGED, told
from forecaster.web.lookup import GroundId, ground_or_missing
from forecaster.web.problems import openapi_problem
from forecaster.web.reading import Store
from forecaster.web.standing import outlooks_of


def add_weather_report_route(router: APIRouter, store: Store, now: Callable[[], datetime], *, limit_hours: float) -> None:
    """The same as ``forecaster weather`` prints, as the last cycle found it."""

    @router.get(
        "/grounds/{ground}/weather/report",
        tags=["grounds"],
        response_model=WeatherReportAnswer,
        responses={**NOT_CHANGED, **openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)},
    )
    def show_weather_report(request: Request, ground: GroundId) -> Response:
        """Sources and their age, what is missing, what was not used and why with what stood there, and where sources differ."""
        found = ground_or_missing(store, ground)
        report = store.weather_report(found.id)
        if report is None:
            raise NotFound(f"Nothing is stored of the weather of {found.name} yet.", hint="The first cycle stores it.")
        moment = now()
        weather = ground_weather(found, outlooks_of(store, found), moment, limit_hours=limit_hours)
        return told(request, WeatherReportAnswer(report=report, answered_at_utc=moment, weather=weather))
