"""What people enter over the API: strictly checked, never entered twice, never lost, and not written over by accident."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.web import builders
from tests.web.full_service import filled_database, full_app
from tests.web.test_api import assert_problem

GROUND = "/api/v1/grounds/thistlefold"
DRENCH = {
    "surface_id": "main-pitch",
    "ring_id": "ring-north",
    "kind": "wetting-agent",
    "product": "Wetting agent, first of three",
    "amount": {"value": 5.5, "unit": "l in all"},
    "area_m2": 23.3,
    "applied_at_utc": "2026-09-09T06:30:00+02:00",
    "keep_off_until_utc": "2026-09-10T12:00:00Z",
    "by": "Ada",
    "note": "washed in\nby hand",
}
SEEN = {"surface_id": "main-pitch", "observed_at_utc": "2026-09-10T05:00:00Z", "by": "Ada"}
BOOKED = {
    "surface_id": "outfield",
    "title": "Fathers against sons",
    "starts_at_utc": "2026-09-13T13:00:00Z",
    "ends_at_utc": "2026-09-13T16:00:00Z",
    "by": "office",
}
RING = {
    "surface_id": "outfield",
    "type": 2,
    "centre_x_m": 10.0,
    "centre_y_m": 12.5,
    "diameter_m": 4.0,
    "band_width_m": 0.3,
    "surveyed": "2026-09-09",
    "by": "Ada",
}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with filled_database(tmp_path) as engine, TestClient(full_app(engine), base_url="http://localhost") as opened:
        yield opened


def enter(client: TestClient, plural: str, entry: dict[str, Any], **headers: str) -> dict[str, Any]:
    answer = client.post(f"{GROUND}/{plural}", json=entry, headers=headers)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def fields(response: Any) -> set[str]:
    return {error["where"] for error in assert_problem(response, 422, "request-invalid")["errors"]}  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("plural", "kind", "entry"),
    [
        ("applications", "application", DRENCH),
        ("observations", "observation", {**SEEN, "kind": "drop-test", "drop_seconds": 75, "depth_m": 0.03}),
        ("fixtures", "fixture", BOOKED),
        ("rings", "ring", RING),
    ],
)
def test_what_is_entered_is_found_again_with_who_and_when(client: TestClient, plural: str, kind: str, entry: dict[str, Any]) -> None:
    made = client.post(f"{GROUND}/{plural}", json=entry)
    record = client.get(made.headers["location"]).json()
    assert record == made.json()
    assert (record["version"], record["origin"], record["entered_by"]) == (1, "entered", "this machine")
    assert record["entered_at_utc"] == "2026-09-10T05:40:00Z"
    assert record["deleted_at_utc"] is None
    given = {key: value for key, value in entry.items() if not key.endswith("_utc")}
    assert given.items() <= record[kind].items()
    listed = client.get(f"{GROUND}/{plural}").json()
    assert record in listed["items"]
    assert listed["weather"]["state"] == "missing"  # of the outfield there is no outlook


def test_times_are_kept_in_utc(client: TestClient) -> None:
    assert enter(client, "applications", DRENCH)["application"]["applied_at_utc"] == "2026-09-09T04:30:00Z"


def test_the_same_request_again_enters_nothing_twice(client: TestClient) -> None:
    first = enter(client, "applications", DRENCH, **{"Idempotency-Key": "phone-1"})
    again = client.post(f"{GROUND}/applications", json=DRENCH, headers={"Idempotency-Key": "phone-1"})
    assert (again.status_code, again.json()) == (200, first)
    assert len(client.get(f"{GROUND}/applications").json()["items"]) == 1
    other = client.post(f"{GROUND}/applications", json={**DRENCH, "by": "Bo"}, headers={"Idempotency-Key": "phone-1"})
    assert_problem(other, 409, "key-reused")
    enter(client, "applications", DRENCH, **{"Idempotency-Key": "phone-2"})
    enter(client, "applications", DRENCH)
    enter(client, "applications", DRENCH)
    assert len(client.get(f"{GROUND}/applications").json()["items"]) == 4


def test_all_mistakes_are_told_at_once(client: TestClient) -> None:
    wrong = {**DRENCH, "kind": "magic", "area_m2": "23", "amount": {"value": -1, "unit": ""}, "colour": "red", "by": "  "}
    del wrong["applied_at_utc"]
    assert fields(client.post(f"{GROUND}/applications", json=wrong)) == {
        "body.kind", "body.area_m2", "body.amount.value", "body.amount.unit", "body.colour", "body.by", "body.applied_at_utc",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("plural", "entry", "wrong"),
    [
        ("applications", {**DRENCH, "surface_id": "moon"}, {"body.surface_id"}),
        ("applications", {**DRENCH, "ring_id": "ring-far"}, {"body.ring_id"}),
        ("applications", {**DRENCH, "keep_off_until_utc": "2026-09-01T00:00:00Z"}, {"body.keep_off_until_utc"}),
        ("applications", {**DRENCH, "keep_off_until_utc": "2026-12-01T00:00:00Z"}, {"body.keep_off_until_utc"}),
        ("applications", {**DRENCH, "applied_at_utc": "2026-09-11T00:00:00Z"}, {"body.applied_at_utc", "body.keep_off_until_utc"}),
        ("applications", {**DRENCH, "applied_at_utc": "2026-09-09T00:00:00"}, {"body.applied_at_utc"}),  # no offset
        ("applications", {**DRENCH, "note": "a\0b"}, {"body.note"}),
        ("observations", {**SEEN, "kind": "ring-seen", "severity": 10}, {"body.ring-seen.severity"}),
        ("observations", {**SEEN, "kind": "rain-gauge"}, {"body.rain-gauge.amount_mm"}),
        ("observations", {**SEEN, "kind": "rain-gauge", "amount_mm": 3, "count": 1}, {"body.rain-gauge.count"}),
        ("observations", {**SEEN, "kind": "guess"}, {"body"}),
        ("fixtures", {**BOOKED, "ends_at_utc": BOOKED["starts_at_utc"]}, {"body.ends_at_utc"}),
        ("rings", {**RING, "band_width_m": 2.5, "surveyed": "2026-09-11"}, {"body.band_width_m", "body.surveyed"}),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_entered(client: TestClient, plural: str, entry: dict[str, Any], wrong: set[str]) -> None:
    before = client.get(f"{GROUND}/{plural}").json()["items"]
    assert fields(client.post(f"{GROUND}/{plural}", json=entry)) == wrong
    assert client.get(f"{GROUND}/{plural}").json()["items"] == before


def test_a_body_that_is_no_json_or_not_declared_as_such_or_too_large_is_refused(client: TestClient) -> None:
    place = f"{GROUND}/applications"
    assert fields(client.post(place, content=b"{", headers={"Content-Type": "application/json"})) == {"body"}
    # A page of another origin can send a form or plain text without being asked by the browser; JSON it cannot.
    assert_problem(client.post(place, content=b"{}", headers={"Content-Type": "text/plain"}), 415, "media-type-refused")
    large = b'{"note": "' + b"a" * 70_000 + b'"}'
    assert_problem(client.post(place, content=large, headers={"Content-Type": "application/json"}), 413, "body-too-large")


def test_a_change_rests_on_what_was_read(client: TestClient) -> None:
    made = client.post(f"{GROUND}/applications", json=DRENCH)
    place, tag = made.headers["location"], made.headers["etag"]
    assert_problem(client.put(place, json=DRENCH), 428, "precondition-missing")
    assert fields(client.put(place, json=DRENCH, headers={"If-Match": "v1"})) == {"header.If-Match"}
    changed = client.put(place, json={**DRENCH, "area_m2": 30.0}, headers={"If-Match": tag})
    assert (changed.status_code, changed.json()["version"], changed.json()["application"]["area_m2"]) == (200, 2, 30.0)
    # A phone that got no answer sends the same again; somebody else, who read the first version, changes something else.
    assert client.put(place, json={**DRENCH, "area_m2": 30.0}, headers={"If-Match": tag}).json() == changed.json()
    assert_problem(client.put(place, json={**DRENCH, "area_m2": 40.0}, headers={"If-Match": tag}), 412, "outdated")
    assert client.put(place, json={**DRENCH, "area_m2": 40.0}, headers={"If-Match": "*"}).json()["version"] == 3


def test_deleting_marks_and_keeps(client: TestClient) -> None:
    made = client.post(f"{GROUND}/applications", json=DRENCH)
    place = made.headers["location"]
    assert_problem(client.delete(place), 428, "precondition-missing")
    assert_problem(client.delete(place, headers={"If-Match": '"v7"'}), 412, "outdated")
    gone = client.delete(place, headers={"If-Match": made.headers["etag"]}).json()
    assert (gone["deleted_by"], gone["deleted_at_utc"]) == ("this machine", "2026-09-10T05:40:00Z")
    assert_problem(client.get(place), 404, "not-found")
    assert_problem(client.put(place, json=DRENCH, headers={"If-Match": "*"}), 404, "not-found")
    assert client.get(f"{GROUND}/applications").json()["items"] == []
    assert client.get(f"{GROUND}/applications", params={"deleted": True}).json()["items"] == [gone]


def test_what_the_configuration_names_is_shown_and_not_changed_here(client: TestClient) -> None:
    enter(client, "fixtures", BOOKED)
    items = client.get(f"{GROUND}/fixtures").json()["items"]
    assert [(i["fixture"]["title"], i["origin"]) for i in items] == [
        ("Fathers against sons", "entered"),
        ("Under-12 match", "configuration"),
        ("Training evening", "configuration"),
    ]
    assert_problem(client.put(f"{GROUND}/fixtures/f1", json=BOOKED, headers={"If-Match": "*"}), 409, "read-only")
    assert_problem(client.delete(f"{GROUND}/rings/ring-north", headers={"If-Match": "*"}), 409, "read-only")
    assert client.get(f"{GROUND}/rings/ring-north").json()["ring"]["diameter_m"] == 6.0


def test_an_entered_ring_can_be_named_by_an_application(client: TestClient) -> None:
    ring = enter(client, "rings", RING)["id"]
    enter(client, "applications", {**DRENCH, "surface_id": "outfield", "ring_id": ring})


def test_lists_go_on_where_the_page_before_ended_also_while_something_is_entered(client: TestClient) -> None:
    for day in range(1, 8):
        enter(client, "observations", {**SEEN, "kind": "fruit-bodies", "count": day, "observed_at_utc": f"2026-09-0{day}T06:00:00Z"})
    seen: list[int] = []
    token = None
    while True:
        page = client.get(f"{GROUND}/observations", params={"limit": 3} | ({"next": token} if token else {})).json()
        seen += [item["observation"]["count"] for item in page["items"]]
        enter(client, "observations", {**SEEN, "kind": "fruit-bodies", "count": 99})
        if (token := page["next"]) is None:
            break
    assert seen == [7, 6, 5, 4, 3, 2, 1]
    for wrong in ("nonsense", "WzEsMl0=", "eyJhIjoxfQ=="):
        assert fields(client.get(f"{GROUND}/observations", params={"next": wrong})) == {"query.next"}


def test_lists_are_narrowed_by_surface_and_time(client: TestClient) -> None:
    enter(client, "observations", {**SEEN, "kind": "dry-patch", "area_m2": 4})
    enter(client, "observations", {**SEEN, "kind": "remark", "note": "moss", "surface_id": "bowling-green"})

    def kinds(**params: str) -> list[str]:
        return [item["observation"]["kind"] for item in client.get(f"{GROUND}/observations", params=params).json()["items"]]

    assert kinds(surface="bowling-green") == ["remark"]
    assert kinds(since_utc="2026-09-10T05:00:01Z") == []
    assert len(kinds(since_utc="2026-09-10T05:00:00Z", until_utc="2026-09-10T05:00:01Z")) == 2


def test_an_unchanged_record_or_list_is_not_sent_twice(client: TestClient) -> None:
    place = f"{GROUND}/applications/{enter(client, 'applications', DRENCH)['id']}"
    for address in (place, f"{GROUND}/applications"):
        tag = client.get(address).headers["etag"]
        assert client.get(address, headers={"If-None-Match": tag}).status_code == 304
        client.put(place, json={**DRENCH, "note": address}, headers={"If-Match": "*"})
        assert client.get(address, headers={"If-None-Match": tag}).status_code == 200


def test_records_of_one_ground_are_not_found_under_another(client: TestClient) -> None:
    record = enter(client, "applications", DRENCH)["id"]
    assert_problem(client.get(f"/api/v1/grounds/mossbank/applications/{record}"), 404, "not-found")
    assert client.get("/api/v1/grounds/mossbank/applications").json()["items"] == []
    assert_problem(client.get("/api/v1/grounds/nowhere/applications"), 404, "not-found")


def test_an_observation_of_the_future_is_a_slip_but_a_clock_may_be_a_little_ahead(client: TestClient) -> None:
    ahead = builders.NOW + timedelta(minutes=30)
    enter(client, "observations", {**SEEN, "kind": "dry-patch", "area_m2": 1, "observed_at_utc": ahead.isoformat()})
    later = builders.NOW + timedelta(minutes=90)
    answer = client.post(f"{GROUND}/observations", json={**SEEN, "kind": "dry-patch", "area_m2": 1, "observed_at_utc": later.isoformat()})
    assert fields(answer) == {"body.observed_at_utc"}


def test_every_answer_and_every_body_has_an_example_that_the_api_would_give_or_take(client: TestClient) -> None:
    paths = client.get("/api/v1/openapi.json").json()["paths"]
    without = [
        f"{method} {path}"
        for path, methods in paths.items()
        for method, described in methods.items()
        if path not in ("/api/v1/", "/api/v1/problems", "/api/v1/live", "/api/v1/ready")  # for programs that watch the service
        and not any("example" in a.get("content", {}).get("application/json", {}) for a in described["responses"].values())
    ]
    assert without == []
    for plural in ("applications", "observations", "fixtures", "rings"):
        body = paths[f"/api/v1/grounds/{{ground}}/{plural}"]["post"]["requestBody"]["content"]["application/json"]["example"]
        assert client.post(f"{GROUND}/{plural}", json=body).status_code == 201
