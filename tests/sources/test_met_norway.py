"""Asking MET Norway as its terms want it: who asks, how often, and each status. Source: the service's terms, status codes and how-to."""

from __future__ import annotations

import socket
import threading
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
import responses

from forecaster import __version__
from forecaster.errors import WeatherMalformed, WeatherRefused, WeatherUnavailable
from forecaster.sources.http import Patience
from forecaster.sources.met_norway import CONTACT_SETTING, KeptAnswer, fetch_locationforecast, kept_under
from forecaster.weather import frame
from forecaster.weather.frame import HourlyWeather
from tests.sources.met_norway_answers import BASE_URL, EXPIRES, HEADERS, LAST_MODIFIED, NOW, PLACE, URL, a_body, an_answer
from tests.sources.test_http import drip, server

CONTACT = "weather@ground.example"
EXPIRED = KeptAnswer(a_body(), LAST_MODIFIED, NOW)
NO_SLEEP = Patience(deadline_seconds=10, sleep=lambda seconds: None)


def fetch(
    kept: KeptAnswer | None = None,
    *,
    place: Any = PLACE,
    now: datetime = NOW,
    contact: str = CONTACT,
    base_url: str = BASE_URL,
    patience: Patience = NO_SLEEP,
) -> tuple[HourlyWeather, KeptAnswer]:
    """Fetch without ever sleeping."""
    with requests.Session() as session:
        return fetch_locationforecast(place, session=session, now=now, kept=kept, contact=contact, base_url=base_url, patience=patience)


# ---------------------------------------------------------------- what is asked


@responses.activate
def test_it_says_who_asks_and_asks_with_four_decimals_and_whole_metres() -> None:
    responses.get(URL, json=an_answer(), headers=HEADERS)
    fetch()
    request = responses.calls[0].request
    asked = {name: values[0] for name, values in parse_qs(urlsplit(request.url).query).items()}
    assert asked == {"lat": "59.9127", "lon": "10.7461", "altitude": "23"}
    assert request.headers["User-Agent"] == f"forecaster/{__version__} {CONTACT}"
    assert "gzip" in request.headers["Accept-Encoding"]
    assert "If-Modified-Since" not in request.headers


@responses.activate
@pytest.mark.parametrize("contact", ["", "  ", "ground staff", "a@b\r\nX-Other: 1", "gärtner@ground.example", "@"])
def test_without_a_contact_nothing_is_asked_and_the_setting_is_named(contact: str) -> None:
    with pytest.raises(WeatherRefused) as caught:
        fetch(contact=contact)
    assert CONTACT_SETTING in caught.value.hint
    assert (caught.value.source, len(responses.calls)) == ("MET Norway", 0)


@responses.activate
@pytest.mark.parametrize("contact", ["https://ground.example/contact", " weather@ground.example "])
def test_a_page_or_an_address_is_a_contact(contact: str) -> None:
    responses.get(URL, json=an_answer(), headers=HEADERS)
    fetch(contact=contact)
    assert responses.calls[0].request.headers["User-Agent"].endswith(f" {contact.strip()}")


def test_places_that_the_service_cannot_tell_apart_share_one_kept_answer() -> None:
    assert kept_under(PLACE) == "lat=59.9127&lon=10.7461&altitude=23"
    assert kept_under(SimpleNamespace(latitude=59.91271, longitude=10.74611, elevation_m=23)) == kept_under(PLACE)
    assert kept_under(SimpleNamespace(latitude=-0.00001, longitude=-0.00001, elevation_m=-0.2)) == "lat=0.0000&lon=0.0000&altitude=0"


# ---------------------------------------------------------------- what is kept, and when it is asked again


@responses.activate
def test_the_answer_is_kept_whole_with_both_headers() -> None:
    responses.get(URL, body=a_body(), headers=HEADERS)
    weather, kept = fetch()
    assert kept == KeptAnswer(a_body(), LAST_MODIFIED, datetime(2026, 9, 1, 6, 43, 22, tzinfo=UTC))
    assert weather.issued_at == datetime(2026, 9, 1, 5, 44, 26, tzinfo=UTC)
    assert (weather.source.attribution, weather.source.licence) == ("Data from MET Norway", "NLOD 2.0 / CC BY 4.0")
    assert weather.source.link


@responses.activate
def test_before_it_expires_nothing_is_asked() -> None:
    kept = KeptAnswer(a_body(), LAST_MODIFIED, NOW + timedelta(seconds=1))
    weather, still = fetch(kept)
    assert still is kept
    assert weather.values[frame.AIR_TEMPERATURE].iloc[0] == 14.0
    assert len(responses.calls) == 0


@responses.activate
def test_once_expired_it_asks_for_what_changed_with_the_exact_earlier_time_and_304_keeps_the_answer() -> None:
    responses.get(URL, status=304, headers={"Expires": EXPIRES})
    weather, kept = fetch(EXPIRED)
    assert responses.calls[0].request.headers["If-Modified-Since"] == LAST_MODIFIED
    assert (kept.body, kept.last_modified) == (EXPIRED.body, LAST_MODIFIED)
    assert kept.expires == datetime(2026, 9, 1, 6, 43, 22, tzinfo=UTC)
    # Nothing was worked out anew, so the forecast ages on.
    assert weather.issued_at == datetime(2026, 9, 1, 5, 44, 26, tzinfo=UTC)
    assert len(responses.calls) == 1


@responses.activate
def test_a_changed_answer_takes_the_place_of_the_kept_one() -> None:
    later = an_answer()
    later["properties"]["meta"]["updated_at"] = "2026-09-01T06:10:00Z"
    responses.get(URL, body=a_body(later), headers={**HEADERS, "Last-Modified": "Tue, 01 Sep 2026 06:19:00 GMT"})
    weather, kept = fetch(EXPIRED)
    assert weather.issued_at == datetime(2026, 9, 1, 6, 10, tzinfo=UTC)
    assert (kept.body, kept.last_modified) == (a_body(later), "Tue, 01 Sep 2026 06:19:00 GMT")


@responses.activate
@pytest.mark.parametrize("expires", [None, "0", "soon", "Tue, 99 Sep 2026 06:43:22 GMT"])
def test_where_it_is_not_said_when_it_expires_half_an_hour_is_waited(expires: str | None) -> None:
    responses.get(URL, body=a_body(), headers={"Expires": expires} if expires else {})
    assert fetch()[1].expires == NOW + timedelta(minutes=30)


@responses.activate
def test_a_wrong_year_in_expires_does_not_hold_back_the_forecast_for_good() -> None:
    responses.get(URL, body=a_body(), headers={"Expires": "Wed, 01 Sep 2027 06:43:22 GMT"})
    assert fetch()[1].expires == NOW + timedelta(hours=24)


@responses.activate
def test_203_is_used_and_said_and_the_next_question_is_not_conditional() -> None:
    responses.get(URL, status=203, body=a_body(), headers={**HEADERS, "Expires": "Tue, 01 Sep 2026 06:20:30 GMT"})
    weather, kept = fetch()
    assert any("about to end" in note for note in weather.notes)
    assert (kept.last_modified, kept.deprecated) == (None, True)
    assert any("about to end" in note for note in fetch(kept)[0].notes)  # not expired: read from the kept answer
    weather, kept = fetch(kept, now=NOW + timedelta(hours=1))
    assert "If-Modified-Since" not in responses.calls[-1].request.headers
    assert len(responses.calls) == 2


@responses.activate
@pytest.mark.parametrize("body", [b"", b'{"type": "Fea', b"[]", a_body({**an_answer(), "geometry": {"coordinates": [2.35, 48.86, 35]}})])
def test_a_kept_answer_that_cannot_be_read_or_is_for_another_place_counts_as_none(body: bytes) -> None:
    responses.get(URL, body=a_body(), headers=HEADERS)
    _, kept = fetch(KeptAnswer(body, LAST_MODIFIED, NOW + timedelta(minutes=10)))
    assert kept.body == a_body()
    assert "If-Modified-Since" not in responses.calls[0].request.headers


@responses.activate
def test_304_to_an_unconditional_question_is_no_weather() -> None:
    responses.get(URL, status=304)
    with pytest.raises(WeatherMalformed, match="status 304"):
        fetch()


# ---------------------------------------------------------------- refusals, limits, breakdowns


@responses.activate
@pytest.mark.parametrize(
    ("status", "hint"), [(400, "place and address"), (403, CONTACT_SETTING), (404, "address"), (422, "another source")]
)
def test_a_no_is_not_asked_again_and_says_what_to_do(status: int, hint: str) -> None:
    responses.get(URL, body="<html>No</html>", status=status, content_type="text/html")
    with pytest.raises(WeatherRefused, match=f"status {status}") as caught:
        fetch(EXPIRED)
    assert hint in caught.value.hint
    assert len(responses.calls) == 1


@responses.activate
def test_too_many_requests_is_not_asked_again() -> None:
    responses.get(URL, status=429)
    with pytest.raises(WeatherUnavailable, match="too many requests") as caught:
        fetch()
    assert "hour" in caught.value.hint
    assert len(responses.calls) == 1


@responses.activate
@pytest.mark.parametrize("status", [499, 500, 502, 503, 504])
def test_a_breakdown_is_tried_three_times(status: int) -> None:
    responses.get(URL, body="<html>Bad Gateway</html>", status=status)
    with pytest.raises(WeatherUnavailable, match=f"status {status}"):
        fetch()
    assert len(responses.calls) == 3


@responses.activate
@pytest.mark.parametrize(
    ("body", "told"),
    [
        (b"<html>Sign in</html>", "sent a web page in place of data"),
        (a_body()[:500], "breaks off or is not JSON"),
        (b"", "breaks off or is not JSON"),
    ],
    ids=["html", "cut off", "empty"],
)
def test_a_good_status_without_json_is_a_breakdown(body: bytes, told: str) -> None:
    responses.get(URL, body=body)
    with pytest.raises(WeatherUnavailable, match=told):
        fetch()


@responses.activate
@pytest.mark.parametrize("location", ["/weatherapi/locationforecast/3.0/complete?lat=1", "https://weather.example/moved?lat=1"])
def test_a_move_within_the_host_is_followed_with_the_same_headers(location: str) -> None:
    responses.get(URL, status=301, headers={"Location": location})
    responses.get(location if location.startswith("http") else BASE_URL + location, status=304, headers={"Expires": EXPIRES})
    fetch(EXPIRED)
    request = responses.calls[1].request
    assert parse_qs(urlsplit(request.url).query) == {"lat": ["1"]}
    assert request.headers["If-Modified-Since"] == LAST_MODIFIED
    assert CONTACT in request.headers["User-Agent"]


@responses.activate
@pytest.mark.parametrize("location", ["https://elsewhere.example/", "http://weather.example/", None, URL])
def test_a_move_elsewhere_or_in_a_circle_is_a_refusal(location: str | None) -> None:
    responses.get(URL, status=302, headers={"Location": location} if location else {})
    with pytest.raises(WeatherRefused, match="has moved"):
        fetch()
    assert len(responses.calls) == (4 if location == URL else 1)


@responses.activate
def test_a_move_to_no_address_at_all_is_a_breakdown() -> None:
    responses.get(URL, status=302, headers={"Location": "https://["})
    with pytest.raises(WeatherUnavailable, match="cannot be read"):
        fetch()


def test_a_body_that_drips_is_left_at_the_deadline() -> None:
    def speak(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 50000\r\n\r\n")
        drip(connection, over, a_body())

    with server(speak) as (url, asked), pytest.raises(WeatherUnavailable, match="within 1 second"):
        fetch(base_url=url, patience=Patience(deadline_seconds=0.6, read_seconds=5.0, sleep=lambda seconds: None))
    assert len(asked) == 1


def test_304_from_a_real_server_keeps_the_answer() -> None:
    def speak(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(f"HTTP/1.1 304 Not Modified\r\nExpires: {EXPIRES}\r\nContent-Length: 9000\r\n\r\n".encode())

    with server(speak) as (url, asked):
        weather, kept = fetch(EXPIRED, base_url=url, patience=Patience(deadline_seconds=5.0))
    assert kept.body == EXPIRED.body
    assert len(weather.values) > 200
    assert len(asked) == 1
