"""Where others can reach the service: no key, nothing; a key for one ground, nothing of the others; a key for reading, no change."""

from __future__ import annotations

from datetime import timedelta

import pytest
from fastapi import APIRouter, Request
from fastapi.routing import APIRoute
from sqlalchemy import select
from starlette.routing import BaseRoute, Mount, Route

from forecaster.storage.database import reading, transaction
from forecaster.storage.keys import list_keys, revoke_key
from forecaster.storage.models import AccessKeyRow
from forecaster.web.access import OPEN
from forecaster.web.visitor import require_write, visible, visitor_of
from tests.web.keyed import PUBLIC, Service

FILLED = {"ground": "thistlefold", "surface": "main-pitch"}


def addresses(service: Service) -> list[tuple[str, str]]:
    """Every method and address that the application knows."""
    found: list[tuple[str, str]] = []

    def walk(routes: list[BaseRoute]) -> None:
        for route in routes:
            if isinstance(route, Mount):
                found.append(("GET", route.path + "/x"))
            elif isinstance(route, (APIRoute, Route)):
                path = route.path.replace(":path}", "}")
                parts = [FILLED.get(part[1:-1], "x") if part.startswith("{") else part for part in path.split("/")]
                found.extend((method, "/".join(parts)) for method in sorted(route.methods or ()))
            else:
                walk(list(getattr(getattr(route, "original_router", None), "routes", None) or route.routes))  # type: ignore[attr-defined]

    walk(list(service.app().routes))
    return found


def test_every_address_is_refused_without_a_key(service: Service) -> None:
    known = addresses(service)
    assert {("GET", "/"), ("GET", "/api/v1/grounds/thistlefold/surfaces/main-pitch/outlook"), ("GET", "/api/v1/openapi.json")} <= set(known)
    with service.client() as client:
        for method, path in known:
            response = client.request(method, path)
            if path.startswith(OPEN):
                assert method == "POST" or response.status_code not in (401, 403), (method, path)
                continue
            assert response.status_code == 401, (method, path)
            assert "histlefold" not in response.text.replace("/grounds/thistlefold", ""), (method, path)


@pytest.mark.parametrize("path", ["/", "/grounds/thistlefold", "/api/v1/grounds", "/api/v1/health", "/api/v1/openapi.json", "/nothing"])
def test_without_a_key_the_answer_says_what_is_needed(service: Service, path: str) -> None:
    with service.client() as client:
        response = client.get(path)
    assert response.status_code == 401
    assert response.headers["www-authenticate"] == "Bearer"  # RFC 9110 11.6.1: a 401 names a scheme
    assert "key-needed" in response.text
    assert "histlefold F" not in response.text


def test_a_key_opens_pages_and_api(service: Service) -> None:
    with service.client(service.key()) as client:
        assert client.get("/").status_code == 200
        assert [g["id"] for g in client.get("/api/v1/grounds").json()["items"]] == ["thistlefold", "mossbank"]


def test_no_wrong_key_opens_anything(service: Service) -> None:
    right = service.key()
    prefix, key_id, secret = right.split("_", 2)
    other_id = service.key("other").split("_", 2)[1]
    wrong = [
        "", "x", right[:-1], right + "x", right.upper(), f"{prefix}_{other_id}_{secret}", f"{prefix}_{key_id}_", f"{prefix}_{key_id}",
        f"elsewhere_{key_id}_{secret}", secret, key_id, "ä" * 40, f"{prefix}_{key_id}_{'x' * 100_000}"[:60_000],
    ]  # fmt: skip
    with service.client() as client:
        for text in wrong:
            for scheme in ("Bearer", "Basic", "bearer"):
                response = client.get("/api/v1/grounds", headers={"Authorization": f"{scheme} {text}".encode("latin-1", "replace")})
                assert response.status_code == 401, text
        assert client.get("/api/v1/grounds", headers={"Authorization": f"Basic {right}"}).status_code == 401
        assert client.get("/api/v1/grounds", headers={"Authorization": f"bearer {right}"}).status_code == 200  # RFC 9110 11.1: any case


def test_a_key_that_is_over_opens_nothing_from_that_moment_on(service: Service) -> None:
    revoked = service.key("revoked")
    ends = service.key("ends", expires_at=service.clock() + timedelta(days=1))
    with service.client(revoked) as first, service.client(ends) as second:
        assert (first.get("/").status_code, second.get("/").status_code) == (200, 200)
        with transaction(service.engine) as session:
            revoke_key(session, "revoked", service.clock())
        service.clock.moment += timedelta(days=1)
        assert (first.get("/").status_code, second.get("/").status_code) == (401, 401)


def test_on_this_machine_a_wrong_key_is_refused_though_none_would_be_needed(service: Service) -> None:
    service.doors = type(service.doors)()
    with service.client(base_url="http://localhost") as client:
        client._transport.client = ("127.0.0.1", 40000)  # type: ignore[attr-defined]
        assert client.get("/api/v1/grounds").status_code == 200
        assert client.get("/api/v1/grounds", headers={"Authorization": "Bearer nonsense"}).status_code == 401


def test_a_key_for_one_ground_sees_nothing_of_another(service: Service) -> None:
    """Neither in a list nor by its address, and its answer is that for a ground that does not exist, but for the id."""
    with service.client(service.key(grounds=["mossbank"])) as client:
        checked = 0
        for method, path in addresses(service):
            if method == "HEAD" or path.startswith(OPEN):
                continue
            response = client.request(method, path)
            if "/thistlefold" in path:
                checked += 1
                nowhere = client.request(method, path.replace("thistlefold", "nowhere"))
                assert response.status_code == nowhere.status_code, (method, path)
                assert response.status_code in (403, 404), (method, path)
                assert response.text.replace("thistlefold", "nowhere") == nowhere.text
            elif path != "/api/v1/openapi.json":  # whose examples are invented, of no ground that is here
                for word in ("histlefold", "main-pitch", "Cricket"):
                    assert word not in response.text, (method, path)
        assert checked >= 7
        assert [g["id"] for g in client.get("/api/v1/grounds").json()["items"]] == ["mossbank"]
        assert [g["ground_id"] for g in client.get("/api/v1/health").json()["grounds"]] == ["mossbank"]
        assert "Mossbank" in client.get("/").text
        assert client.get("/api/v1/grounds/mossbank").status_code == 200
        assert "Sample weather" not in client.get("/nothing").text  # Thistlefold is the one that is invented
        bad = [client.get(f"/api/v1/grounds/{g}/surfaces/x/outlook", params={"past_days": "many"}) for g in ("thistlefold", "nowhere")]
        assert [answer.status_code for answer in bad] == [404, 404]


def test_every_ground_in_an_address_goes_by_the_name_that_the_guard_knows(service: Service) -> None:
    for path in service.app().openapi()["paths"]:
        after = path.split("/grounds/")[1:]
        assert all(part.startswith("{ground}") for part in after), path


def test_a_key_for_reading_changes_nothing_and_one_for_writing_only_its_own_grounds(service: Service) -> None:
    app = service.app()
    router = APIRouter()

    @router.post("/api/v1/grounds/{ground}/trial")
    def change(request: Request, ground: str) -> dict[str, str]:
        return {"by": visitor_of(request).name, "ground": ground}

    @router.post("/api/v1/trial")
    def change_by_body(request: Request, ground_id: str) -> dict[str, str | bool]:
        seen = visible(request, ground_id)
        return {"by": require_write(request, ground_id).name, "seen": seen}

    app.include_router(router)
    reads, writes = service.key("reads"), service.key("writes", may_write=True, grounds=["mossbank"])
    service.app = lambda: app  # type: ignore[method-assign]
    with service.client(reads) as reader, service.client(writes) as writer:
        refused = reader.post("/api/v1/grounds/mossbank/trial")
        assert (refused.status_code, refused.json()["slug"]) == (403, "not-allowed")
        assert writer.post("/api/v1/grounds/mossbank/trial").json() == {"by": "writes", "ground": "mossbank"}
        assert writer.post("/api/v1/grounds/thistlefold/trial").status_code == 404
        assert writer.post("/api/v1/trial", params={"ground_id": "mossbank"}).json() == {"by": "writes", "seen": True}
        assert writer.post("/api/v1/trial", params={"ground_id": "thistlefold"}).status_code == 404


def test_the_time_of_use_is_noted_but_not_with_every_request(service: Service) -> None:
    begin = service.clock()
    with service.client(service.key()) as client:
        seen = []
        for minutes in (0, 1, 59, 60, 61, 125):
            service.clock.moment = begin + timedelta(minutes=minutes)
            client.get("/api/v1/grounds")
            with reading(service.engine) as session:
                seen.append((list_keys(session)[0].last_used_at or begin) - begin)
    assert [int(moment.total_seconds() / 60) for moment in seen] == [0, 0, 0, 60, 60, 125]


def test_nothing_of_a_key_is_kept_in_a_form_that_opens_anything(service: Service) -> None:
    text = service.key()
    secret = text.split("_", 2)[2]
    with reading(service.engine) as session:
        row = session.scalars(select(AccessKeyRow)).one()
        assert secret.encode() not in row.secret_hash
        assert len(row.secret_hash) == 32  # SHA-256
    assert service.engine.url.database is not None
    service.engine.dispose()
    with open(service.engine.url.database, "rb") as file:
        assert secret.encode() not in file.read()
    with service.client(row.secret_hash.hex()) as client:
        assert client.get("/").status_code == 401


def test_answers_to_somebody_with_a_key_are_kept_by_no_shared_cache(service: Service) -> None:
    """RFC 9111 5.2.2.7: private; static files are the same for everybody."""
    with service.client(service.key()) as client:
        for path in ("/", "/api/v1/grounds", "/api/v1/grounds/thistlefold/surfaces/main-pitch/outlook", "/api/v1/health"):
            caching = client.get(path).headers["cache-control"]
            assert "private" in caching or "no-store" in caching, path
        assert "private" not in client.get("/static/style.css").headers.get("cache-control", "")


@pytest.mark.parametrize(
    ("host", "status"),
    [("turf.example", 200), ("192.168.7.7:8470", 200), ("[2001:db8::7]:8470", 200), ("rebind.example", 400), ("", 400)],
)
def test_with_keys_the_public_name_and_plain_addresses_are_answered(service: Service, host: str, status: int) -> None:
    with service.client(service.key()) as client:
        assert client.get("/", headers={"Host": host}).status_code == status


def test_with_keys_a_proxy_may_pass_requests_on(service: Service) -> None:
    with service.client(service.key()) as client:
        assert client.get("/", headers={"X-Forwarded-For": "198.51.100.7", "Via": "1.1 proxy"}).status_code == 200


def test_with_keys_a_change_from_our_public_address_is_from_here_whatever_the_proxy_calls_us(service: Service) -> None:
    with service.client(service.key(may_write=True)) as client:
        for host in ("turf.example", "127.0.0.1:8470"):
            assert client.post("/api/v1/grounds", headers={"Host": host, "Origin": PUBLIC}).status_code == 405
        assert client.post("/api/v1/grounds", headers={"Origin": "https://other.example"}).status_code == 403


def test_the_description_says_how_a_key_is_sent_and_what_is_answered_without(service: Service) -> None:
    schema = service.app().openapi()
    assert (schema["components"]["securitySchemes"]["key"]["type"], schema["components"]["securitySchemes"]["key"]["scheme"]) == (
        "http",
        "bearer",
    )  # OpenAPI 3.1, security scheme object
    client = service.client()
    looked_at = 0
    for path, item in schema["paths"].items():
        if "get" not in item or not path.startswith("/api/"):
            continue
        looked_at += 1
        described, status = item["get"], client.get(path).status_code  # with the names of its places unfilled: the door comes first
        assert ("401" in described["responses"]) == (status == 401), path
        assert {"key": []} in described["security"] or status != 401, path
        assert "403" in described["responses"], path
    assert looked_at > 10


MORE_THAN_A_HOST = ("turf.example:443/static/", "turf.example/sign-in?", "turf.example:443#", "turf.example:https", "[::1]/static/")


@pytest.mark.parametrize("host", MORE_THAN_A_HOST)
def test_a_host_that_is_more_than_a_name_and_a_port_opens_nothing(service: Service, host: str) -> None:
    """Some versions of the framework take what stands behind the port for the beginning of the address that is asked for."""
    with service.client() as client:
        for address in ("/", "/api/v1/grounds", "/api/v1/openapi.json"):
            answer = client.get(address, headers={"Host": host})
            assert answer.status_code == 400, address
            assert answer.json()["slug"] == "host-refused"
