"""What MET Norway's answer becomes, against hand-made answers and the documented one. Source of every rule: the service's data model."""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from forecaster.errors import WeatherMalformed
from forecaster.sources.met_norway_answer import read_answer
from forecaster.weather import frame
from forecaster.weather.codec import decode, encode
from forecaster.weather.daily import SHORTWAVE_ESTIMATED, Place, daily_weather
from forecaster.weather.frame import ORIGIN_CODES, HourlyWeather, Origin
from tests.sources.met_norway_answers import HOURLY_STEPS, NOW, PLACE, START, STEPS, UNITS, a_step, an_answer


def read(answer: Any) -> HourlyWeather:
    return read_answer(answer, PLACE, now=NOW)


def read_steps(*steps: dict[str, Any]) -> pd.DataFrame:
    """The values of an answer of these steps, which begin at hour 0, and are filled up with hourly steps to two days."""
    last = round((pd.Timestamp(steps[-1]["time"]) - pd.Timestamp(START)).total_seconds() / 3600)
    more = [a_step(hour, one={"precipitation_amount": 0.0}) for hour in range(last + 1, 48)]
    return read(an_answer([*steps, *more])).values.reset_index(drop=True)


def rain(amount: Any) -> dict[str, Any]:
    return {"precipitation_amount": amount}


# ---------------------------------------------------------------- the frame


def test_a_good_answer_becomes_the_canonical_frame() -> None:
    weather = read(an_answer())
    values = weather.values
    assert values.index[0] == pd.Timestamp(START)
    assert len(values) == STEPS[-1] + 1
    assert values.iloc[0][[frame.AIR_TEMPERATURE, frame.DEW_POINT, frame.RELATIVE_HUMIDITY, frame.WIND_SPEED]].tolist() == [
        14.0, 9.5, 74.4, 2.5,
    ]  # fmt: skip
    assert values[[frame.SHORTWAVE, frame.SOIL_TEMPERATURE]].isna().all().all()
    assert set(np.unique(weather.origins)) == {0, ORIGIN_CODES[Origin.FORECAST]}
    assert (weather.wind_height_m, weather.soil_temperature_depth_cm) == (10.0, None)
    assert decode(encode(weather)).values.equals(values)


def test_it_says_from_when_on_hours_are_made_and_that_there_is_no_radiation() -> None:
    notes = read(an_answer()).notes
    # The 48th hourly step after 06:00 of 1 September is the last: from then on six hours apart.
    assert any("2026-09-03 06:00 UTC on in steps of up to 6 hours: hours are interpolated" in note for note in notes)
    assert any("no radiation" in note for note in notes)
    hourly = read(an_answer([a_step(hour, one=rain(0.0)) for hour in range(48)])).notes
    assert not any("interpolated" in note for note in hourly)


def test_a_forecast_dated_after_now_is_dated_now_and_one_that_ended_says_so() -> None:
    answer = an_answer([a_step(hour, one=rain(0.0)) for hour in range(30)])
    answer["properties"]["meta"]["updated_at"] = "2026-09-01T07:00:00Z"
    assert read(answer).issued_at == NOW
    late = read_answer(answer, PLACE, now=NOW.replace(day=4))
    assert any("ends at 2026-09-02 11:00 UTC" in note for note in late.notes)


def test_daily_weather_estimates_the_radiation_of_each_day_and_names_it() -> None:
    days = daily_weather(read(an_answer()), place=Place(59.91, 10.75, 23.0), time_zone=ZoneInfo("Europe/Oslo"))
    assert len(days.days) == 8
    assert days.complete.all()
    assert all(SHORTWAVE_ESTIMATED in told for told in days.estimated)
    assert np.isfinite(days.shortwave_mj).all()


# ---------------------------------------------------------------- rain


def test_rain_stays_at_the_hour_it_begins_in_and_is_not_counted_twice() -> None:
    values = read(an_answer()).values[frame.PRECIPITATION]
    assert values.iloc[:HOURLY_STEPS].tolist() == [0.1] * HOURLY_STEPS
    # Every step but the last has a six-hour sum of 0.6 mm: overlapping in the first two days, end to end after that.
    assert values.iloc[HOURLY_STEPS:-1].to_numpy() == pytest.approx(0.1)
    assert values.sum() == pytest.approx(0.1 * STEPS[-1])
    assert math.isnan(values.iloc[-1])


def test_of_a_six_hour_sum_that_reaches_over_known_hours_only_the_rest_is_spread() -> None:
    steps = [a_step(0, one=rain(1.0), six=rain(4.0)), a_step(6, one=rain(0.0))]
    values = read_steps(*steps)[frame.PRECIPITATION]
    assert values[:7].tolist() == pytest.approx([1.0, 0.6, 0.6, 0.6, 0.6, 0.6, 0.0])


def test_a_six_hour_sum_below_its_known_hours_gives_no_negative_rain() -> None:
    values = read_steps(a_step(0, one=rain(1.0), six=rain(0.8)), a_step(6, one=rain(0.0)))[frame.PRECIPITATION]
    assert values[:6].tolist() == [1.0, 0.0, 0.0, 0.0, 0.0, 0.0]


def test_overlapping_six_hour_sums_at_hourly_steps_are_not_added_up() -> None:
    # Six hourly steps that only know the sum of their six hours, all of the same 6 mm; then it is dry.
    steps = [a_step(hour, six=rain(6.0)) for hour in range(6)]
    values = read_steps(*steps)[frame.PRECIPITATION]
    assert values[:6].tolist() == [1.0] * 6
    assert values.sum() == 6.0


def test_a_sum_of_the_hours_before_the_next_step_is_not_taken_from_an_earlier_window() -> None:
    # Two hourly steps; the second's own six hours are dry, whatever the first says of the hours they share.
    steps = [a_step(0, one=rain(0.0), six=rain(5.0)), a_step(1, six=rain(0.0)), a_step(7, one=rain(0.0))]
    values = read_steps(*steps)[frame.PRECIPITATION]
    assert values[:8].tolist() == [0.0] * 8


def test_one_missing_hour_within_six_known_ones_is_the_difference() -> None:
    steps = [a_step(0, six=rain(3.0)), *[a_step(hour, one=rain(0.5)) for hour in range(1, 6)]]
    assert read_steps(*steps)[frame.PRECIPITATION][0] == pytest.approx(0.5)


# ---------------------------------------------------------------- instants


def test_between_six_hourly_steps_instants_are_interpolated_and_humidity_follows() -> None:
    values = read_steps(
        a_step(0, air_temperature=10.0, dew_point_temperature=4.0, relative_humidity=66.5, wind_speed=2.0, six=rain(0.0)),
        a_step(6, air_temperature=16.0, dew_point_temperature=10.0, relative_humidity=67.5, wind_speed=5.0, one=rain(0.0)),
    )
    assert values[frame.AIR_TEMPERATURE][:7].tolist() == pytest.approx([10, 11, 12, 13, 14, 15, 16])
    assert values[frame.WIND_SPEED][2] == pytest.approx(3.0)
    # FAO-56 annex 2, table 2.3 (memory): saturation vapour pressure 1.498 kPa at 13 °C, and 1.002 kPa at 7 °C.
    assert values[frame.RELATIVE_HUMIDITY][3] == pytest.approx(100 * 1.002 / 1.498, abs=0.1)
    assert (values[frame.RELATIVE_HUMIDITY][0], values[frame.RELATIVE_HUMIDITY][6]) == (66.5, 67.5)


def test_without_a_dew_point_humidity_is_interpolated_itself() -> None:
    steps = [a_step(hour, dew_point_temperature=None, relative_humidity=percent, six=rain(0.0)) for hour, percent in ((0, 60.0), (6, 72.0))]
    assert read_steps(*steps)[frame.RELATIVE_HUMIDITY][3] == pytest.approx(66.0)


@pytest.mark.parametrize(
    ("ends", "extremes", "expected"),
    [
        ((10.0, 16.0), {"air_temperature_max": 19.0, "air_temperature_min": 10.0}, [10, 13, 16, 19, 18, 17, 16]),
        ((10.0, 10.0), {"air_temperature_max": 10.0, "air_temperature_min": 4.0}, [10, 8, 6, 4, 6, 8, 10]),
        ((10.0, 12.0), {"air_temperature_max": 14.0, "air_temperature_min": 8.0}, [10, 9, 8, 11, 14, 13, 12]),
        ((12.0, 10.0), {"air_temperature_max": 14.0, "air_temperature_min": 8.0}, [12, 13, 14, 11, 8, 9, 10]),
        ((10.0, 16.0), {"air_temperature_max": 16.0}, [10, 11, 12, 13, 14, 15, 16]),
    ],
    ids=["afternoon", "dawn", "warmer with both", "colder with both", "nothing outside"],
)
def test_the_temperature_passes_by_the_highest_and_lowest_of_its_six_hours(
    ends: tuple[float, float], extremes: dict[str, float], expected: list[float]
) -> None:
    values = read_steps(
        a_step(0, air_temperature=ends[0], dew_point_temperature=6.0, six={**rain(0.0), **extremes}),
        a_step(6, air_temperature=ends[1], dew_point_temperature=6.0, one=rain(0.0)),
    )
    assert values[frame.AIR_TEMPERATURE][:7].tolist() == pytest.approx(expected)
    assert (values[frame.DEW_POINT][:7] <= values[frame.AIR_TEMPERATURE][:7]).all()
    assert (values[frame.RELATIVE_HUMIDITY][:7] <= 100.0).all()


def test_hourly_steps_take_no_extremes_of_six_hours() -> None:
    steps = [a_step(hour, one=rain(0.0), six={**rain(0.0), "air_temperature_max": 30.0}) for hour in range(2)]
    assert read_steps(*steps)[frame.AIR_TEMPERATURE].max() == 14.0


def test_a_field_that_is_missing_is_missing_and_nothing_is_drawn_across_it() -> None:
    steps = [
        a_step(0, six=rain(0.0)), a_step(6, air_temperature=None, wind_speed=None, six=rain(None)), a_step(12, one={}),
    ]  # fmt: skip
    values = read_steps(*steps)
    assert values[frame.AIR_TEMPERATURE][1:12].isna().all()
    assert values[frame.WIND_SPEED][1:12].isna().all()
    assert values[frame.PRECIPITATION][6:13].isna().all()
    assert values[frame.DEW_POINT][:13].notna().all()


def test_steps_further_apart_than_six_hours_leave_a_gap() -> None:
    values = read_steps(a_step(0, six=rain(0.6)), a_step(12, one=rain(0.0)))
    assert values[frame.AIR_TEMPERATURE][1:12].isna().all()
    assert values[frame.PRECIPITATION][:12].notna().sum() == 6


def test_an_answer_without_humidity_wind_or_details_is_still_weather() -> None:
    bare = {"dew_point_temperature": None, "relative_humidity": None, "wind_speed": None}
    steps = [a_step(hour, one=rain(0.2), **bare) for hour in range(48)]
    steps[3]["data"] = {"instant": {}}
    values = read(an_answer(steps)).values
    assert values[[frame.DEW_POINT, frame.RELATIVE_HUMIDITY, frame.WIND_SPEED]].isna().all().all()
    assert values[frame.AIR_TEMPERATURE].notna().sum() == 47


# ---------------------------------------------------------------- answers that are not the weather asked for


def with_steps(change: dict[int, dict[str, Any]]) -> dict[str, Any]:
    return an_answer([change.get(hour, a_step(hour, one=rain(0.0))) for hour in range(48)])


def with_meta(**meta: Any) -> dict[str, Any]:
    answer = an_answer()
    answer["properties"]["meta"].update(meta)
    return answer


def with_units(**units: Any) -> dict[str, Any]:
    return with_meta(units={name: unit for name, unit in {**UNITS, **units}.items() if unit is not None})


def at(time: str) -> dict[str, Any]:
    return {**a_step(5, one=rain(0.0)), "time": time}


MALFORMED: dict[str, tuple[Any, str]] = {
    "a list": ([an_answer()], "'properties'"),
    "text": ("sunny", "'properties'"),
    "an error document": ({"error": "no"}, "'properties'"),
    "no place": ({**an_answer(), "geometry": {"type": "Point"}}, "which place"),
    "another place": ({**an_answer(), "geometry": {"coordinates": [10.7461, 58.9127, 23]}}, "latitude 58.9127 where 59.9127"),
    "latitude first": ({**an_answer(), "geometry": {"coordinates": [59.9127, 10.7461, 23]}}, "longitude 59.9127 where 10.7461"),
    "place as text": ({**an_answer(), "geometry": {"coordinates": ["10.7", "59.9"]}}, "text as longitude"),
    "fahrenheit": (with_units(air_temperature="fahrenheit"), "air_temperature in 'fahrenheit', not 'celsius'"),
    "inches": (with_units(precipitation_amount="in"), "precipitation_amount in 'in', not 'mm'"),
    "wind without unit": (with_units(wind_speed=None), "wind_speed in None, not 'm/s'"),
    "no units": (with_meta(units=None), "'units'"),
    "no time of making": (with_meta(updated_at=None), "when it was made"),
    "time of making without zone": (with_meta(updated_at="2026-09-01T05:44:26"), "when it was made"),
    "no steps": (an_answer([]), "no hours"),
    "steps not a list": ({**an_answer(), "properties": {**an_answer()["properties"], "timeseries": {}}}, "no hours"),
    "a step that is none": (an_answer([*an_answer()["properties"]["timeseries"], None]), "an hour as a time"),
    "only a few hours": (an_answer([a_step(hour, one=rain(0.0)) for hour in range(6)]), "a forecast of 5 hours"),
    "a wrong year": (an_answer([a_step(0), *[a_step(8760 + hour, one=rain(0.0)) for hour in range(48)]]), "a forecast of 8807 hours"),
    "half an hour": (with_steps({5: at("2026-09-01T11:30:00Z")}), "full hours"),
    "backwards": (with_steps({5: at("2026-09-01T09:00:00Z")}), "do not follow"),
    "twice": (with_steps({5: at("2026-09-01T10:00:00Z")}), "do not follow"),
    "no date": (with_steps({5: at("tomorrow")}), "an hour as a time"),
    "number as text": (with_steps({5: a_step(5, air_temperature="14.2")}), "text as air_temperature at 2026-09-01 11:00 UTC"),
    "truth as number": (with_steps({5: a_step(5, one=rain(True))}), "a truth value as precipitation_amount"),
    "details not an object": (with_steps({5: {**a_step(5), "data": {"instant": {"details": [1]}}}}), "a list where 'details'"),
    "kelvin": (an_answer([a_step(hour, one=rain(0.0), air_temperature=287.2) for hour in range(48)]), "air_temperature = 287.2"),
    "fill value": (with_steps({5: a_step(5, wind_speed=-999)}), "wind_speed = -999 at 2026-09-01 11:00 UTC"),
    "negative rain": (with_steps({5: a_step(5, one=rain(-0.4))}), "precipitation_amount = -0.4"),
    "a number without end": (with_steps({5: a_step(5, relative_humidity=10**400)}), "relative_humidity = inf"),
    "no temperature": (an_answer([a_step(hour, one=rain(0.0), air_temperature=None) for hour in range(48)]), "for 0 of 48 hours"),
    "rain mostly missing": (an_answer([a_step(hour, one=rain(0.0 if hour < 20 else None)) for hour in range(48)]), "for 20 of 48 hours"),
}


@pytest.mark.parametrize("case", MALFORMED)
def test_an_answer_that_is_not_what_was_asked_for_is_malformed_and_says_what(case: str) -> None:
    answer, said = MALFORMED[case]
    with pytest.raises(WeatherMalformed) as caught:
        read(answer)
    assert said in caught.value.message
    assert caught.value.source == "MET Norway"
    assert caught.value.hint


# ---------------------------------------------------------------- the documented answer


def test_the_documented_step_is_read_with_its_names_and_units(shared: Path) -> None:
    """First step of the complete answer in the service's documentation (2020-06-10, 60.1 N 10 E), set out again for 30 hours."""
    answer = json.loads((shared / "recordings/metno/locationforecast_complete_nordic_docs_excerpt.json").read_text())
    (step,) = answer["properties"]["timeseries"]
    hours = pd.date_range(step["time"], periods=30, freq="h")
    answer["properties"]["timeseries"] = [{**step, "time": f"{hour:%Y-%m-%dT%H:%M:%SZ}"} for hour in hours]
    place = SimpleNamespace(latitude=60.1, longitude=9.95, elevation_m=267.0)
    weather = read_answer(answer, place, now=hours[0].to_pydatetime())
    assert weather.values.iloc[29].dropna().to_dict() == {
        frame.AIR_TEMPERATURE: 20.7, frame.DEW_POINT: 9.5, frame.RELATIVE_HUMIDITY: 48.6, frame.WIND_SPEED: 2.5, frame.PRECIPITATION: 0.0,
    }  # fmt: skip
    assert weather.issued_at == hours[0].to_pydatetime()  # updated at 13:04, after the hour that stands for now
