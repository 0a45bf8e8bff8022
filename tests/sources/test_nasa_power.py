"""The NASA POWER adapter against hand-made answers, good and bad, and recorded ones."""

from __future__ import annotations

import json
import re
import socket
import threading
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import requests
import responses

from forecaster.errors import WeatherMalformed, WeatherRefused, WeatherUnavailable
from forecaster.sources.http import Patience
from forecaster.sources.nasa_power import PARAMETERS, DailySeries, TimeStandard, fetch_daily, read_answer
from tests.sources.nasa_power_answers import BASE_URL, DAYS, END, PLACE, START, UNITS, URL, USUAL, an_answer
from tests.sources.test_http import drip, server


def fetch(
    *, time_standard: TimeStandard = "LST", base_url: str = BASE_URL, patience: Patience = Patience(sleep=lambda seconds: None)  # noqa: B008
) -> DailySeries:  # fmt: skip
    """Fetch without ever sleeping."""
    with requests.Session() as session:
        return fetch_daily(
            PLACE, session=session, start=START, end=END, time_standard=time_standard, base_url=base_url, patience=patience
        )  # fmt: skip


def read(answer: Any) -> DailySeries:
    return read_answer(answer, PLACE, start=START, end=END, time_standard="LST")


# ---------------------------------------------------------------- what is asked, and what a good answer becomes


@responses.activate
@pytest.mark.parametrize("time_standard", ["LST", "UTC"])
def test_it_asks_for_whole_days_by_the_clock_that_is_wanted(time_standard: TimeStandard) -> None:
    responses.get(URL, json=an_answer(time_standard=time_standard))
    series = fetch(time_standard=time_standard)
    asked = {name: values[0] for name, values in parse_qs(urlsplit(responses.calls[0].request.url).query).items()}
    assert asked == {
        "parameters": ",".join(PARAMETERS),
        "community": "AG",
        "longitude": "13.4100",
        "latitude": "52.5200",
        "start": "20240227",
        "end": "20240303",
        "format": "JSON",
        "time-standard": time_standard,
        "user": "forecaster",
    }
    assert series.time_standard == time_standard


@responses.activate
def test_a_good_answer_becomes_days_with_the_leap_day_among_them() -> None:
    responses.get(URL, json=an_answer(PRECTOTCORR=[0.0, 1.5, 12.25, 0.0, 0.0, 0.0]))
    series = fetch()
    assert series.days == DAYS
    assert series.precipitation_mm[series.days.index(date(2024, 2, 29))] == 12.25
    for name, parameter in PARAMETERS.items():
        if name != "PRECTOTCORR":
            assert getattr(series, parameter.ours).tolist() == [USUAL[name]] * len(DAYS)
    assert series.notes == ()


def test_radiation_in_kilowatt_hours_is_turned_into_megajoules_by_the_unit_the_answer_states() -> None:
    answer = an_answer(ALLSKY_SFC_SW_DWN=[2.0] * 6)
    answer["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = "kW-hr/m^2/day"
    assert read(answer).shortwave_mj == pytest.approx([7.2] * 6)  # 1 kWh = 3.6 MJ (definition)


def test_the_fill_value_of_the_head_is_missing_and_days_that_lag_are_counted() -> None:
    answer = an_answer(ALLSKY_SFC_SW_DWN=[7.0, 7.0, 7.0, -999, -999.0, -998.9999], T2M=[6.0, 6.0, 6.0, 6.0, 6.0, None])
    series = read(answer)
    assert np.isnan(series.shortwave_mj).tolist() == [False] * 3 + [True] * 3
    assert series.notes == ("NASA POWER has no value, or none yet: mean temperature on 1, radiation on 3 of 6 days.",)


def test_another_fill_value_is_believed_and_the_usual_one_is_then_no_weather() -> None:
    answer = an_answer(RH2M=[74.0] * 5 + [-99.0])
    answer["header"]["fill_value"] = -99
    assert np.isnan(read(answer).relative_humidity_mean_percent[-1])
    answer = an_answer(T2M_MIN=[3.0] * 5 + [-999.0])
    answer["header"]["fill_value"] = -99
    with pytest.raises(WeatherMalformed, match="T2M_MIN = -999 at 2024-03-03"):
        read(answer)


def test_the_unit_does_not_reach_the_fill_value() -> None:
    answer = an_answer(ALLSKY_SFC_SW_DWN=[2.0] * 5 + [-999.0])
    answer["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = "kW-hr/m^2/day"
    assert np.isnan(read(answer).shortwave_mj[-1])


def test_days_that_are_not_in_the_answer_are_missing() -> None:
    series = read(an_answer(DAYS[:-2]))
    assert np.isnan(series.precipitation_mm).tolist() == [False] * 4 + [True] * 2


def test_a_cell_that_lies_at_another_height_is_said() -> None:
    answer = an_answer()
    answer["geometry"]["coordinates"][2] = 612.4
    assert any("612 m high; the place is 44 m" in note for note in read(answer).notes)


@responses.activate
@pytest.mark.parametrize("name", ["PRECTOTCORR", "T2M_MAX"])
def test_an_answer_of_fill_values_alone_is_no_weather_with_status_200(name: str) -> None:
    responses.get(URL, json=an_answer(**{name: [-999.0] * 6}))
    with pytest.raises(WeatherUnavailable, match="no weather from 2024-02-27 to 2024-03-03") as caught:
        fetch()
    assert caught.value.hint


def test_the_end_must_not_lie_before_the_start() -> None:
    with requests.Session() as session, pytest.raises(ValueError, match="before the first"):
        fetch_daily(PLACE, session=session, start=END, end=START)


# ---------------------------------------------------------------- answers that are not the weather asked for


def with_head(**changed: Any) -> dict[str, Any]:
    answer = an_answer()
    return {**answer, "header": {**answer["header"], **changed}}


def with_unit(name: str, unit: Any) -> dict[str, Any]:
    return {**an_answer(), "parameters": {key: {"units": unit if key == name else value} for key, value in UNITS.items()}}


MALFORMED: dict[str, tuple[Any, str]] = {
    "a list": ([an_answer()], "'geometry'"),
    "an error document": ({"header": "no", "messages": ["no"]}, "'geometry'"),
    "another place": ({**an_answer(), "geometry": {"coordinates": [13.41, 51.52, 44.0]}}, "latitude 51.52 where 52.52"),
    "another clock": (with_head(time_standard="UTC"), "days in 'UTC', not 'LST'"),
    "no clock": (with_head(time_standard=None), "days in None"),
    "no fill value": (with_head(fill_value=None), "stands for a missing value"),
    "fill value as text": (with_head(fill_value="-999"), "text as fill_value"),
    "no parameters": ({**an_answer(), "properties": {}}, "'parameter'"),
    "a parameter left out": (an_answer(WS2M=None), "'WS2M'"),
    "a list of values": (an_answer(T2M=(6.5,)), "'T2M'"),
    "no units": ({key: value for key, value in an_answer().items() if key != "parameters"}, "'parameters'"),
    "fahrenheit": (with_unit("T2M_MAX", "F"), "T2M_MAX in 'F', not 'C'"),
    "watts": (with_unit("ALLSKY_SFC_SW_DWN", "W/m^2"), "ALLSKY_SFC_SW_DWN in 'W/m^2'"),
    "unit not a text": (with_unit("RH2M", ["%"]), "RH2M in ['%']"),
    "number as text": (an_answer(RH2M=["74.0", 74.0, 74.0, 74.0, 74.0, 74.0]), "text as RH2M at 2024-02-27"),
    "kelvin": (an_answer(T2M=[279.6] * 6), "T2M = 279.6"),
    "too much sun": (an_answer(ALLSKY_SFC_SW_DWN=[7.2, 7.2, 72.0, 7.2, 7.2, 7.2]), "ALLSKY_SFC_SW_DWN = 72 at 2024-02-29"),
    "negative rain": (an_answer(PRECTOTCORR=[-1.0] * 6), "PRECTOTCORR = -1"),
    "lowest above highest": (an_answer(T2M_MIN=[3.0, 3.0, 3.0, 12.0, 3.0, 3.0]), "above the highest on 2024-03-01"),
}


@pytest.mark.parametrize("case", MALFORMED)
def test_an_answer_that_is_not_what_was_asked_for_is_malformed_and_says_what(case: str) -> None:
    answer, said = MALFORMED[case]
    with pytest.raises(WeatherMalformed) as caught:
        read(answer)
    assert said in caught.value.message
    assert (caught.value.source, bool(caught.value.hint)) == ("NASA POWER", True)


@responses.activate
@pytest.mark.parametrize("status", [400, 403, 404, 422])
def test_a_no_is_a_refusal_and_is_not_asked_again(status: int) -> None:
    responses.get(URL, json={"messages": ["No"]}, status=status)
    with pytest.raises(WeatherRefused, match=f"status {status}"):
        fetch()
    assert len(responses.calls) == 1


@responses.activate
def test_a_limit_and_a_breakdown_are_unavailable() -> None:
    responses.get(URL, status=429)
    with pytest.raises(WeatherUnavailable, match="too many requests") as caught:
        fetch()
    assert "hour" in caught.value.hint
    responses.replace(responses.GET, URL, body="<html>Bad Gateway</html>", status=502)
    with pytest.raises(WeatherUnavailable, match="status 502"):
        fetch()
    responses.replace(responses.GET, URL, body="<html>Welcome</html>")
    with pytest.raises(WeatherUnavailable, match="sent a web page in place of data"):
        fetch()
    assert len(responses.calls) == 1 + 3 + 3


def test_a_body_that_drips_is_left_at_the_deadline() -> None:
    def speak(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 5000\r\n\r\n")
        drip(connection, over, json.dumps(an_answer()).encode())

    with server(speak) as (url, asked), pytest.raises(WeatherUnavailable, match="within 1 second"):
        fetch(base_url=url, patience=Patience(deadline_seconds=0.6, read_seconds=5.0, sleep=lambda seconds: None))
    assert len(asked) == 1


# ---------------------------------------------------------------- recorded answers

RECORDED = ("daily_ag_point", "daily_sb_point_UTC", "daily_sb_point_LST")


@pytest.mark.parametrize("name", RECORDED)
def test_a_recorded_answer_has_our_names_units_clock_and_place(shared: Path, name: str) -> None:
    """CSV answers of the service for 1 January 1983 at 89.5 S 179.5 W, set out as JSON; what they do not hold is invented here."""
    text = (shared / f"recordings/nasa_power/{name}.csv").read_text()
    head, table = text.split("-END HEADER-\n") if "-END HEADER-\n" in text else text.split("-END HEADER-\r\n")
    recorded = dict(zip(*(line.split(",") for line in table.split()), strict=True))
    units = dict(re.findall(r"^(\w+)\s+MERRA-2 .*\((.+)\)\s*$", head, flags=re.MULTILINE))
    ((clock, latitude, longitude, height, fill),) = re.findall(
        r" in (UTC|LST).*latitude\s+(\S+)\s+longitude\s+(\S+).*region = (\S+) meters.*availability range: (\S+)", head, flags=re.DOTALL
    )
    day = date(1983, 1, 1)
    ours = {key: [float(recorded[key])] for key in PARAMETERS if key in recorded}
    assert set(ours) == {"T2M", "T2M_MIN", "T2M_MAX", "RH2M"}
    answer = an_answer((day,), time_standard=clock, **{**ours, "T2MDEW": [float(fill)], "PRECTOTCORR": [0.1]})
    answer["geometry"]["coordinates"] = [float(longitude), float(latitude), float(height)]
    answer["header"]["fill_value"] = float(fill)
    answer["parameters"] |= {key: {"units": units[key]} for key in ours}

    asked = parse_qs(urlsplit(json.loads((shared / f"recordings/nasa_power/{name}.meta.json").read_text())["uri"]).query)
    assert set(asked) == {"parameters", "community", "longitude", "latitude", "start", "end", "format", "time-standard", "user"}
    assert asked["time-standard"] == [clock]
    where = SimpleNamespace(latitude=float(asked["latitude"][0]), longitude=float(asked["longitude"][0]), elevation_m=2885.0)
    series = read_answer(answer, where, start=day, end=day, time_standard="LST" if clock == "LST" else "UTC")
    assert series.air_temperature_mean_c == pytest.approx(-25.24 if name.endswith("LST") else -24.36)
    assert np.isnan(series.dew_point_c).all()
