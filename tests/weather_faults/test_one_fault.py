"""One fault at a time, from the connection to the page: the last good weather serves, its age and the reason are said, nothing ends.

The forms of the answers are those of the provider's server (texts of limits, error bodies, an error in the middle of a good answer).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from tests.weather_faults.conftest import World
from tests.weather_faults.server import as_json, spoken

HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n"


@dataclass(frozen=True)
class Fault:
    """What is answered, which words tell it, and where the breaker stands after it."""

    answer: Any
    said: str
    breaker: str = "closed"
    named: str | None = None


def limit(reason: str, **headers: str) -> bytes:
    return as_json({"error": True, "reason": reason}, "429 Too Many Requests", headers)


def silence() -> Iterator[bytes]:
    while True:
        yield b""


def dripping() -> Iterator[bytes]:
    yield HEAD
    while True:
        yield b" "


FAULTS: dict[str, Fault] = {
    "silence": Fault(silence, "did not "),
    "a dripping body": Fault(dripping, "did not finish its answer within 1 seconds"),
    "500": Fault(as_json({"error": True, "reason": "Something went wrong."}, "500 Internal Server Error"), "out of order (status 500"),
    "502 of a gateway": Fault(spoken("502 Bad Gateway", b"<html>Bad Gateway</html>", kind="text/html"), "out of order (status 502"),
    "503": Fault(as_json({"error": True, "reason": "The service is overloaded"}, "503 Service Unavailable"), "overloaded"),
    "429 of the minute": Fault(limit("Minutely API request limit exceeded. Please try again in one minute."), "Minutely", "open"),
    "429 of the hour": Fault(limit("Hourly API request limit exceeded. Please try again in the next hour."), "Hourly", "open", "limit"),
    "429 of the day": Fault(limit("Daily API request limit exceeded. Please try again tomorrow."), "Daily", "open", "limit"),
    "429 of too many at once": Fault(limit("Too many concurrent requests"), "concurrent", "open"),
    "429 with Retry-After": Fault(limit("Slow down", **{"Retry-After": "1800"}), "Slow down", "open", "limit"),
    "401": Fault(as_json({"error": True, "reason": "API key missing"}, "401 Unauthorized"), "does not let us in", "open", "shut out"),
    "403": Fault(as_json({"error": True, "reason": "Not in your plan"}, "403 Forbidden"), "does not let us in", "open", "shut out"),
    "400 about the key": Fault(
        as_json({"error": True, "reason": "The supplied API key is invalid."}, "400 Bad Request"), "does not let us in", "open", "shut out"
    ),
    "402": Fault(as_json({"error": True, "reason": "Payment required"}, "402 Payment Required"), "no longer serves", "open", "terms"),
    "410": Fault(as_json({}, "410 Gone"), "no longer serves what it did (status 410", "open", "terms"),
    "a redirect to a page of terms": Fault(
        spoken("302 Found", b"", headers={"Location": "https://weather.example/terms"}), "has moved (status 302)", "open", "terms"
    ),
    "HTML in place of JSON": Fault(
        spoken("200 OK", b"<!doctype html><title>Terms</title>", kind="text/html"), "a web page in place of data"
    ),
    "a truncated 200": Fault(spoken("200 OK", b'{"latitude": 52.5, "hourly": {"time": [17', length=4000), "broke off its answer"),
    "an error inside a 200": Fault(
        spoken("200 OK", b'{"latitude": 52.5, Unexpected error while streaming data'), "breaks off or is not JSON"
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_after_a_fault_the_last_good_weather_serves_and_the_reason_is_said(world: World, name: str) -> None:
    fault = FAULTS[name]
    assert world.cycle().status == "ok"
    before = world.service.outlooks()["main-pitch"]
    open_before = {alert.id for alert in world.service.alerts() if alert.ended_at_utc is None}
    world.forecast(lambda _path, _params: fault.answer() if callable(fault.answer) else fault.answer)
    if callable(fault.answer):
        world.impatient()
    world.service.wait(hours=6)
    record = world.cycle()
    assert record.status == "degraded"
    assert record.weather is not None
    assert record.weather.text.startswith("Weather from Open-Meteo, 6 hours old. The newest pull failed: ")
    assert fault.said in record.weather.text
    after = world.service.outlooks()["main-pitch"]
    assert after.known
    assert after.issued_at_utc > before.issued_at_utc
    assert open_before <= {alert.id for alert in world.service.alerts() if alert.ended_at_utc is None}
    assert (world.state().breaker(world.service.now), world.state().named) == (fault.breaker, fault.named)


WRONG_ANSWERS: dict[str, tuple[Any, str]] = {
    "nulls": ({"hourly": "null"}, "sent 0 values of temperature_2m"),
    "inches": ({"hourly_units": {"precipitation": "inch"}}, "inch"),
    "another place": ({"latitude": 48.2, "longitude": 16.4}, "48.2"),
}


@pytest.mark.parametrize("name", WRONG_ANSWERS)
def test_an_answer_that_is_not_what_was_asked_for_is_not_used(world: World, name: str) -> None:
    changes, said = WRONG_ANSWERS[name]
    world.cycle()

    def speak(_path: str, params: dict[str, str]) -> bytes:
        answer = json.loads(json.dumps(world.answer(params)))
        for key, value in changes.items():
            if value == "null":
                answer[key] = {column: cells if column == "time" else [None] * len(cells) for column, cells in answer[key].items()}
            elif isinstance(value, dict):
                answer[key] |= value
            else:
                answer[key] = value
        return as_json(answer)

    world.forecast(speak)
    world.service.wait(hours=6)
    record = world.cycle()
    assert record.weather is not None
    assert record.weather.text.startswith("Weather from Open-Meteo, 6 hours old. The newest pull failed: Open-Meteo")
    assert said in record.weather.text
    assert world.service.outlooks()["main-pitch"].known
    assert world.state().breaker(world.service.now) == "closed", "one place's answer is no reason to leave the service alone"
