"""People sign a browser in with a key; what a browser sends is only taken from a form of ours."""

from __future__ import annotations

import re
from datetime import timedelta
from http.cookies import SimpleCookie

import pytest
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy import func, select
from starlette.testclient import TestClient

from forecaster.storage.database import reading, transaction
from forecaster.storage.keys import revoke_key
from forecaster.storage.models import SignInFailureRow, SignInSessionRow
from forecaster.storage.sign_ins import FAILURES_COUNT_FOR, FAILURES_OVERALL, FAILURES_PER_ADDRESS, LASTS
from forecaster.web.access import Doors
from forecaster.web.sign_in import safe_next
from forecaster.web.visitor import visitor_of
from tests.web import builders
from tests.web.keyed import Service

HTML = {"Accept": "text/html,application/xhtml+xml"}


def token_in(html: str) -> str:
    found = re.search(r'name="form_token" value="([^"]+)"', html)
    assert found is not None
    return found[1]


def sign_in(client: TestClient, key: str, *, to: str = "/") -> object:
    form = client.get("/sign-in", params={"next": to})
    return client.post("/sign-in", data={"key": key, "next": to, "form_token": token_in(form.text)})


def cookies_of(response: object) -> SimpleCookie:
    found = SimpleCookie()
    for line in response.headers.get_list("set-cookie"):  # type: ignore[attr-defined]
        found.load(line)
    return found


def test_a_browser_without_a_key_is_shown_where_to_sign_in_and_comes_back(service: Service) -> None:
    key = service.key()
    with service.client() as client:
        sent = client.get("/grounds/thistlefold", params={"a": "b c"}, headers=HTML)
        assert (sent.status_code, sent.headers["location"]) == (303, "/sign-in?next=/grounds/thistlefold%3Fa%3Db%2Bc")
        form = client.get(sent.headers["location"], headers=HTML)
        assert form.status_code == 200
        assert "histlefold" not in form.text.replace("/grounds/thistlefold", "")
        back = client.post("/sign-in", data={"key": key, "next": "/grounds/thistlefold?a=b+c", "form_token": token_in(form.text)})
        assert (back.status_code, back.headers["location"]) == (303, "/grounds/thistlefold?a=b+c")
        page = client.get("/grounds/thistlefold", headers=HTML)
        assert page.status_code == 200
        assert "Signed in with the key office" in page.text
        assert client.get("/api/v1/grounds").status_code == 200  # reading the API is fine for whoever may read the pages


def test_the_cookie_is_the_browsers_alone(service: Service) -> None:
    """RFC 6265bis: HttpOnly, SameSite, Secure and the prefix __Host- with https; it ends, and it is not the key."""
    key = service.key()
    for doors, base, name in (
        (service.doors, "https://turf.example", "__Host-forecaster"),
        (Doors(keys_needed=True, bound_to="0.0.0.0"), "http://192.168.7.7:8470", "forecaster"),
    ):
        service.doors = doors
        with service.client(base_url=base) as client:
            found = cookies_of(sign_in(client, key))[name]
        assert (bool(found["httponly"]), found["samesite"], found["path"], found["domain"]) == (True, "lax", "/", "")
        assert bool(found["secure"]) is doors.secure
        assert int(found["max-age"]) == LASTS.total_seconds()
        assert key.split("_", 2)[2] not in found.value
        with open(str(service.engine.url.database), "rb") as file:
            assert found.value.encode() not in file.read()


def test_signing_out_ends_the_session_wherever_a_copy_of_the_cookie_is(service: Service) -> None:
    with service.client() as client:
        sign_in(client, service.key())
        copy = dict(client.cookies)
        page = client.get("/")
        out = client.post("/sign-out", data={"form_token": token_in(page.text)})
        assert (out.status_code, out.headers["location"]) == (303, "/sign-in")
        assert client.get("/").status_code == 401
    with service.client() as thief:
        thief.cookies.update(copy)
        assert thief.get("/").status_code == 401
        assert "not signed in any more" in thief.get("/sign-in").text
    with reading(service.engine) as session:
        assert session.scalar(select(func.count()).select_from(SignInSessionRow)) == 0


def test_a_session_ends_with_its_time_and_with_its_key(service: Service) -> None:
    ends = service.key("ends", expires_at=service.clock() + timedelta(days=1))
    revoked, lasts = service.key("revoked"), service.key("lasts")
    clients = []
    for key in (ends, revoked, lasts):
        client = service.client()
        sign_in(client, key)
        assert client.get("/").status_code == 200
        clients.append(client)
    with transaction(service.engine) as session:
        revoke_key(session, "revoked", service.clock())
    assert [client.get("/").status_code for client in clients] == [200, 401, 200]
    service.clock.moment += timedelta(days=1)
    assert [client.get("/").status_code for client in clients] == [401, 401, 200]
    service.clock.moment += LASTS - timedelta(days=1, seconds=1)
    assert clients[2].get("/").status_code == 200
    service.clock.moment += timedelta(seconds=1)
    assert clients[2].get("/").status_code == 401


def test_a_session_sees_what_its_key_sees(service: Service) -> None:
    with service.client() as client:
        sign_in(client, service.key(grounds=["mossbank"]))
        assert "Thistlefold" not in client.get("/").text
        assert client.get("/grounds/thistlefold").status_code == 404
        assert client.get("/grounds/mossbank").status_code == 200


def test_a_wrong_key_is_told_in_plain_words_and_not_repeated(service: Service) -> None:
    with service.client() as client:
        answer = sign_in(client, "forecaster_wrongkey_planted-text")
        assert answer.status_code == 403  # type: ignore[attr-defined]
        assert "This key opens nothing" in answer.text  # type: ignore[attr-defined]
        assert "planted-text" not in answer.text  # type: ignore[attr-defined]
        assert cookies_of(answer).get("__Host-forecaster") is None
        too_long = sign_in(client, "planted-text" * 200)
        assert too_long.status_code == 422  # type: ignore[attr-defined]
        assert "planted-text" not in too_long.text  # type: ignore[attr-defined]


def test_failures_close_the_door_for_their_address_for_a_while(service: Service) -> None:
    key = service.key()
    here, elsewhere = service.client(), service.client()
    elsewhere._transport.client = ("198.51.100.9", 40000)  # type: ignore[attr-defined]
    for _ in range(FAILURES_PER_ADDRESS):
        assert sign_in(here, "wrong").status_code == 403  # type: ignore[attr-defined]
        service.clock.moment += timedelta(seconds=1)
    closed = sign_in(here, key)
    assert closed.status_code == 429  # type: ignore[attr-defined]
    wait = int(closed.headers["retry-after"])  # type: ignore[attr-defined]
    assert wait == FAILURES_COUNT_FOR.total_seconds() - FAILURES_PER_ADDRESS
    assert "Try again in 15 minutes" in closed.text  # type: ignore[attr-defined]
    assert sign_in(elsewhere, key).status_code == 303  # type: ignore[attr-defined]
    service.clock.moment += timedelta(seconds=wait - 1)
    assert sign_in(here, key).status_code == 429  # type: ignore[attr-defined]
    service.clock.moment += timedelta(seconds=1)
    assert sign_in(here, key).status_code == 303  # type: ignore[attr-defined]


def test_many_failures_from_many_addresses_close_the_door_for_all_and_are_forgotten_later(service: Service) -> None:
    key = service.key()
    client = service.client()
    for number in range(FAILURES_OVERALL):
        client._transport.client = (f"198.51.100.{number}", 40000)  # type: ignore[attr-defined]
        assert sign_in(client, "wrong").status_code == 403  # type: ignore[attr-defined]
    client._transport.client = ("203.0.113.1", 40000)  # type: ignore[attr-defined]
    assert sign_in(client, key).status_code == 429  # type: ignore[attr-defined]
    service.clock.moment += FAILURES_COUNT_FOR
    assert sign_in(client, key).status_code == 303  # type: ignore[attr-defined]
    assert sign_in(client, "wrong").status_code == 403  # type: ignore[attr-defined]
    with reading(service.engine) as session:
        assert session.scalar(select(func.count()).select_from(SignInFailureRow)) == 1


def test_one_ipv6_network_is_one_address(service: Service) -> None:
    """RFC 4291, RFC 6177: 64 bits are one subnet, whose holder has all its addresses."""
    client = service.client()
    for number in range(FAILURES_PER_ADDRESS):
        client._transport.client = (f"2001:db8:0:7::{number:x}", 40000)  # type: ignore[attr-defined]
        assert sign_in(client, "wrong").status_code == 403  # type: ignore[attr-defined]
    client._transport.client = ("2001:db8:0:7:ffff::1", 40000)  # type: ignore[attr-defined]
    assert sign_in(client, "wrong").status_code == 429  # type: ignore[attr-defined]
    client._transport.client = ("2001:db8:0:8::1", 40000)  # type: ignore[attr-defined]
    assert sign_in(client, "wrong").status_code == 403  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "address",
    [
        *("//evil.example", "https://evil.example", "/\\evil.example", "\\\\evil.example", "javascript:alert(1)", "", "x", "/a\nb"),
        *("/\t/evil.example", "/sign-in", "/sign-out", "/" + "x" * 1000),
    ],
)
def test_signing_in_leads_nowhere_else(service: Service, address: str) -> None:
    assert safe_next(address) == "/"
    with service.client() as client:
        assert token_in(client.get("/sign-in", params={"next": address}).text)
        assert 'name="next" value="/"' in client.get("/sign-in", params={"next": address}).text


def with_a_form(service: Service) -> None:
    """Give the application a page with a form, as other pages have them."""
    app = service.app()
    router = APIRouter(default_response_class=HTMLResponse)

    @router.post("/trial")
    async def change(request: Request) -> HTMLResponse:
        form = await request.form()
        return HTMLResponse(f"{visitor_of(request).name}: {form['word']}")

    app.include_router(router)
    service.app = lambda: app  # type: ignore[method-assign]


def test_with_keys_only_our_own_form_changes_anything(service: Service) -> None:
    key = service.key(may_write=True)
    with_a_form(service)
    with service.client() as client, service.client() as other:
        before = token_in(client.get("/sign-in").text)
        sign_in(client, key)
        sign_in(other, key)
        mine, theirs = token_in(client.get("/").text), token_in(other.get("/").text)
        assert client.post("/trial", data={"word": "green", "form_token": mine}).text == "office: green"
        for data in (
            {},
            {"form_token": ""},
            {"form_token": before},
            {"form_token": theirs},
            {"form_token": mine[:-1]},
            {"form_token": "x" * 99},
        ):
            refused = client.post("/trial", data={"word": "green", **data})
            assert refused.status_code == 403
            assert "form-refused" in refused.text
            assert "Open the page again" in refused.text
        assert client.post("/trial", content=b"\xff\xfe", headers={"Content-Type": "multipart/form-data; boundary="}).status_code == 403
        assert client.post("/trial", json={"form_token": mine, "word": "green"}).status_code == 403
        assert client.post("/sign-out", data={}).status_code == 403
        assert client.get("/").status_code == 200


def test_without_keys_only_our_own_form_changes_anything(service: Service) -> None:
    service.doors = Doors()
    with_a_form(service)
    with service.client(base_url="http://localhost") as client, service.client(base_url="http://localhost") as other:
        for one in (client, other):
            one._transport.client = ("127.0.0.1", 40000)  # type: ignore[attr-defined]
        mine, theirs = token_in(client.get("/sign-in").text), token_in(other.get("/sign-in").text)
        assert client.post("/trial", data={"word": "green", "form_token": mine}).text == "this machine: green"
        assert client.post("/trial", data={"word": "green", "form_token": theirs}).status_code == 403
        assert client.post("/trial", data={"word": "green"}).status_code == 403
        client.cookies.clear()
        assert client.post("/trial", data={"word": "green", "form_token": mine}).status_code == 403


def test_a_session_for_reading_changes_nothing(service: Service) -> None:
    with_a_form(service)
    with service.client() as client:
        sign_in(client, service.key())
        page = client.get("/")
        assert "for reading" in page.text
        refused = client.post("/trial", data={"word": "green", "form_token": token_in(page.text)})
        assert (refused.status_code, "not-allowed" in refused.text) == (403, True)


def test_a_browsers_cookie_changes_nothing_through_the_api(service: Service) -> None:
    with service.client() as client:
        sign_in(client, service.key(may_write=True))
        refused = client.post("/api/v1/grounds/thistlefold/observations", json={})
        assert (refused.status_code, refused.json()["slug"]) == (403, "not-allowed")


def test_tokens_look_different_each_time(service: Service) -> None:
    with service.client() as client:
        assert token_in(client.get("/sign-in").text) != token_in(client.get("/sign-in").text)


def test_the_foot_of_a_page_names_no_session_on_this_machine(client: TestClient) -> None:
    assert "Sign out" not in client.get("/").text
    assert builders.ground().name in client.get("/").text
