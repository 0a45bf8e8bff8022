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


def test_the_public_name_is_answered_where_one_is_set(store: builders.MemoryStore) -> None:
    app = create_app(store, public_url="https://turf.example/outlook", now=lambda: builders.NOW)
    with TestClient(app, base_url="http://turf.example") as client:
        assert client.get("/").status_code == 200


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
    assert headers["referrer-policy"] == "no-referrer"
