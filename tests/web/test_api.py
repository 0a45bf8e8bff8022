"""The API tells what is stored, how old it is, and every error as a problem document (RFC 9457)."""

from __future__ import annotations

from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from forecaster.errors import StorageError
from forecaster.web.answers import AlertsAnswer, GroundAnswer, GroundsAnswer, HealthAnswer, OutlookAnswer, SurfaceAnswer, SurfacesAnswer
from forecaster.web.app import create_app
from forecaster.web.reading import CycleView
from tests.web import builders

GROUND = "/api/v1/grounds/thistlefold"
OUTLOOK = f"{GROUND}/surfaces/main-pitch/outlook"


def assert_problem(response: object, status: int, slug: str) -> dict[str, object]:
    # RFC 9457, 3.1: the five standard members; "slug" and "errors" are our extensions.
    assert response.status_code == status  # type: ignore[attr-defined]
    assert response.headers["content-type"] == "application/problem+json"  # type: ignore[attr-defined]
    body: dict[str, object] = response.json()  # type: ignore[attr-defined]
    assert {"type", "title", "status", "detail", "instance", "slug"} <= set(body)
    assert body["status"] == status
    assert body["slug"] == slug
    return body


def test_grounds_come_worst_first_and_carry_the_age_of_their_weather(client: TestClient) -> None:
    answer = GroundsAnswer.model_validate(client.get("/api/v1/grounds").json())
    assert [(g.id, g.severity, g.known) for g in answer.items] == [("thistlefold", "Severe", False), ("mossbank", None, False)]
    assert answer.items[0].worst_surface_id == "main-pitch"
    assert [g.worst_surface_known for g in answer.items] == [True, False]
    assert answer.weather.state == "missing"


def test_surfaces_come_worst_first_with_not_known_before_quiet(client: TestClient) -> None:
    answer = SurfacesAnswer.model_validate(client.get(f"{GROUND}/surfaces").json())
    assert [item.surface.id for item in answer.items] == ["main-pitch", "outfield", "bowling-green"]
    assert [item.known for item in answer.items] == [True, False, True]


def test_one_ground_and_one_surface(client: TestClient) -> None:
    ground = GroundAnswer.model_validate(client.get(GROUND).json())
    assert ground.ground == builders.ground()
    surface = SurfaceAnswer.model_validate(client.get(f"{GROUND}/surfaces/bowling-green").json())
    assert surface.standing.headline.endswith("walk it first.")


def test_a_surface_without_an_outlook_is_not_known(client: TestClient) -> None:
    surface = SurfaceAnswer.model_validate(client.get("/api/v1/grounds/mossbank/surfaces/court").json())
    assert not surface.standing.known
    assert surface.weather.state == "missing"
    assert_problem(client.get("/api/v1/grounds/mossbank/surfaces/court/outlook"), 404, "not-found")


def test_the_outlook_has_14_days_and_past_days_on_request(client: TestClient) -> None:
    plain = OutlookAnswer.model_validate(client.get(OUTLOOK).json())
    assert [d.lead_days for d in plain.outlook.days] == list(range(14))
    assert plain.outlook.signals == builders.PITCH_SIGNALS
    assert plain.outlook_age_hours == 1.5  # made 04:10, asked 05:40 UTC
    assert plain.weather.age_hours == 2.2  # weather of 03:30
    longer = OutlookAnswer.model_validate(client.get(OUTLOOK, params={"past_days": 60}).json())
    assert [d.lead_days for d in longer.outlook.days] == list(range(-60, 14))


def test_an_unchanged_outlook_is_not_sent_twice(client: TestClient, store: builders.MemoryStore) -> None:
    tag = client.get(OUTLOOK).headers["etag"]
    for given in (tag, tag.removeprefix("W/"), f'"other", {tag}', "*"):
        again = client.get(OUTLOOK, headers={"If-None-Match": given})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["etag"] == tag
    assert client.get(OUTLOOK, headers={"If-None-Match": '"other"'}).status_code == 200
    assert client.get(OUTLOOK, params={"past_days": 3}, headers={"If-None-Match": tag}).status_code == 200
    store.outlook_list = [o.model_copy(update={"headline": "Something new."}) for o in store.outlook_list]
    assert client.get(OUTLOOK, headers={"If-None-Match": tag}).status_code == 200


def test_an_outlook_that_has_grown_stale_says_so_even_to_who_holds_it(store: builders.MemoryStore) -> None:
    clock = [builders.NOW]
    with TestClient(create_app(store, now=lambda: clock[0]), base_url="http://localhost") as client:
        tag = client.get(OUTLOOK).headers["etag"]
        clock[0] = builders.ISSUED + timedelta(hours=31)
        late = client.get(OUTLOOK, headers={"If-None-Match": tag})
    assert late.status_code == 200
    weather = OutlookAnswer.model_validate(late.json()).weather
    assert weather.state == "stale"
    assert "31 hours old" in weather.text


def test_alerts_are_open_ones_unless_all_are_asked_for(client: TestClient) -> None:
    open_ones = AlertsAnswer.model_validate(client.get(f"{GROUND}/alerts").json())
    assert [a.id for a in open_ones.items] == ["a-2"]
    assert open_ones.weather.state == "missing"
    every = AlertsAnswer.model_validate(client.get(f"{GROUND}/alerts", params={"state": "all"}).json())
    assert [a.id for a in every.items] == ["a-2", "a-1"]


def test_health_is_ok_after_a_good_cycle(client: TestClient) -> None:
    response = client.get("/api/v1/health")
    answer = HealthAnswer.model_validate(response.json())
    assert response.status_code == 200
    assert (answer.status, answer.grounds[0].last_good_age_hours) == ("ok", 1.5)


@pytest.mark.parametrize(
    ("cycle", "status"),
    [
        (None, "never"),
        (CycleView(good_at_utc=None, tried_at_utc=builders.ISSUED, problem="no weather"), "never"),
        (CycleView(good_at_utc=builders.ISSUED - timedelta(hours=30), tried_at_utc=builders.ISSUED, problem="no weather"), "late"),
    ],
)
def test_health_is_503_when_the_last_good_cycle_is_too_old_or_there_is_none(
    client: TestClient, store: builders.MemoryStore, cycle: CycleView | None, status: str
) -> None:
    store.cycle_map["mossbank"] = cycle  # type: ignore[assignment]
    response = client.get("/api/v1/health")
    answer = HealthAnswer.model_validate(response.json())
    assert (response.status_code, answer.status) == (503, status)
    assert {g.ground_id: g.status for g in answer.grounds} == {"mossbank": status, "thistlefold": "ok"}


def test_health_without_grounds_is_503(client: TestClient, store: builders.MemoryStore) -> None:
    store.ground_list = []
    assert client.get("/api/v1/health").status_code == 503
    assert client.get("/api/v1/grounds").json()["items"] == []


@pytest.mark.parametrize(
    "path", ["/api", "/api/v1/nothing", "/api/v1/grounds/nowhere", f"{GROUND}/surfaces/moon", "/api/v1/grounds/nowhere/alerts", "/api/v2/x"]
)
def test_what_does_not_exist_is_a_problem_document(client: TestClient, path: str) -> None:
    body = assert_problem(client.get(path), 404, "not-found")
    assert body["instance"] == path


def test_a_wrong_method_is_a_problem_document_that_says_what_is_allowed(client: TestClient) -> None:
    response = client.post("/api/v1/grounds")
    assert_problem(response, 405, "method-not-allowed")
    assert response.headers["allow"] == "GET"  # RFC 9110, 15.5.6: Allow is required


def test_all_wrong_fields_are_named(client: TestClient) -> None:
    body = assert_problem(client.get(OUTLOOK, params={"past_days": 61}), 422, "request-invalid")
    assert [e["where"] for e in body["errors"]] == ["query.past_days"]  # type: ignore[union-attr, index]
    assert_problem(client.get(OUTLOOK, params={"past_days": "many"}), 422, "request-invalid")
    assert_problem(client.get(f"{GROUND}/alerts", params={"state": "loud"}), 422, "request-invalid")


def test_an_unforeseen_error_tells_nothing_of_the_inside(
    client: TestClient, store: builders.MemoryStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> list[object]:
        raise RuntimeError("secret path /etc/x")

    monkeypatch.setattr(store, "grounds", fail)
    response = client.get("/api/v1/grounds")
    assert_problem(response, 500, "internal-error")
    assert "secret" not in response.text
    assert "default-src 'none'" in response.headers["content-security-policy"]


def test_an_unreadable_store_is_503_with_its_hint(client: TestClient, store: builders.MemoryStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: str) -> None:
        raise StorageError("cannot read the database", hint="Check the disk.")

    monkeypatch.setattr(store, "ground", fail)
    body = assert_problem(client.get(GROUND), 503, "storage-error")
    assert body["hint"] == "Check the disk."


def test_every_kind_of_problem_is_listed_where_its_type_points(client: TestClient) -> None:
    kind = str(client.get("/api/v1/grounds/nowhere").json()["type"])
    address, _, slug = kind.partition("#")
    assert client.get(address).json()[slug]["status"] == 404


def test_the_description_has_an_example_for_every_answer(client: TestClient) -> None:
    paths = client.get("/api/v1/openapi.json").json()["paths"]
    models = {
        "/api/v1/grounds": GroundsAnswer,
        "/api/v1/grounds/{ground}": GroundAnswer,
        "/api/v1/grounds/{ground}/surfaces": SurfacesAnswer,
        "/api/v1/grounds/{ground}/surfaces/{surface}": SurfaceAnswer,
        "/api/v1/grounds/{ground}/surfaces/{surface}/outlook": OutlookAnswer,
        "/api/v1/grounds/{ground}/alerts": AlertsAnswer,
        "/api/v1/health": HealthAnswer,
    }
    for path, model in models.items():
        described = paths[path]["get"]["responses"]
        example = described["200"]["content"]["application/json"]["example"]
        assert model.model_validate(example).model_dump(mode="json") == example
        if path != "/api/v1/health":
            assert "application/problem+json" in described["503"]["content"]
        if "{" in path:
            assert "application/problem+json" in described["404"]["content"]
    assert not [p for p in paths if not p.startswith("/api/v1")]


def test_pages_that_load_scripts_from_elsewhere_are_not_served(client: TestClient) -> None:
    for path in ("/docs", "/redoc"):
        assert client.get(path).status_code == 404


def test_the_api_says_where_it_begins(client: TestClient) -> None:
    for path in client.get("/api/v1/").json().values():
        assert client.get(path).status_code == 200
