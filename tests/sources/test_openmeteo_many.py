"""Many grounds in one request to Open-Meteo: a list comes back, and one bad place does not starve the others."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import requests
import responses

from forecaster.errors import WeatherError, WeatherMalformed, WeatherRefused, WeatherUnavailable
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import VARIABLE_MAP, Service, fetch_forecasts
from forecaster.weather import frame
from forecaster.weather.frame import HourlyWeather
from tests.sources.answers import BASE_URL, HOURS, NOW, URL, an_answer
from tests.sources.openmeteo_answers import CountedBudget, asked

NO_DATA = {"error": True, "reason": "No data is available for this location"}


def places(count: int) -> dict[str, SimpleNamespace]:
    return {
        f"ground{number}": SimpleNamespace(latitude=50 + number / 10, longitude=0.5, elevation_m=10.0 + number) for number in range(count)
    }


def answer_for(latitude: float) -> dict[str, Any]:
    """Weather that shows which place it is of: the temperature is the latitude less 40."""
    return {**an_answer(temperature_2m=[latitude - 40] * HOURS), "latitude": latitude, "longitude": 0.5}


def serve(*, nowhere: frozenset[float] = frozenset(), limit_after: int | None = None) -> None:
    """A stand-in that answers lists with lists and refuses a whole call for one place without data."""

    def reply(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        latitudes = [float(text) for text in asked(request)["latitude"].split(",")]
        if limit_after is not None and len(responses.calls) >= limit_after:
            return 429, {}, json.dumps({"error": True, "reason": "Daily API request limit exceeded."})
        if nowhere.intersection(latitudes):
            return 400, {}, json.dumps(NO_DATA)
        answers = [answer_for(latitude) for latitude in latitudes]
        return 200, {}, json.dumps(answers[0] if len(answers) == 1 else answers)

    responses.add_callback(responses.GET, URL, callback=reply)


def fetch(wanted: dict[str, SimpleNamespace], **service: Any) -> dict[str, HourlyWeather | WeatherError]:
    patience = Patience(deadline_seconds=30, sleep=lambda seconds: None)
    with requests.Session() as session:
        return fetch_forecasts(wanted, session=session, now=NOW, service=Service(base_url=BASE_URL, **service), patience=patience)


def temperature(outcome: HourlyWeather | WeatherError) -> float:
    assert isinstance(outcome, HourlyWeather)
    return float(outcome.values[frame.AIR_TEMPERATURE].dropna().unique().item())


@responses.activate
def test_one_request_asks_for_all_and_each_gets_its_own() -> None:
    serve()
    found = fetch(places(5))
    assert len(responses.calls) == 1
    params = asked(responses.calls[0].request)
    assert params["latitude"] == "50.0000,50.1000,50.2000,50.3000,50.4000"
    assert params["longitude"] == ",".join(["0.5000"] * 5)
    assert params["elevation"] == "10,11,12,13,14"
    assert [temperature(found[f"ground{number}"]) for number in range(5)] == pytest.approx([10, 10.1, 10.2, 10.3, 10.4])


@responses.activate
def test_one_place_alone_is_answered_without_a_list() -> None:
    serve()
    assert temperature(fetch(places(1))["ground0"]) == pytest.approx(10)


@responses.activate
def test_nobody_asks_for_nothing() -> None:
    assert fetch({}) == {}


@responses.activate
def test_grounds_at_one_place_share_an_answer() -> None:
    serve()
    wanted = {**places(2), "twin": SimpleNamespace(latitude=50.10001, longitude=0.5, elevation_m=11.2)}
    found = fetch(wanted)
    assert asked(responses.calls[0].request)["latitude"] == "50.0000,50.1000"
    assert found["twin"] is found["ground1"]


@responses.activate
def test_grounds_in_one_cell_of_the_finest_model_share_an_answer_unless_one_lies_higher() -> None:
    serve()
    near = SimpleNamespace(latitude=50.004, longitude=0.496, elevation_m=6.0)
    higher = SimpleNamespace(latitude=50.004, longitude=0.496, elevation_m=64.0)
    found = fetch({**places(1), "near": near, "higher": higher})
    assert asked(responses.calls[0].request)["elevation"] == "10,64"
    assert found["near"] is found["ground0"]
    assert found["higher"] is not found["ground0"]


@responses.activate
def test_all_requests_together_end_at_their_own_deadline() -> None:
    hand = [0.0]

    def slow(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        hand[0] += 25.0
        return 200, {}, json.dumps([answer_for(float(text)) for text in asked(request)["latitude"].split(",")])

    responses.add_callback(responses.GET, URL, callback=slow)
    patience = Patience(deadline_seconds=30, sleep=lambda seconds: None, clock=lambda: hand[0])
    with requests.Session() as session:
        service = Service(base_url=BASE_URL)
        found = fetch_forecasts(places(200), session=session, now=NOW, service=service, patience=patience, whole_seconds=45.0)
    came = [isinstance(outcome, HourlyWeather) for outcome in found.values()]
    assert came == [True] * 100 + [False] * 100
    assert "too slow" in str(found["ground199"])


@responses.activate
def test_a_place_without_data_is_found_by_halving_and_the_others_get_their_weather() -> None:
    serve(nowhere=frozenset({50.6}))
    budget = CountedBudget()
    found = fetch(places(16), budget=budget)
    bad = found.pop("ground6")
    assert isinstance(bad, WeatherRefused)
    assert "No data is available" in bad.message
    assert [temperature(outcome) for outcome in found.values()] == pytest.approx([10 + n / 10 for n in range(16) if n != 6])
    # 16, then at each of four halvings one good and one bad half.
    assert len(responses.calls) == 1 + 2 * 4
    weight = len(VARIABLE_MAP) / 10 * 108 / 14
    assert budget.counted == pytest.approx(15 * weight + 5 * 1.0)


@responses.activate
def test_a_refusal_that_is_no_places_fault_is_not_halved() -> None:
    responses.get(URL, status=400, json={"error": True, "reason": "The supplied API key is invalid."})
    found = fetch(places(8))
    assert len(responses.calls) == 1
    assert all(isinstance(outcome, WeatherRefused) for outcome in found.values())


@responses.activate
def test_no_request_is_larger_than_the_service_takes() -> None:
    serve()
    fetch(places(120))
    assert [asked(call.request)["latitude"].count(",") + 1 for call in responses.calls] == [50, 50, 20]
    assert all(len(str(call.request.url)) < 4000 for call in responses.calls)
    # Without a key a request must also fit a minute of 600: 0.7 * 400 / 14 = 20 for each place.
    responses.calls.reset()
    fetch(places(31), past_days=384, forecast_days=16)
    assert [asked(call.request)["latitude"].count(",") + 1 for call in responses.calls] == [30, 1]


@responses.activate
def test_when_the_service_has_had_enough_the_rest_is_not_asked_for() -> None:
    serve(limit_after=1)
    found = fetch(places(150))
    assert len(responses.calls) == 2
    assert sum(isinstance(outcome, HourlyWeather) for outcome in found.values()) == 50
    assert sum(isinstance(outcome, WeatherUnavailable) for outcome in found.values()) == 100


@responses.activate
def test_a_bad_element_is_the_error_of_its_place_alone() -> None:
    answers = [answer_for(50.0), answer_for(50.1), answer_for(50.2)]
    answers[1]["hourly_units"]["wind_speed_10m"] = "km/h"
    responses.get(URL, json=answers)
    found = fetch(places(3))
    assert isinstance(found["ground1"], WeatherMalformed)
    assert "km/h" in found["ground1"].message
    assert [temperature(found[name]) for name in ("ground0", "ground2")] == pytest.approx([10, 10.2])


@responses.activate
def test_answers_in_another_order_are_not_believed() -> None:
    responses.get(URL, json=[answer_for(51.0), answer_for(50.0)])
    wanted = {name: SimpleNamespace(latitude=latitude, longitude=0.5, elevation_m=0.0) for name, latitude in (("a", 50.0), ("b", 51.0))}
    assert all(isinstance(outcome, WeatherMalformed) for outcome in fetch(wanted).values())


@responses.activate
@pytest.mark.parametrize(
    ("answer", "said"),
    [(answer_for(50.0), "an object in place of the weather of 3 places"), ([answer_for(50.0)] * 2, "of 2 places where 3")],
)
def test_a_list_of_another_length_is_nobodys_weather(answer: Any, said: str) -> None:
    responses.get(URL, json=answer)
    for outcome in fetch(places(3)).values():
        assert isinstance(outcome, WeatherMalformed)
        assert said in outcome.message


def test_the_recorded_list_has_the_shape_that_is_read(shared: Path) -> None:
    """Hand-made from the server's rules: a list in request order, the first element without a number."""
    answers = json.loads((shared / "recordings/openmeteo/synthetic/SYNTHETIC_multi_location_unixtime.json").read_text())
    wanted = {str(number): SimpleNamespace(latitude=answer["latitude"], longitude=answer["longitude"], elevation_m=38.0)
              for number, answer in enumerate(answers)}  # fmt: skip
    with responses.RequestsMock() as mock:
        mock.get(URL, json=answers)
        found = fetch(wanted)
    # It holds temperature alone, so it is refused for that and for nothing else.
    for outcome in found.values():
        assert isinstance(outcome, WeatherMalformed)
        assert "no dew_point_2m" in outcome.message
        assert "temperature_2m" not in outcome.message
