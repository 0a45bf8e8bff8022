"""The archive of Open-Meteo: one reanalysis, in pieces of a year, to where it ends."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
import requests
import responses

from forecaster.errors import WeatherMalformed, WeatherRefused, WeatherUnavailable
from forecaster.quantities import Origin
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import Service, read_answer
from forecaster.sources.openmeteo_archive import VARIABLE_MAP, fetch_archive
from forecaster.sources.openmeteo_limits import call_weight
from forecaster.weather import frame
from forecaster.weather.frame import ORIGIN_CODES, HourlyWeather
from forecaster.weather.merge import join
from tests.sources.answers import BASE_URL, NOW, PLACE, an_answer
from tests.sources.openmeteo_answers import CountedBudget, archive_answer, archive_reply, asked

URL = f"{BASE_URL}/v1/archive"
# The provider's documentation: ERA5 is about 5 days behind.
KNOWN_UNTIL = datetime(2026, 8, 28, 23, tzinfo=UTC)


def fetch(start: date, end: date, **service: Any) -> HourlyWeather:
    patience = Patience(deadline_seconds=10, sleep=lambda seconds: None)
    with requests.Session() as session:
        return fetch_archive(
            PLACE, session=session, start=start, end=end, now=NOW, service=Service(archive_url=BASE_URL, **service), patience=patience
        )


def serve(known_until: datetime = KNOWN_UNTIL) -> None:
    responses.add_callback(responses.GET, URL, callback=archive_reply(known_until))


@responses.activate
def test_it_asks_for_one_named_reanalysis_in_pieces_of_a_year() -> None:
    serve()
    budget = CountedBudget()
    fetch(date(2019, 12, 1), date(2021, 12, 31), budget=budget)
    questions = [asked(call.request) for call in responses.calls]
    days = [(question["start_date"], question["end_date"]) for question in questions]
    assert days == [("2019-12-01", "2020-11-29"), ("2020-11-30", "2021-11-29"), ("2021-11-30", "2021-12-31")]
    assert {question["models"] for question in questions} == {"era5_seamless"}
    assert {(question["timezone"], question["timeformat"], question["wind_speed_unit"]) for question in questions} == {
        ("GMT", "unixtime", "ms")
    }
    assert questions[0]["hourly"].split(",") == list(VARIABLE_MAP)
    assert budget.counted == pytest.approx(2 * call_weight(7, days=365) + call_weight(7, days=32))


@responses.activate
def test_pieces_join_without_a_seam() -> None:
    serve()
    weather = fetch(date(2020, 1, 1), date(2021, 1, 2))
    values = weather.values
    assert values.index[0] == pd.Timestamp("2019-12-31 23:00", tz="UTC")
    assert len(values) == 24 * (366 + 2) + 1
    # The last hour of the first piece has its rain from the first label of the second; only the very last hour has none.
    assert values[frame.PRECIPITATION].isna().sum() == 1
    assert values[frame.PRECIPITATION].isna().iloc[-1]
    assert values[frame.AIR_TEMPERATURE].isna().sum() == 1
    # A leap day is a day like others: 29 February 2020 was day 7364 since 2000; the invented temperature is that modulo 20.
    at = pd.Timestamp("2020-02-29 13:00", tz="UTC")
    assert (at.date() - date(2000, 1, 1)).days == 7364
    assert values[frame.AIR_TEMPERATURE][at] == pytest.approx(4.13)


@responses.activate
def test_every_value_is_modelled() -> None:
    serve(datetime(2030, 1, 1, tzinfo=UTC))
    origins = fetch(date(2026, 8, 1), date(2026, 9, 2)).origins
    # Also hours after now, should the archive ever tell them: a reanalysis is no forecast.
    assert origins.index[-1] > NOW
    assert set(np.unique(origins.to_numpy())) == {ORIGIN_CODES[Origin.MISSING], ORIGIN_CODES[Origin.MODELLED]}


@responses.activate
def test_a_layers_temperature_has_no_depth_and_is_not_joined_with_a_series_at_6_cm() -> None:
    serve()
    archive = fetch(date(2026, 8, 1), date(2026, 8, 31))
    assert archive.soil_temperature_depth_cm is None
    assert archive.values[frame.SOIL_TEMPERATURE].notna().sum() == 24 * 28
    forecast = read_answer(an_answer(), latitude=PLACE.latitude, longitude=PLACE.longitude, now=NOW)
    joined = join([forecast, archive], since=datetime(2026, 8, 1, tzinfo=UTC)).frame.values
    before = joined.index < pd.Timestamp("2026-08-28", tz="UTC")
    assert joined.loc[before, frame.AIR_TEMPERATURE].notna().all()
    assert joined.loc[before, frame.SOIL_TEMPERATURE].isna().all()


@responses.activate
def test_the_newest_days_are_cut_off_and_a_note_says_where_it_ends() -> None:
    serve()
    weather = fetch(date(2026, 8, 1), date(2026, 9, 2))
    assert weather.values.index[-1] == pd.Timestamp(KNOWN_UNTIL)
    assert any("ends at 2026-08-28 23:00 UTC, 103 hours before" in note for note in weather.notes)
    assert not any("ends at" in note for note in fetch(date(2026, 8, 1), date(2026, 8, 28)).notes)


@responses.activate
def test_days_to_come_are_left_out_of_the_question() -> None:
    serve()
    fetch(date(2026, 8, 1), date(2026, 12, 31))
    assert asked(responses.calls[0].request)["end_date"] == "2026-09-02"


@responses.activate
def test_a_piece_of_nulls_in_the_end_is_only_the_end() -> None:
    serve()
    weather = fetch(date(2025, 8, 31), date(2026, 9, 2))  # the second piece begins on 31 August 2026
    assert len(responses.calls) == 2
    assert weather.values.index[-1] == pd.Timestamp(KNOWN_UNTIL)


@responses.activate
def test_days_of_which_nothing_is_out_yet_are_for_later() -> None:
    serve()
    with pytest.raises(WeatherUnavailable, match="has nothing after 2026-08-29 23:00 UTC yet") as caught:
        fetch(date(2026, 8, 30), date(2026, 9, 2))
    assert caught.value.retryable


@responses.activate
def test_an_archive_that_ends_months_ago_is_a_fault_and_no_delay() -> None:
    serve(datetime(2026, 5, 31, 23, tzinfo=UTC))
    with pytest.raises(WeatherMalformed, match="nothing after 2026-05-31 23:00 UTC"):
        fetch(date(2026, 1, 1), date(2026, 9, 2))


@pytest.mark.parametrize(
    ("start", "end"), [(date(1949, 12, 31), date(1960, 1, 1)), (date(2026, 9, 3), date(2026, 9, 4)), (date(2020, 2, 2), date(2020, 2, 1))]
)
def test_days_that_the_archive_does_not_hold_are_refused_without_asking(start: date, end: date) -> None:
    with responses.RequestsMock(assert_all_requests_are_fired=False), pytest.raises(WeatherRefused, match="1950-01-01 to 2026-09-02"):
        fetch(start, end)


def broken(case: str) -> dict[str, Any]:
    answer = archive_answer(date(2026, 8, 1), date(2026, 8, 20), known_until=KNOWN_UNTIL)
    hours = len(answer["hourly"]["time"])
    if case == "a day short":
        answer["hourly"] = {name: values[:-24] for name, values in answer["hourly"].items()}
    elif case == "from yesterday":
        answer["hourly"]["time"] = [time - 86400 for time in answer["hourly"]["time"]]
    elif case == "mostly null":
        answer["hourly"]["precipitation"] = [0.0 if hour % 4 == 0 else None for hour in range(hours)]
    elif case == "km/h":
        answer["hourly_units"]["wind_speed_10m"] = "km/h"
    elif case == "6 cm":
        answer["hourly_units"]["soil_temperature_6cm"] = answer["hourly_units"].pop("soil_temperature_0_to_7cm")
    elif case == "elsewhere":
        answer["latitude"] = 40.0
    elif case == "fill value":
        answer["hourly"]["temperature_2m"][7] = -999
    return answer


@responses.activate
@pytest.mark.parametrize(
    ("case", "said"),
    [
        ("a day short", "2026-08-01 00:00 UTC to 2026-08-19 23:00 UTC where 2026-08-01 to 2026-08-20"),
        ("from yesterday", "sent 2026-07-31 00:00 UTC"),
        ("mostly null", "120 values of precipitation for 480 hours"),
        ("km/h", "wind_speed_10m in 'km/h'"),
        ("6 cm", "no soil_temperature_0_to_7cm"),
        ("elsewhere", "latitude 40"),
        ("fill value", "temperature_2m = -999"),
    ],
)
def test_the_checks_are_those_of_the_forecast(case: str, said: str) -> None:
    responses.get(URL, json=broken(case))
    with pytest.raises(WeatherMalformed) as caught:
        fetch(date(2026, 8, 1), date(2026, 8, 20))
    assert said in caught.value.message


@responses.activate
def test_many_years_wait_for_the_next_minute_of_the_budget() -> None:
    serve()
    budget = CountedBudget()
    full_at = 600.0

    class Minute:
        span = "minute"
        until = budget.now.replace(second=0) + timedelta(minutes=1)

    take = budget.take

    def limited(weight: float, *, now: datetime) -> Any:
        if now < Minute.until and sum(budget.taken) + weight > full_at:
            return Minute
        return take(weight, now=now)

    budget.take = limited  # type: ignore[method-assign]
    patience = Patience(deadline_seconds=180, sleep=budget.sleep)
    with requests.Session() as session:
        weather = fetch_archive(
            PLACE,
            session=session,
            start=date(1990, 1, 1),
            end=date(2024, 12, 31),
            now=NOW,
            service=Service(archive_url=BASE_URL, budget=budget),
            patience=patience,
        )
    # 35 years of 18.25 are 639: the thirty-third year waits.
    assert budget.now == Minute.until + timedelta(seconds=1)
    assert len(weather.values) == 24 * 12784 + 1  # 35 years with 9 leap days
