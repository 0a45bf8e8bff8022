"""Impossible weather is taken out by declared rules before anything is computed from it, and the day says so."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecaster.physics import radiation
from forecaster.weather import procedures, quality
from forecaster.weather.daily import daily_weather
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    DEW_POINT,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    VARIABLES,
    WIND_SPEED,
)
from forecaster.weather.hourly import checked_frame
from tests.weather.frames import frame_of
from tests.weather.test_daily import LONDON, SOMEWHERE, london_days, winter_days


@pytest.mark.parametrize("name", VARIABLES)
@pytest.mark.parametrize("beyond", [-1e9, 1e9, np.inf, -np.inf])
def test_no_single_impossible_hour_reaches_a_day(name: str, beyond: float) -> None:
    """One such hour, in each variable: the day is that of the frame in which the hour is missing, and is told what was taken out."""
    broken, missing = winter_days(2), winter_days(2)
    broken.loc["2024-01-10 10:00+00:00", name] = beyond
    missing.loc["2024-01-10 10:00+00:00", name] = np.nan
    found, expected = london_days(broken), london_days(missing)
    for series in (
        "rain_mm",
        "air_temperature_max_c",
        "vapour_pressure_kpa",
        "wind_speed_2m_ms",
        "shortwave_mj",
        "soil_temperature_c",
        "et0_mm",
    ):
        np.testing.assert_array_equal(getattr(found, series), getattr(expected, series), err_msg=series)
    assert found.estimated_share.tolist() == expected.estimated_share.tolist()
    allowed = quality.HOURLY_RANGES[name]
    assert f"{allowed.called} not within {allowed}{quality.TAKEN_OUT}" in found.estimated[0]
    assert found.estimated[1] == expected.estimated[1] == ()


def test_the_frame_says_which_rule_struck_how_often() -> None:
    values = winter_days(1)
    values.iloc[3:5, values.columns.get_loc(PRECIPITATION)] = -0.2
    values.iloc[7, values.columns.get_loc(DEW_POINT)] = 30.0
    before = values.copy()
    frame, removed = checked_frame(frame_of(values), SOMEWHERE)
    assert frame.notes == (
        "2 hours: rain not within 0 to 305 mm: taken out.",
        "1 hour: dew point above the air temperature: taken out.",
    )
    assert [int(where.sum()) for _, where in removed] == [2, 1]
    assert (frame.origins.to_numpy() == 0).sum() == frame.values.isna().to_numpy().sum() == 3
    pd.testing.assert_frame_equal(values, before)  # what came in is not changed


def test_a_dew_point_within_the_error_of_a_thermometer_stays() -> None:
    """0.5 °C above the air in fog (assumption)."""
    values = winter_days(1)
    values[DEW_POINT] = values[AIR_TEMPERATURE] + 0.4
    assert london_days(values).estimated == ((),)
    values[DEW_POINT] = values[AIR_TEMPERATURE] + 0.6
    assert "dew point above the air temperature: taken out" in london_days(values).estimated[0]


def test_sun_at_night_and_too_much_sun_by_day_are_taken_out() -> None:
    """A series labelled twelve hours off has its sun at night: the day's radiation is estimated instead (astronomy)."""
    values = winter_days(1)
    values[SHORTWAVE] = np.where((values.index.hour < 4) | (values.index.hour > 20), 350.0, 0.0)
    result = london_days(values)
    assert "more radiation than the sun can give at that hour: taken out" in result.estimated[0]
    top = float(radiation.extraterrestrial_radiation(SOMEWHERE.latitude, 10))
    assert result.shortwave_mj[0] < top
    values[SHORTWAVE] = 95.0  # all day and night: each hour could be, 8.2 MJ of a clear sky's 5.9 cannot
    result = london_days(values)
    assert "more radiation than a clear sky gives: taken out" in result.estimated[0]
    assert procedures.SHORTWAVE_ESTIMATED in result.estimated[0]


def test_measured_days_of_fourteen_stations_pass(shared: Path) -> None:
    """AgriMet Fallon, AZMET Maricopa, US Climate Reference Network (public domain): the checks take out nothing of radiation."""
    folder = shared / "observations"
    fallon = pd.read_csv(folder / "fallon_agrimet_daily_2015_refet.csv", parse_dates=["date"])
    maricopa = pd.read_csv(folder / "azmet_maricopa_2015_2020_refet.csv", parse_dates=["date"])
    network = pd.read_csv(folder / "uscrn_2020_12stations.csv", parse_dates=["lst_date"])
    days = 0
    for rs, day, latitude, elevation in (
        (fallon["rs"], fallon["date"], 39.4575, 1208.5),
        (maricopa["rs"], maricopa["date"], 33.069, 361.0),
        (network["solarad_daily"], network["lst_date"], network["latitude"].to_numpy(), 0.0),
    ):
        top = radiation.extraterrestrial_radiation(latitude, day.dt.day_of_year.to_numpy())
        clear = radiation.clear_sky_radiation(top, elevation)
        series = {"shortwave_mj": rs.to_numpy(dtype=float), "clear_sky_mj": clear}
        assert quality.check(series, quality.DAILY_RANGES, quality.DAILY_CHECKS).removed == ()
        days += len(rs)
    assert days > 6000


def test_contradictions_between_daily_values_take_out_what_the_rule_names() -> None:
    series = {
        "air_temperature_max_c": np.array([20.0, 5.0, 20.0, 20.0]),
        "air_temperature_min_c": np.array([10.0, 9.0, 10.0, 10.0]),
        "dew_point_c": np.array([9.0, 4.0, 21.0, 9.0]),
        "sunshine_h": np.array([8.0, 8.0, 8.0, 13.0]),
        "daylight_h": np.array([12.0, 12.0, 12.0, 12.0]),
    }
    found = quality.check(series, quality.DAILY_RANGES, quality.DAILY_CHECKS)
    assert {told: np.flatnonzero(where).tolist() for told, where in found.removed} == {
        "lowest temperature above the highest: taken out": [1],
        "dew point above the air temperature: taken out": [2],
        "more sunshine than daylight: taken out": [3],
    }
    assert np.flatnonzero(np.isnan(found.values["air_temperature_max_c"])).tolist() == [1]
    assert np.flatnonzero(np.isnan(found.values["dew_point_c"])).tolist() == [2]
    assert np.flatnonzero(np.isnan(found.values["sunshine_h"])).tolist() == [3]


def test_the_share_that_was_estimated_counts_five_inputs_alike() -> None:
    """Own rule: nothing missing 0; wind missing all day 1/5; half of the humidity hours taken out a further 1/10; a missing day NaN."""
    values = winter_days(4)
    values.iloc[24:48, values.columns.get_loc(WIND_SPEED)] = np.nan
    values.iloc[48:72, values.columns.get_loc(WIND_SPEED)] = 99.0
    values.iloc[48:60, values.columns.get_loc(DEW_POINT)] = 99.0
    values.iloc[48:60, values.columns.get_loc(RELATIVE_HUMIDITY)] = 101.0
    values.iloc[72:96] = np.nan
    result = daily_weather(frame_of(values), place=SOMEWHERE, time_zone=LONDON)
    assert result.estimated_share == pytest.approx([0.0, 0.2, 0.3, np.nan], nan_ok=True)
