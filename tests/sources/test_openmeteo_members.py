"""Ensembles of Open-Meteo: all members of one model, and nothing that is not one story."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import requests
import responses

from forecaster.errors import WeatherMalformed, WeatherRefused
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import Service
from forecaster.sources.openmeteo_members import MODELS, VARIABLE_MAP, fetch_members, member_keys, read_members
from forecaster.weather import frame
from forecaster.weather.members import MemberWeather
from tests.sources.answers import BASE_URL, HOURS, NOW, PLACE, START
from tests.sources.openmeteo_answers import CountedBudget, asked, ensemble_answer

URL = f"{BASE_URL}/v1/ensemble"
ECMWF = "ecmwf_ifs025_ensemble"


def fetch(model: str = ECMWF, **service: Any) -> MemberWeather:
    patience = Patience(deadline_seconds=10, sleep=lambda seconds: None)
    with requests.Session() as session:
        return fetch_members(
            PLACE, session=session, now=NOW, service=Service(ensemble_url=BASE_URL, **service), model=model, patience=patience
        )


def read(answer: Any, model: str = ECMWF) -> MemberWeather:
    return read_members(answer, latitude=PLACE.latitude, longitude=PLACE.longitude, model=model, now=NOW)


@responses.activate
def test_it_asks_for_one_model_as_far_as_it_goes_and_counts_all_members() -> None:
    responses.get(URL, json=ensemble_answer(51))
    budget = CountedBudget()
    fetch(budget=budget)
    params = asked(responses.calls[0].request)
    assert (params["models"], params["forecast_days"], params["hourly"]) == (ECMWF, "15", ",".join(VARIABLE_MAP))
    assert "past_days" not in params
    assert budget.counted == pytest.approx(32.8, abs=0.05)  # the provider's rule, 6 variables of 51 members over 15 days


@responses.activate
def test_members_become_arrays_in_the_order_of_their_numbers_with_the_control_run_first() -> None:
    responses.get(URL, json=ensemble_answer(51))
    weather = fetch()
    temperature = weather.values[frame.AIR_TEMPERATURE]
    assert (temperature.shape, temperature.dtype) == ((51, HOURS + 1), np.float32)
    np.testing.assert_allclose(temperature[:, 1], 10 + np.arange(51) / 10, rtol=1e-6)
    assert set(weather.values) == {variable.ours for variable in VARIABLE_MAP.values()}
    assert (weather.model, weather.issued_at, weather.members, weather.wind_height_m) == (ECMWF, NOW, 51, 10.0)
    assert weather.source.licence == "CC BY 4.0"


def test_hours_that_are_spread_from_three_are_marked() -> None:
    """The provider's documentation: ECMWF's ensemble has steps of 3 hours, ICON-D2's of 1 hour."""
    assert set(read(ensemble_answer(51)).step_hours) == {3}
    assert set(read(ensemble_answer(20), "icon_d2_eps").step_hours) == {1}


def test_rain_labelled_one_o_clock_belongs_to_the_hour_from_midnight_and_an_instant_stays() -> None:
    at_one = [1.5 if hour == 1 else 0.0 for hour in range(HOURS)]
    weather = read(ensemble_answer(51, precipitation_member07=at_one, wind_speed_10m_member07=at_one, shortwave_radiation=[-0.2] * HOURS))
    assert weather.hours[0] == pd.Timestamp(START) - pd.Timedelta(hours=1)
    assert weather.hours[np.nanargmax(weather.values[frame.PRECIPITATION][7])].hour == 0
    assert weather.hours[np.nanargmax(weather.values[frame.WIND_SPEED][7])].hour == 1
    assert np.nanmax(weather.values[frame.PRECIPITATION][6]) == 0
    assert np.nanmin(weather.values[frame.SHORTWAVE]) == 0


def test_the_tail_after_the_models_end_is_cut_off() -> None:
    assert len(read(ensemble_answer(51, known=48)).hours) == 48 + 1
    # Rain that goes on as zeros after the end (a fault known at the provider) does not make the ensemble longer.
    rain = {f"precipitation_member{number:02d}": [0.0] * HOURS for number in range(1, 51)}
    assert len(read(ensemble_answer(51, known=48, **rain)).hours) == 48 + 1


def test_single_nulls_stay_missing_values_of_their_member() -> None:
    gap = [14.0] * 10 + [None] + [14.0] * (HOURS - 11)
    temperature = read(ensemble_answer(51, temperature_2m_member03=gap)).values[frame.AIR_TEMPERATURE]
    assert np.argwhere(np.isnan(temperature[:, 1:])).tolist() == [[3, 10]]


def test_the_suffix_of_the_model_may_be_there_or_not() -> None:
    plain, named = read(ensemble_answer(51)), read(ensemble_answer(51, suffix=f"_{ECMWF}"))
    for name, values in plain.values.items():
        np.testing.assert_array_equal(values, named.values[name])


def test_keys_of_two_models_are_told_apart(shared: Path) -> None:
    """Hand-made from the server's rules: control without a number, members with two digits, the model behind."""
    folder = shared / "recordings/openmeteo/synthetic"
    two = json.loads((folder / "SYNTHETIC_ensemble_two_models.json").read_text())["hourly"]
    one = json.loads((folder / "SYNTHETIC_ensemble_one_model.json").read_text())["hourly"]
    names = ("temperature_2m", "precipitation")
    for model in (ECMWF, "ncep_gefs025"):
        expected = {name: {0: f"{name}_{model}", **{n: f"{name}_member{n:02d}_{model}" for n in (1, 2)}} for name in names}
        assert member_keys(two, model=model) == expected
    assert member_keys(one, model=ECMWF) == {name: {0: name, 1: f"{name}_member01", 2: f"{name}_member02"} for name in names}
    assert member_keys(two, model="icon_d2_eps") == {}


def test_some_members_missing_is_said() -> None:
    weather = read(ensemble_answer(40))
    assert weather.members == 40
    assert any("40 of 51 members" in note for note in weather.notes)
    assert not any("members" in note for note in read(ensemble_answer(51)).notes)


def without(answer: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {**answer, "hourly": {key: values for key, values in answer["hourly"].items() if key not in keys}}


def with_unit(key: str, unit: str) -> dict[str, Any]:
    answer = ensemble_answer(51)
    return {**answer, "hourly_units": answer["hourly_units"] | {key: unit}}


MALFORMED: dict[str, tuple[Any, str]] = {
    "few members": (ensemble_answer(25), "25 of 51 members"),
    "one member lacks rain": (
        without(ensemble_answer(51), "precipitation_member09"),
        "51 members of temperature_2m and 50 of precipitation",
    ),
    "no humidity": (
        without(ensemble_answer(51), "relative_humidity_2m", *(f"relative_humidity_2m_member{n:02d}" for n in range(1, 51))),
        f"no relative_humidity_2m of {ECMWF}",
    ),
    "another model": (ensemble_answer(51, suffix="_ncep_gefs025"), f"no temperature_2m, dew_point_2m, relative_humidity_2m, "
                      f"wind_speed_10m, shortwave_radiation, precipitation of {ECMWF}"),
    "all null": (ensemble_answer(51, known=0), "0 values of temperature_2m"),
    "one variable null": (
        ensemble_answer(51, **{f"precipitation{end}": [None] * HOURS for end in ("", *(f"_member{n:02d}" for n in range(1, 51)))}),
        "0 values of precipitation",
    ),
    "wind of one member in km/h": (with_unit("wind_speed_10m_member12", "km/h"), "wind_speed_10m_member12 in 'km/h'"),
    "fill value in one member": (ensemble_answer(51, temperature_2m_member50=[-999.0] * HOURS), "temperature_2m_member50 = -999"),
    "short member": (ensemble_answer(51, precipitation_member01=[0.0] * 5), "5 values of precipitation_member01 for 72 hours"),
    "elsewhere": ({**ensemble_answer(51), "longitude": 20.0}, "longitude 20"),
    "a list": ([ensemble_answer(51)], "no temperature_2m"),
}  # fmt: skip


@pytest.mark.parametrize("case", MALFORMED)
def test_what_is_no_ensemble_is_malformed_and_says_what(case: str) -> None:
    answer, said = MALFORMED[case]
    with pytest.raises(WeatherMalformed) as caught:
        read(answer)
    assert said in caught.value.message


def test_an_unknown_model_is_refused_without_asking() -> None:
    with responses.RequestsMock(), pytest.raises(WeatherRefused) as caught:
        fetch("icon_nowhere")
    assert all(model in caught.value.hint for model in MODELS)
    # Share-alike licence (CC BY-SA 4.0) of the UK Met Office models, by the provider's licence page.
    assert not any(model.startswith("ukmo") for model in MODELS)
