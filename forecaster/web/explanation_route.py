"""The API's answer to why each rule did or did not speak of a surface on one day."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from forecaster.errors import NotFound, StorageError
from forecaster.web.ages import weather_at
from forecaster.web.answers import ExplanationAnswer
from forecaster.web.conditional import NOT_CHANGED, told
from forecaster.web.lookup import GroundId, SurfaceId, ground_or_missing, surface_or_missing
from forecaster.web.problems import openapi_problem
from forecaster.web.reading import Store


def add_explanation_route(router: APIRouter, store: Store, now: Callable[[], datetime], *, limit_hours: float) -> None:
    """The same as ``forecaster explain`` prints."""

    @router.get(
        "/grounds/{ground}/surfaces/{surface}/explanation",
        tags=["surfaces"],
        response_model=ExplanationAnswer,
        responses={**NOT_CHANGED, **openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)},
    )
    def show_explanation(
        request: Request,
        ground: GroundId,
        surface: SurfaceId,
        day: Annotated[date | None, Query(description="A local day of the newest outlook; its today where none is named")] = None,
    ) -> Response:
        """Which rules looked at which numbers on a day, and why each did or did not speak."""
        found = ground_or_missing(store, ground)
        summary = surface_or_missing(found, surface)
        stored = store.explanation(found.id, summary.id)
        if stored is None:
            raise NotFound(
                f"Nothing is stored of {summary.name} yet.", hint="The first cycle explains it; /api/v1/health tells when it ran."
            )
        moment, asked = now(), stored.today if day is None else day
        explained = next((one for one in stored.days if one.day == asked), None)
        if explained is None:
            known = f"{stored.days[0].day} to {stored.days[-1].day}" if stored.days else "none"
            raise NotFound(f"{asked} is not in the newest outlook of {summary.name}.", hint=f"Its days: {known}.")
        return told(
            request,
            ExplanationAnswer(
                ground_id=found.id,
                surface_id=summary.id,
                issued_at_utc=stored.issued_at_utc,
                rules=stored.rules,
                explained=explained,
                answered_at_utc=moment,
                weather=weather_at(store.outlook(found.id, summary.id), moment, limit_hours=limit_hours),
            ),
        )
