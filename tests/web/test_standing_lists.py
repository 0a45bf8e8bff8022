"""Grounds and surfaces in pages, and answers that a client holds already."""

from __future__ import annotations

from starlette.testclient import TestClient


def ids(items: list[dict[str, object]]) -> list[object]:
    return [item["surface"]["id"] if "surface" in item else item["id"] for item in items]  # type: ignore[index]


def test_the_pages_of_a_list_are_the_whole_list_in_its_order(client: TestClient) -> None:
    for place in ("/api/v1/grounds", "/api/v1/grounds/thistlefold/surfaces"):
        whole = client.get(place).json()
        assert whole["next"] is None
        assert len(whole["items"]) > 1
        found, token = [], None
        for _ in whole["items"]:
            page = client.get(place, params={"limit": 1} | ({"next": token} if token else {})).json()
            assert page["weather"] == whole["weather"], "of all grounds, not of the page"
            found += page["items"]
            token = page["next"]
        assert token is None
        assert ids(found) == ids(whole["items"])


def test_a_place_that_is_none_of_ours_is_refused_and_one_that_is_gone_begins_anew(client: TestClient) -> None:
    refused = client.get("/api/v1/grounds", params={"next": "nonsense"})
    assert (refused.status_code, refused.json()["type"].rpartition("#")[2]) == (422, "request-invalid")
    first = client.get("/api/v1/grounds", params={"limit": 1}).json()
    elsewhere = client.get("/api/v1/grounds/thistlefold/surfaces", params={"next": first["next"]}).json()
    assert ids(elsewhere["items"]) == ids(client.get("/api/v1/grounds/thistlefold/surfaces").json()["items"])


def test_what_a_client_holds_is_not_sent_again(client: TestClient) -> None:
    for place in ("grounds", "grounds/thistlefold", "grounds/thistlefold/surfaces", "grounds/thistlefold/surfaces/main-pitch"):
        first = client.get(f"/api/v1/{place}")
        again = client.get(f"/api/v1/{place}", headers={"If-None-Match": first.headers["ETag"]})
        assert (first.status_code, again.status_code, again.content) == (200, 304, b"")
