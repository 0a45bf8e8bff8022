"""The Open-Meteo adapter against hand-made answers, good and bad, and one recorded answer."""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pandas as pd
import pytest
import requests
import responses

from forecaster import __version__
from forecaster.errors import WeatherError, WeatherMalformed, WeatherRefused, WeatherUnavailable
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import VARIABLE_MAP, Service, fetch_forecast, read_answer
from forecaster.units import watts_hours_to_megajoules
from forecaster.weather import frame
from forecaster.weather.frame import ORIGIN_CODES, HourlyWeather, Origin
from tests.sources.answers import BASE_URL, HOURS, NOW, PLACE, START, UNITS, URL, an_answer


def fetch(*, api_key: str | None = None) -> HourlyWeather:
    """Fetch without ever sleeping."""
    patience = Patience(deadline_seconds=10, sleep=lambda seconds: None)
    service = Service(base_url=BASE_URL, api_key=api_key, past_days=1, forecast_days=2)
    with requests.Session() as session:
        return fetch_forecast(PLACE, session=session, now=NOW, service=service, patience=patience)


def read(answer: Any) -> HourlyWeather:
    return read_answer(answer, latitude=PLACE.latitude, longitude=PLACE.longitude, now=NOW)


# ---------------------------------------------------------------- what is asked


@responses.activate
def test_it_asks_for_hourly_utc_unix_metres_per_second_and_says_who_asks() -> None:
    responses.get(URL, json=an_answer())
    fetch()
    request = responses.calls[0].request
    asked = {name: values[0] for name, values in parse_qs(urlsplit(request.url).query).items()}
    assert asked == {
        "latitude": "52.5200",
        "longitude": "13.4100",
        "elevation": "44",
        "hourly": ",".join(VARIABLE_MAP),
        "timezone": "GMT",
        "timeformat": "unixtime",
        "wind_speed_unit": "ms",
        "past_days": "1",
        "forecast_days": "2",
    }
    assert request.headers["User-Agent"].startswith(f"forecaster/{__version__}")
    assert "X-Api-Key" not in request.headers


@responses.activate
def test_a_key_goes_into_a_header_and_into_no_message() -> None:
    responses.get(URL, json={"error": True, "reason": "The supplied API key s3cret-key is invalid."}, status=400)
    with pytest.raises(WeatherRefused) as caught:
        fetch(api_key="s3cret-key")
    request = responses.calls[0].request
    assert request.headers["X-Api-Key"] == "s3cret-key"
    assert "s3cret-key" not in request.url
    assert "s3cret-key" not in repr(caught.value) + caught.value.hint + repr(Service(api_key="s3cret-key"))
    assert "***" in caught.value.message


# ---------------------------------------------------------------- what a good answer becomes


@responses.activate
def test_a_good_answer_becomes_the_canonical_frame() -> None:
    responses.get(URL, json=an_answer())
    weather = fetch()
    values = weather.values
    # One hour before the first label, because sums and means end at their label.
    assert values.index[0] == pd.Timestamp(START) - pd.Timedelta(hours=1)
    assert len(values) == HOURS + 1
    assert values[frame.AIR_TEMPERATURE].iloc[1:4].tolist() == [14.0, 14.1, 14.2]
    assert weather.issued_at == NOW
    assert (weather.wind_height_m, weather.soil_temperature_depth_cm) == (10.0, 6.0)
    assert (weather.source.attribution, weather.source.licence) == ("Weather data by Open-Meteo.com", "CC BY 4.0")
    assert weather.source.link == "https://open-meteo.com/"
    assert not weather.source.sample


def test_a_sum_labelled_one_o_clock_belongs_to_the_hour_from_midnight_and_an_instant_stays() -> None:
    # Source: the provider's documentation: precipitation is the sum, shortwave the mean, of the *preceding* hour; temperature is instant.
    def only_at_one(value: float) -> list[float]:
        return [value if hour == 1 else 0.0 for hour in range(HOURS)]

    answer = an_answer(
        precipitation=only_at_one(4.2),
        shortwave_radiation=only_at_one(120.0),
        temperature_2m=only_at_one(9.0),
        wind_speed_10m=only_at_one(5.0),
    )
    values = read(answer).values
    found = {name: values.index[int(np.nanargmax(values[name]))].hour for name in values.columns if values[name].max() > 0}
    assert found[frame.PRECIPITATION] == found[frame.SHORTWAVE] == 0
    assert found[frame.AIR_TEMPERATURE] == found[frame.WIND_SPEED] == 1


def test_rain_labelled_midnight_belongs_to_the_day_before() -> None:
    values = read(an_answer(precipitation=[7.0, *[0.0] * (HOURS - 1)])).values
    assert values[frame.PRECIPITATION].groupby(values.index.date).sum().iloc[0] == 7.0
    assert values.index[0].date().isoformat() == "2026-08-31"


def test_hours_before_now_are_modelled_and_the_hour_of_now_is_forecast() -> None:
    origins = read(an_answer()).origins[frame.AIR_TEMPERATURE]
    this_hour = pd.Timestamp("2026-09-02 06:00", tz="UTC")
    assert origins[this_hour - pd.Timedelta(hours=1)] == ORIGIN_CODES[Origin.MODELLED]
    assert origins[this_hour] == ORIGIN_CODES[Origin.FORECAST]


def test_single_nulls_become_missing_values() -> None:
    temperature: list[Any] = [14.0] * HOURS
    temperature[5] = None
    weather = read(an_answer(temperature_2m=temperature))
    at = pd.Timestamp("2026-09-01 05:00", tz="UTC")
    assert math.isnan(weather.values[frame.AIR_TEMPERATURE][at])
    assert weather.origins[frame.AIR_TEMPERATURE][at] == ORIGIN_CODES[Origin.MISSING]


def test_night_radiation_a_little_below_zero_becomes_zero_and_minus_zero_too() -> None:
    values = read(an_answer(shortwave_radiation=[-0.2, -0.0] * (HOURS // 2), precipitation=[-0.0] * HOURS)).values
    for name in (frame.SHORTWAVE, frame.PRECIPITATION):
        present = values[name].dropna().to_numpy()
        assert (present == 0.0).all()
        assert not np.signbit(present).any()


def test_a_place_without_soil_temperature_is_still_a_place_with_weather() -> None:
    weather = read(an_answer(soil_temperature_6cm=[None] * HOURS))
    assert weather.values[frame.SOIL_TEMPERATURE].isna().all()


def test_an_answer_that_ends_before_now_is_kept_and_says_so() -> None:
    weather = read(an_answer(hours=24))
    assert (weather.origins[frame.AIR_TEMPERATURE].iloc[1:] == ORIGIN_CODES[Origin.MODELLED]).all()
    assert any("ends at 2026-09-01 23:00 UTC" in note for note in weather.notes)
    assert not any("ends at" in note for note in read(an_answer()).notes)


def test_the_other_side_of_the_date_line_is_near() -> None:
    answer = {**an_answer(), "longitude": -179.95}
    assert read_answer(answer, latitude=52.5, longitude=179.95, now=NOW).values.shape[0] == HOURS + 1


# ---------------------------------------------------------------- answers that are not the weather asked for


def without(answer: dict[str, Any], block: str, name: str) -> dict[str, Any]:
    return {**answer, block: {key: value for key, value in answer[block].items() if key != name}}


def with_unit(name: str, unit: str) -> dict[str, Any]:
    return {**an_answer(), "hourly_units": {**UNITS, name: unit}}


def renamed(pairs: dict[str, str]) -> dict[str, Any]:
    answer = an_answer()
    return {
        **answer,
        "hourly_units": {pairs.get(key, key): value for key, value in answer["hourly_units"].items()},
        "hourly": {pairs.get(key, key): value for key, value in answer["hourly"].items()},
    }


def at_five(value: Any, usual: float) -> list[Any]:
    return [value if hour == 5 else usual for hour in range(HOURS)]


TIMES = an_answer()["hourly"]["time"]
MALFORMED: dict[str, tuple[Any, str]] = {
    "wind in km/h": (with_unit("wind_speed_10m", "km/h"), "wind_speed_10m in 'km/h', not 'm/s'"),
    "temperature in fahrenheit": (with_unit("temperature_2m", "°F"), "temperature_2m in '°F'"),
    "local clock times": (with_unit("time", "iso8601"), "time in 'iso8601'"),
    "names of years ago": (
        renamed({"wind_speed_10m": "windspeed_10m", "dew_point_2m": "dewpoint_2m"}),
        "no dew_point_2m; no wind_speed_10m",
    ),
    "unit but no values": (without(an_answer(), "hourly", "precipitation"), "nothing of precipitation"),
    "no units": ({key: value for key, value in an_answer().items() if key != "hourly_units"}, "hourly_units"),
    "no hourly block": ({key: value for key, value in an_answer().items() if key != "hourly"}, "'hourly'"),
    "a list of places": ([an_answer(), an_answer()], "a list"),
    "text": ("sunny", "text"),
    "no hours": (an_answer(time=[]), "no hours"),
    "text for times": (an_answer(time=["2026-09-01T00:00"] * HOURS), "unix seconds"),
    "half hours": (an_answer(time=[time + 1800 for time in TIMES]), "full hours"),
    "an hour left out": (an_answer(time=[*TIMES[:10], *[time + 3600 for time in TIMES[10:]]]), "after 2026-09-01 09:00 UTC"),
    "backwards": (an_answer(time=TIMES[::-1]), "one hour apart"),
    "fewer values than hours": (an_answer(temperature_2m=[14.0] * (HOURS - 1)), "71 values of temperature_2m for 72 hours"),
    "all null": (an_answer(**{name: [None] * HOURS for name in VARIABLE_MAP}), "0 values of temperature_2m"),
    "rain mostly null": (an_answer(precipitation=[0.0] * 30 + [None] * (HOURS - 30)), "30 values of precipitation"),
    "number as text": (an_answer(temperature_2m=at_five("14.2", 14.0)), "text as temperature_2m at 2026-09-01 05:00 UTC"),
    "truth as number": (an_answer(precipitation=at_five(True, 0.0)), "a truth value as precipitation"),
    "fill value": (an_answer(temperature_2m=at_five(-999, 14.0)), "temperature_2m = -999 °C at 2026-09-01 05:00 UTC"),
    "kelvin": (an_answer(temperature_2m=[287.2] * HOURS), "temperature_2m = 287.2"),
    "a number without end": (an_answer(temperature_2m=at_five(10**400, 14.0)), "temperature_2m = inf"),
    "negative rain": (an_answer(precipitation=at_five(-0.4, 0.0)), "precipitation = -0.4"),
    "too much sun": (an_answer(shortwave_radiation=at_five(1700, 0.0)), "shortwave_radiation = 1700"),
    "deeply negative sun": (an_answer(shortwave_radiation=at_five(-50, 0.0)), "shortwave_radiation = -50"),
    "humidity above all": (an_answer(relative_humidity_2m=at_five(130, 80)), "relative_humidity_2m = 130"),
    "another place": ({**an_answer(), "latitude": 51.5}, "latitude 51.5 where 52.52"),
    "nowhere": ({**an_answer(), "longitude": 10**400}, "longitude"),
    "more than once around": ({**an_answer(), "longitude": 301.0}, "longitude 301 where 13.41"),
    "no place": ({key: value for key, value in an_answer().items() if key != "longitude"}, "which longitude"),
    "place not a number": ({**an_answer(), "latitude": "52.52"}, "which latitude"),
}


@responses.activate
@pytest.mark.parametrize("case", MALFORMED)
def test_an_answer_that_is_not_what_was_asked_for_is_malformed_and_says_what(case: str) -> None:
    answer, said = MALFORMED[case]
    responses.get(URL, json=answer)
    with pytest.raises(WeatherMalformed) as caught:
        fetch()
    assert said in caught.value.message
    assert caught.value.source == "Open-Meteo"
    assert caught.value.hint
    assert len(responses.calls) == 1  # asking again would bring the same


# ---------------------------------------------------------------- refusals, limits, breakdowns


@responses.activate
@pytest.mark.parametrize(
    ("status", "reason"),
    [(400, "No data is available for this location"), (401, "key missing"), (403, "This plan does not include it"), (404, "Not Found")],
)
def test_a_no_is_a_refusal_and_is_not_asked_again(status: int, reason: str) -> None:
    responses.get(URL, json={"reason": reason, "error": True}, status=status)
    with pytest.raises(WeatherRefused) as caught:
        fetch()
    assert reason in caught.value.message
    assert caught.value.hint
    assert len(responses.calls) == 1


@responses.activate
@pytest.mark.parametrize(
    ("reason", "hint"),
    [
        ("Minutely API request limit exceeded. Please try again in one minute.", "minute"),
        ("Hourly API request limit exceeded. Please try again in the next hour.", "next full hour"),
        ("Daily API request limit exceeded. Please try again tomorrow.", "midnight UTC"),
        ("Too many concurrent requests", "about a minute"),
        ("Something new", "an hour"),
    ],
)
def test_a_limit_says_when_to_try_again_and_is_not_asked_again(reason: str, hint: str) -> None:
    responses.get(URL, json={"error": True, "reason": reason}, status=429)
    with pytest.raises(WeatherUnavailable) as caught:
        fetch()
    assert reason.rstrip(".") in caught.value.message
    assert hint in caught.value.hint
    assert caught.value.retryable
    assert len(responses.calls) == 1


@responses.activate
@pytest.mark.parametrize("status", [500, 502, 503, 504])
def test_a_breakdown_is_tried_three_times(status: int) -> None:
    responses.get(URL, body="<html><body>Bad Gateway</body></html>", status=status, content_type="text/html")
    with pytest.raises(WeatherUnavailable, match=f"status {status}"):
        fetch()
    assert len(responses.calls) == 3


@responses.activate
def test_an_overload_that_passes_is_not_noticed() -> None:
    responses.get(URL, json={"error": True, "reason": "The service is overloaded"}, status=503)
    responses.get(URL, json=an_answer())
    assert len(fetch().values) == HOURS + 1


@responses.activate
def test_an_error_written_into_a_good_answer_is_a_breakdown_and_not_malformed_weather() -> None:
    text = json.dumps(an_answer())
    responses.get(URL, body=text[:300] + "Unexpected error while streaming data: timeout")
    with pytest.raises(WeatherUnavailable, match="breaks off or is not JSON") as caught:
        fetch()
    assert caught.value.retryable
    assert len(responses.calls) == 3


@responses.activate
@pytest.mark.parametrize(
    "body", ["", "<html>Sign in to this network</html>", '{"latitude": NaN}', "[" * 100_000], ids=["empty", "html", "nan", "deep"]
)
def test_a_good_status_without_json_is_a_breakdown(body: str) -> None:
    responses.get(URL, body=body)
    with pytest.raises(WeatherUnavailable):
        fetch()


@responses.activate
@pytest.mark.parametrize(
    "fault",
    [
        requests.exceptions.ConnectionError("https://weather.example/?apikey=s3cret"),
        requests.exceptions.ConnectTimeout("s3cret"),
        requests.exceptions.ReadTimeout("s3cret"),
        requests.exceptions.SSLError("s3cret"),
        requests.exceptions.ChunkedEncodingError("s3cret"),
    ],
    ids=lambda fault: type(fault).__name__,
)
def test_a_failed_connection_is_tried_three_times_and_its_own_text_is_not_repeated(fault: Exception) -> None:
    responses.get(URL, body=fault)
    with pytest.raises(WeatherUnavailable) as caught:
        fetch()
    assert len(responses.calls) == 3
    assert "s3cret" not in caught.value.message + caught.value.hint
    assert caught.value.__cause__ is None
    assert caught.value.__context__ is None


@responses.activate
def test_a_redirect_is_not_followed() -> None:
    responses.get(URL, status=302, headers={"Location": "https://elsewhere.example/"})
    with pytest.raises(WeatherRefused, match="has moved"):
        fetch()


def test_every_error_of_the_adapter_carries_source_and_hint() -> None:
    for case, _ in itertools.islice(MALFORMED.items(), 5):
        with pytest.raises(WeatherError) as caught:
            read(MALFORMED[case][0])
        assert (caught.value.source, bool(caught.value.hint)) == ("Open-Meteo", True)


# ---------------------------------------------------------------- a recorded answer


def test_in_a_recorded_answer_hourly_values_add_up_to_the_daily_ones(shared: Path) -> None:
    """Recorded answer of the service for Berlin, 24 November 2021. Its names are older ones: only the rule of sums is looked at."""
    answer = json.loads((shared / "recordings/openmeteo/forecast_berlin_2021-11-24_24h_legacy_names.json").read_text())
    hourly, daily = answer["hourly"], answer["daily"]
    assert sum(hourly["precipitation"]) == pytest.approx(daily["precipitation_sum"][0], abs=0.005)
    assert watts_hours_to_megajoules(sum(hourly["shortwave_radiation"])) == pytest.approx(daily["shortwave_radiation_sum"][0], abs=0.005)
    with pytest.raises(WeatherMalformed, match="no dew_point_2m"):
        read(answer)
