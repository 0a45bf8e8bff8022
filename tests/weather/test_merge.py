"""Older issues fill what the newest does not say, and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from forecaster.quantities import Origin
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    ORIGIN_CODES,
    PRECIPITATION,
    SOIL_TEMPERATURE,
    WIND_SPEED,
    HourlyWeather,
    TakenOut,
    WeatherSource,
)
from forecaster.weather.merge import NOBODY, by_age, join
from tests.weather.invented import hourly

NAN = float("nan")
GAUGE = WeatherSource(name="Rain gauge", attribution="Own gauge", licence="your own")
SINCE = datetime(2026, 9, 1, tzinfo=UTC)
NEW, MIDDLE, OLD = (datetime(2026, 9, 3, hour, tzinfo=UTC) for hour in (12, 6, 0))


def overlay(newest: HourlyWeather, older: Sequence[HourlyWeather], *, since: datetime) -> HourlyWeather:
    """Issues of one source, as a cycle puts them in order."""
    return join(by_age([*older, newest]), since=since).frame


def test_the_newest_value_wins_and_its_holes_are_filled_by_the_latest_that_knows() -> None:
    newest = hourly("2026-09-01 02:00", {PRECIPITATION: [2.0, NAN, NAN]}, issued_at=NEW)
    middle = hourly("2026-09-01 01:00", {PRECIPITATION: [11.0, 12.0, 13.0, NAN]}, issued_at=MIDDLE)
    oldest = hourly("2026-09-01 00:00", {PRECIPITATION: [20.0, 21.0, 22.0, 23.0, 24.0]}, issued_at=OLD)
    joined = overlay(newest, [oldest, middle], since=SINCE)
    assert joined.values[PRECIPITATION].tolist() == [20.0, 11.0, 2.0, 13.0, 24.0]
    assert joined.issued_at == NEW


def test_hours_are_filled_variable_by_variable() -> None:
    newest = hourly("2026-09-01", {PRECIPITATION: [1.0, 1.0]}, issued_at=NEW)
    older = hourly("2026-09-01", {PRECIPITATION: [9.0, 9.0], AIR_TEMPERATURE: [14.0, NAN]}, issued_at=OLD)
    joined = overlay(newest, [older], since=SINCE)
    assert joined.values[PRECIPITATION].tolist() == [1.0, 1.0]
    assert joined.values[AIR_TEMPERATURE].iloc[0] == 14.0
    assert np.isnan(joined.values[AIR_TEMPERATURE].iloc[1])


def test_a_forecast_of_an_hour_that_has_passed_is_still_a_forecast() -> None:
    newest = hourly("2026-09-01 01:00", {PRECIPITATION: [1.0]}, issued_at=NEW, origin=Origin.OBSERVED)
    older = hourly("2026-09-01 00:00", {PRECIPITATION: [9.0, 9.0]}, issued_at=OLD, origin=Origin.FORECAST)
    codes = overlay(newest, [older], since=SINCE).origins[PRECIPITATION].tolist()
    assert codes == [ORIGIN_CODES[Origin.FORECAST], ORIGIN_CODES[Origin.OBSERVED]]


def test_an_hour_nobody_knows_is_a_row_of_nothing() -> None:
    newest = hourly("2026-09-01 05:00", {PRECIPITATION: [5.0]}, issued_at=NEW)
    older = hourly("2026-09-01 00:00", {PRECIPITATION: [0.0, 1.0]}, issued_at=OLD)
    joined = overlay(newest, [older], since=SINCE)
    np.testing.assert_array_equal(joined.values[PRECIPITATION], [0.0, 1.0, NAN, NAN, NAN, 5.0])


def test_nothing_before_since_is_kept_and_since_means_its_whole_hour() -> None:
    newest = hourly("2026-09-01 00:00", {PRECIPITATION: [0.0, 1.0, 2.0]})
    joined = overlay(newest, [], since=datetime(2026, 9, 1, 1, 40, tzinfo=UTC))
    assert joined.values.index[0] == pd.Timestamp("2026-09-01 01:00", tz="UTC")
    assert joined.values[PRECIPITATION].tolist() == [1.0, 2.0]


def test_nothing_known_since_then_is_an_empty_frame() -> None:
    newest = hourly("2026-09-01 00:00", {PRECIPITATION: [0.0]})
    assert overlay(newest, [], since=SINCE + timedelta(days=9)).values.shape[0] == 0


def test_soil_temperature_of_another_depth_is_not_joined_in() -> None:
    newest = hourly("2026-09-01 01:00", {SOIL_TEMPERATURE: [15.0]}, issued_at=NEW, soil_temperature_depth_cm=6.0)
    same = hourly("2026-09-01 00:00", {SOIL_TEMPERATURE: [14.0]}, issued_at=OLD, soil_temperature_depth_cm=6.0)
    deeper = hourly("2026-09-01 00:00", {SOIL_TEMPERATURE: [14.0], PRECIPITATION: [0.4]}, issued_at=OLD, soil_temperature_depth_cm=18.0)
    assert overlay(newest, [same], since=SINCE).values[SOIL_TEMPERATURE].tolist() == [14.0, 15.0]
    joined = overlay(newest, [deeper], since=SINCE).values
    assert np.isnan(joined[SOIL_TEMPERATURE].iloc[0])
    assert joined[PRECIPITATION].iloc[0] == 0.4


def test_wind_of_another_height_is_brought_to_the_first_ones() -> None:
    """FAO-56 Example 14: 3.2 m/s at 10 m is 2.4 m/s at 2 m."""
    newest = hourly("2026-09-01 01:00", {WIND_SPEED: [3.0]}, issued_at=NEW, wind_height_m=10.0)
    lower = hourly("2026-09-01 00:00", {WIND_SPEED: [2.4], PRECIPITATION: [0.4]}, issued_at=OLD, wind_height_m=2.0)
    joined = overlay(newest, [lower], since=SINCE)
    assert joined.values[WIND_SPEED].tolist() == [pytest.approx(3.2, abs=0.05), 3.0]
    assert joined.wind_height_m == 10.0


def test_trust_goes_before_age_and_every_value_knows_its_rung() -> None:
    gauge = hourly("2026-09-01 00:00", {PRECIPITATION: [5.0, np.nan]}, issued_at=OLD, source=GAUGE)
    model = hourly("2026-09-01 00:00", {PRECIPITATION: [1.0, 2.0], AIR_TEMPERATURE: [15.0, 16.0]}, issued_at=NEW)
    joined = join([gauge, model], since=SINCE)
    assert joined.frame.values[PRECIPITATION].tolist() == [5.0, 2.0]
    assert joined.rung_of[PRECIPITATION].tolist() == [0, 1]
    assert joined.rung_of[AIR_TEMPERATURE].tolist() == [1, 1]
    assert joined.rung_of[WIND_SPEED].tolist() == [NOBODY, NOBODY]
    assert joined.frame.source.name == "Rain gauge and Test station"
    assert joined.frame.source.attribution == "Own gauge; Invented for a test"
    assert joined.frame.notes == ("2 hours are filled in from Test station, issued at 2026-09-03 12:00 UTC at the latest.",)


def test_notes_say_that_older_weather_was_used_and_only_then() -> None:
    newest = hourly("2026-09-01 01:00", {PRECIPITATION: [1.0]}, issued_at=NEW, notes=("Its own note.",))
    older = hourly("2026-09-01 00:00", {PRECIPITATION: [9.0, 9.0]}, issued_at=OLD)
    assert overlay(newest, [newest], since=SINCE).notes == ("Its own note.",)
    own, said = overlay(newest, [older], since=SINCE).notes
    assert own == "Its own note."
    assert said == "1 hour is filled in from older weather from Test station, issued at 2026-09-03 00:00 UTC at the latest."


def test_a_probe_at_another_depth_does_not_keep_out_the_soil_temperature_that_can_be_used_and_both_are_told() -> None:
    """Layers of different depth are never joined; what is wanted is 5 cm, which 4 to 8 cm stands for."""
    probe = hourly("2026-09-01", {SOIL_TEMPERATURE: [12.0, 12.0]}, source=GAUGE, soil_temperature_depth_cm=20.0, origin=Origin.OBSERVED)
    model = hourly("2026-09-01", {SOIL_TEMPERATURE: [15.0, 15.0, 15.0, 15.0]}, soil_temperature_depth_cm=6.0)
    joined = join([probe, model], since=SINCE).frame
    assert joined.values[SOIL_TEMPERATURE].tolist() == [15.0] * 4
    assert joined.soil_temperature_depth_cm == 6.0
    (told,) = [note for note in joined.notes if "20 cm" in note]
    assert told == (
        "Soil temperature at 20 cm from Rain gauge is not used: it is wanted at 5 cm, which 4 to 8 cm stands for; "
        "used is that at 6 cm from Test station."
    )


def test_of_two_usable_depths_the_more_trusted_is_used_alone_and_the_other_is_named() -> None:
    probe = hourly("2026-09-01", {SOIL_TEMPERATURE: [12.0, 12.0]}, source=GAUGE, soil_temperature_depth_cm=5.0, origin=Origin.OBSERVED)
    model = hourly("2026-09-01", {SOIL_TEMPERATURE: [15.0, 15.0, 15.0]}, soil_temperature_depth_cm=6.0)
    joined = join([probe, model], since=SINCE).frame
    assert joined.values[SOIL_TEMPERATURE].dropna().tolist() == [12.0, 12.0]
    assert any("6 cm from Test station is not used: layers of different depth are never joined" in note for note in joined.notes)
    assert any("5 cm from Rain gauge is used; where it is missing, soil temperature is simulated" in note for note in joined.notes)


def test_an_hour_is_rough_where_the_source_that_gives_it_does_not_tell_hours() -> None:
    first = replace(hourly("2026-09-01", {PRECIPITATION: [1.0, 1.0]}, source=GAUGE), rough=np.array([False, False]))
    second = replace(hourly("2026-09-01", {PRECIPITATION: [2.0] * 4}), rough=np.array([True, True, False, True]))
    assert join([first, second], since=SINCE).frame.rough_hours.tolist() == [False, False, False, True]


def test_of_what_was_taken_out_only_what_would_have_counted_is_named() -> None:
    hours = pd.date_range("2026-09-01", periods=2, freq="h", tz="UTC")
    taken = TakenOut(PRECIPITATION, "no rain: taken out", hours, np.array([900.0, 901.0]))
    trusted = hourly("2026-09-01", {PRECIPITATION: [1.0, NAN]}, source=GAUGE)
    model = replace(hourly("2026-09-01", {PRECIPITATION: [NAN, NAN]}), taken_out=(taken,))
    (found,) = join([trusted, model], since=SINCE).frame.taken_out
    assert found.values.tolist() == [901.0]
