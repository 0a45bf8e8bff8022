"""Only this program's own names are answered, and every answer forbids script."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from forecaster.web.app import create_app
from tests.web import builders


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8470", "localhost:8470", "LOCALHOST", "[::1]", "[::1]:8470"])
def test_loopback_names_are_answered(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["rebind.example", "rebind.example:8470", "localhost.rebind.example", "127.0.0.1.rebind.example", "[::2]", ""]
)
@pytest.mark.parametrize("path", ["/", "/api/v1/grounds", "/static/style.css"])
def test_other_names_get_a_problem_and_nothing_else(client: TestClient, host: str, path: str) -> None:
    response = client.get(path, headers={"Host": host})
    assert response.status_code == 400
    assert response.headers["content-type"] == "application/problem+json"
    assert response.json()["slug"] == "host-refused"
    assert "Thistlefold" not in response.text


@pytest.mark.parametrize(
    "header",
    [
        "Forwarded",
        "X-Forwarded-For",
        "X-Forwarded-Host",
        "X-Forwarded-Proto",
        "X-Forwarded-Anything",
        "X-Real-IP",
        "Via",
        "CF-Connecting-IP",
    ],
)
@pytest.mark.parametrize("path", ["/", "/api/v1/grounds", "/static/style.css"])
def test_without_keys_nothing_that_came_through_a_proxy_is_answered(client: TestClient, header: str, path: str) -> None:
    """RFC 7239 (Forwarded), RFC 9110 7.6.3 (Via); the others are what common proxies send."""
    response = client.get(path, headers={header: "127.0.0.1"})
    assert response.status_code == 403
    assert response.json()["slug"] == "proxy-refused"
    assert "Thistlefold" not in response.text


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("127.0.0.1", 200),
        ("127.8.8.8", 200),
        ("::1", 200),
        ("::ffff:127.0.0.1", 200),
        ("192.0.2.7", 403),
        ("10.0.0.7", 403),
        ("::ffff:10.0.0.7", 403),
        ("2001:db8::7", 403),
    ],
)
def test_without_keys_only_this_machine_is_answered_whatever_name_it_asks_for(
    store: builders.MemoryStore, address: str, status: int
) -> None:
    app = create_app(store, now=lambda: builders.NOW)
    with TestClient(app, base_url="http://localhost", client=(address, 40000)) as client:
        assert client.get("/api/v1/grounds").status_code == status


CROSS_SITE = (
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Origin": "http://rebind.example"},
    {"Origin": "http://localhost:9999"},
    {"Origin": "null"},
    {"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"},
)


@pytest.mark.parametrize("headers", CROSS_SITE)
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_a_change_from_another_site_is_refused(client: TestClient, headers: dict[str, str], method: str) -> None:
    """Fetch Metadata (W3C) and Origin (RFC 6454); what comes from here or from a script goes on to the route, which does not take it."""
    response = client.request(method, "/api/v1/grounds", headers=headers)
    assert (response.status_code, response.json()["slug"]) == (403, "cross-site-refused")
    for ours in ({}, {"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}, {"Sec-Fetch-Site": "none"}):
        assert client.request(method, "/api/v1/grounds", headers=ours).status_code == 405


@pytest.mark.parametrize("headers", CROSS_SITE)
def test_following_a_link_from_another_site_is_reading(client: TestClient, headers: dict[str, str]) -> None:
    assert client.get("/", headers=headers).status_code == 200


@pytest.mark.parametrize(
    "path", ["/", "/grounds/thistlefold", "/grounds/nowhere", "/api/v1/grounds", "/api/v1/nothing", "/static/style.css"]
)
def test_every_answer_carries_the_protections(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "style-src 'self'" in policy
    assert "script-src" not in policy  # so default-src 'none' governs it: CSP Level 3, fallback of fetch directives
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
