"""Requests made from the API's own description, sound and spoilt: each answer is one that the description promises.

A real database lies behind it, so that what is entered is found again, changed and deleted. Seeded: the same requests in every run. What a
description cannot say (which surfaces there are, that an end lies after its start) is filled in where requests are to be sound.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode, openapi
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup

from forecaster.web.access import Doors
from tests.web import builders
from tests.web.full_service import OPEN, filled_database, full_app

SEEDED = settings(
    max_examples=12, deadline=None, database=None, suppress_health_check=list(HealthCheck), phases=[Phase.explicit, Phase.generate]
)
# Times that lie behind the clock of the test: what lies ahead of it cannot have been put down or seen yet.
_LAST = builders.NOW.replace(tzinfo=None)
openapi.format("date-time", st.datetimes(_LAST.replace(year=2020), _LAST).map(lambda moment: f"{moment.isoformat(timespec='seconds')}Z"))
openapi.format("date", st.dates(_LAST.replace(year=2020).date(), _LAST.date()).map(str))


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    with filled_database(tmp_path_factory.mktemp("described")) as engine:
        yield full_app(engine, doors=Doors(public_url="http://testserver"))


def later(moment: str, **by: int) -> str:
    return (datetime.fromisoformat(moment) + timedelta(**by)).isoformat()


def make_sound(case: Case, entered: dict[str, list[str]]) -> None:
    """Fill in what the description cannot say. ``entered``: ids of records by the address of their list."""
    path = case.path_parameters
    if "ground" in path:
        path["ground"] = "thistlefold"
    if "surface" in path:
        path["surface"] = "main-pitch"
    if "alert" in path:
        path["alert"] = OPEN
    if "record" in path:
        known = entered.get(case.operation.path.removesuffix("/{record}"), [])
        path["record"] = known[len(path["record"]) % len(known)] if known else path["record"]
    case.query.pop("next", None)
    if "If-Match" in case.headers or case.method in ("PUT", "DELETE"):
        case.headers["If-Match"] = "*"
    if "booking-check" in case.operation.path:
        case.query["starts_at_utc"] = later(case.query["starts_at_utc"], days=7 * 366)
        case.query["ends_at_utc"] = later(case.query["starts_at_utc"], hours=2)
    if isinstance(case.body, dict):
        fit_together(case.body)


def fit_together(body: dict[str, Any]) -> None:
    if "surface_id" in body:
        body["surface_id"], body["ring_id"] = "main-pitch", None
        if "starts_at_utc" in body or "surveyed" in body:
            del body["ring_id"]
    if "starts_at_utc" in body:
        body["ends_at_utc"] = later(body["starts_at_utc"], hours=2)
    if body.get("keep_off_until_utc"):
        body["keep_off_until_utc"] = later(body["applied_at_utc"], days=3)
    if "band_width_m" in body:
        body["band_width_m"] = min(body["band_width_m"], body["diameter_m"] / 2)
    if "until_utc" in body:
        body["until_utc"] = later(builders.NOW.isoformat(), days=3)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_every_answer_is_as_described(app: FastAPI, mode: GenerationMode) -> None:
    schema = openapi.from_asgi("/api/v1/openapi.json", app)
    wrong: dict[str, str] = {}
    statuses: dict[str, Counter[int]] = {}
    entered: dict[str, list[str]] = {}
    for found in schema.get_all_operations():
        operation = found.ok()
        if mode is GenerationMode.NEGATIVE and not (list(operation.iter_parameters()) or operation.body):
            continue  # nothing that could be spoilt

        @seed(20260910)
        @SEEDED
        @given(case=operation.as_strategy(generation_mode=mode))
        def ask(case: Case) -> None:
            if mode is GenerationMode.POSITIVE:
                make_sound(case, entered)
            answer = case.call()
            statuses.setdefault(case.operation.label, Counter())[answer.status_code] += 1
            if case.method == "POST" and answer.status_code == 201:
                entered.setdefault(case.operation.path, []).append(answer.json()["id"])
            case.validate_response(answer, excluded_checks=[not_a_server_error] if case.path.endswith("/ready") else [])

        try:
            ask()
        except FailureGroup as failures:
            wrong[operation.label] = str(failures)
    print(f"{sum(sum(counted.values()) for counted in statuses.values())} requests to {len(statuses)} operations")
    assert wrong == {}
    if mode is GenerationMode.POSITIVE:
        # Deep enough to tell something: every operation did what it is for, and did it at least once. No cycle explained this ground or
        # reported on its weather.
        # The service is not ready either: no process does what is due. Its answer 503 is the one that its description promises for that.
        idle = {name for name, counted in statuses.items() if not any(status < 300 for status in counted)}
        untold = {"GET /api/v1/grounds/{ground}/surfaces/{surface}/explanation", "GET /api/v1/grounds/{ground}/weather/report"}
        assert idle == untold | {"GET /api/v1/ready"}
