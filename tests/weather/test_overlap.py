"""Two sources on the same hours: their difference, and an instrument whose unit is another than it is said to be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from forecaster.physics.evapotranspiration import wind_speed_at_2m
from forecaster.quantities import Origin
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    WIND_SPEED,
    HourlyWeather,
    WeatherSource,
)
from forecaster.weather.overlap import overlaps, suspicions, without
from tests.weather.invented import hourly

HOURS = 40 * 24
GAUGE, MODEL = WeatherSource("own gauge", "", ""), WeatherSource("model", "", "")


def both(variable: str, of_model: np.ndarray, of_instrument: np.ndarray, **heights: float) -> tuple[HourlyWeather, HourlyWeather]:
    instrument = hourly("2026-07-01", {variable: of_instrument}, origin=Origin.OBSERVED, source=GAUGE, **heights)
    return instrument, hourly("2026-07-01", {variable: of_model}, source=MODEL)


def noisy(low: float, high: float) -> np.ndarray:
    random = np.random.default_rng(4)
    return low + (high - low) * random.random(HOURS)


RAIN = np.where(np.arange(HOURS) % 13 == 0, 2.0, 0.0)
NOISE = np.random.default_rng(7).normal(0.0, 1.0, HOURS)
TEMPERATURE = 15.0 + 6.0 * np.sin(np.arange(HOURS) * 2 * np.pi / 24)


@pytest.mark.parametrize(
    ("variable", "of_model", "of_instrument", "meant", "taken_out"),
    [
        (PRECIPITATION, RAIN, RAIN / 25.4 * 1.2, "inches taken for mm", True),
        (PRECIPITATION, RAIN, RAIN * 25.4 * 0.8, "mm taken for inches", True),
        (AIR_TEMPERATURE, TEMPERATURE, 32.0 + 1.8 * (TEMPERATURE + NOISE), "°F taken for °C", True),
        (RELATIVE_HUMIDITY, 70.0 + NOISE, (70.0 + NOISE) / 100.0, "a fraction taken for percent", True),
        (WIND_SPEED, noisy(1.0, 6.0), noisy(1.0, 6.0) * 3.6, "km/h taken for m/s", False),
        (WIND_SPEED, noisy(1.0, 6.0), noisy(1.0, 6.0) * 2.237, "miles an hour taken for m/s", False),
        (WIND_SPEED, noisy(1.0, 6.0), noisy(1.0, 6.0) * 1.944, "knots taken for m/s", False),
        (SHORTWAVE, noisy(0.0, 500.0), noisy(0.0, 500.0) / 1000.0, "kW/m² taken for W/m²", True),
    ],
)
def test_another_unit_is_seen_beside_a_model(
    variable: str, of_model: np.ndarray, of_instrument: np.ndarray, meant: str, taken_out: bool
) -> None:
    """Factors are definitions: 25.4 mm an inch, 3.6 km/h a m/s, 1609.344 m a mile, 1852 m a nautical mile."""
    instrument, model = both(variable, of_model, of_instrument)
    (found,) = suspicions(instrument, model)
    assert meant in found.told
    assert found.taken_out is taken_out
    left = without(instrument, [found] if found.taken_out else [])
    assert left.values[variable].notna().any() is not taken_out
    if taken_out:
        np.testing.assert_array_equal(left.taken_out[0].values, of_instrument)


@pytest.mark.parametrize(
    ("variable", "of_model", "of_instrument"),
    [
        (PRECIPITATION, RAIN, RAIN * 0.35),  # a sheltered gauge
        (PRECIPITATION, RAIN, RAIN * 3.0),  # a month of showers that the model missed
        (PRECIPITATION, RAIN * 0.02, RAIN * 0.5),  # too little rain to say anything
        (AIR_TEMPERATURE, TEMPERATURE, TEMPERATURE + 5.0),  # a hot corner
        (WIND_SPEED, noisy(1.0, 6.0), noisy(1.0, 6.0) * 0.4),  # behind a hedge
        (WIND_SPEED, noisy(1.0, 6.0), noisy(1.0, 6.0) * 1.6),  # on a hill
        (SHORTWAVE, noisy(0.0, 500.0), noisy(0.0, 500.0) * 0.8),  # shade of a stand
        (RELATIVE_HUMIDITY, 70.0 + NOISE, 90.0 + NOISE),
    ],
)
def test_a_strange_site_is_no_other_unit(variable: str, of_model: np.ndarray, of_instrument: np.ndarray) -> None:
    assert suspicions(*both(variable, of_model, of_instrument)) == ()


def test_a_gauge_that_is_silent_while_it_rains_is_told_and_used() -> None:
    silent = RAIN.copy()
    silent[-20 * 24 :] = 0.0
    (found,) = suspicions(*both(PRECIPITATION, RAIN, silent))
    assert "blocked" in found.told
    assert not found.taken_out


def test_differences_of_wind_are_those_at_one_height_and_soil_of_other_depths_is_not_compared() -> None:
    """FAO-56 eq. 47: 0.748 times the wind at 10 m is that at 2 m."""
    wind = noisy(1.0, 6.0)
    low, high = both(WIND_SPEED, wind, wind * float(wind_speed_at_2m(1.0, 10.0)), wind_height_m=2.0)
    (found,) = overlaps([low, high])
    assert found.mean_difference == pytest.approx(0.0, abs=1e-3)
    probe, model = both(SOIL_TEMPERATURE, TEMPERATURE, TEMPERATURE, soil_temperature_depth_cm=10.0)
    assert overlaps([probe, model]) == []
    assert [overlap.hours for overlap in overlaps([probe, replace(model, soil_temperature_depth_cm=10.0)])] == [HOURS]


def test_of_one_source_the_latest_issue_of_an_hour_counts() -> None:
    newest, older = (hourly("2026-07-01", {PRECIPITATION: [amount] * 60}, source=MODEL) for amount in (1.0, 9.0))
    gauge = hourly("2026-07-01", {PRECIPITATION: [2.0] * 60}, origin=Origin.OBSERVED, source=GAUGE)
    (found,) = overlaps([gauge, newest, older])
    assert (found.first, found.second, found.mean_difference) == ("own gauge", "model", 1.0)
