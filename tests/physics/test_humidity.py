"""Humidity kernels against FAO-56, Examples 2-6 (values and source in tests/references/fao56.py)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from forecaster.physics import humidity
from tests.references.fao56 import Example2, Example3, Example4, Example5, Example6


def test_example_2_pressure_and_psychrometric_constant_at_1800_m() -> None:
    """FAO-56 Example 2, eqs 7 and 8."""
    pressure = humidity.atmospheric_pressure(Example2.elevation_m)
    assert pressure == Example2.pressure_kpa.approx
    assert humidity.psychrometric_constant(pressure) == Example2.psychrometric_kpa_per_c.approx


def test_example_3_saturation_at_the_extremes_of_a_day() -> None:
    """FAO-56 Example 3, eqs 11 and 12; its point is that the mean of the two is above the value at the mean temperature."""
    warm, cold = Example3.air_temperature_max_c, Example3.air_temperature_min_c
    assert humidity.saturation_vapour_pressure(warm) == Example3.saturation_at_max_kpa.approx
    assert humidity.saturation_vapour_pressure(cold) == Example3.saturation_at_min_kpa.approx
    assert humidity.mean_saturation_vapour_pressure(warm, cold) == Example3.mean_saturation_kpa.approx
    assert humidity.saturation_vapour_pressure(Example3.air_temperature_mean_c) == Example3.saturation_at_mean_kpa.approx


def test_example_4_vapour_pressure_from_a_psychrometer() -> None:
    """FAO-56 Example 4, eqs 15 and 16."""
    pressure = humidity.atmospheric_pressure(Example4.elevation_m)
    assert pressure == Example4.pressure_kpa.approx
    assert humidity.saturation_vapour_pressure(Example4.wet_bulb_c) == Example4.saturation_at_wet_bulb_kpa.approx
    vapour = humidity.vapour_pressure_from_psychrometer(
        Example4.dry_bulb_c, Example4.wet_bulb_c, pressure, coefficient_per_c=Example4.psychrometer_per_c
    )
    assert vapour == Example4.vapour_pressure_kpa.approx


def test_examples_5_and_6_vapour_pressure_and_deficit_from_relative_humidity() -> None:
    """FAO-56 Example 5, eqs 17 and 19; Example 6."""
    warm, cold = Example5.air_temperature_max_c, Example5.air_temperature_min_c
    assert humidity.saturation_vapour_pressure(cold) == Example5.saturation_at_min_kpa.approx
    assert humidity.saturation_vapour_pressure(warm) == Example5.saturation_at_max_kpa.approx
    by_extremes = humidity.vapour_pressure_from_humidity_extremes(
        warm, cold, Example5.relative_humidity_max_percent, Example5.relative_humidity_min_percent
    )
    assert by_extremes == Example5.vapour_pressure_eq17_kpa.approx
    by_mean = humidity.vapour_pressure_from_mean_humidity(warm, cold, Example5.relative_humidity_mean_percent)
    assert by_mean == Example5.vapour_pressure_eq19_kpa.approx
    assert humidity.mean_saturation_vapour_pressure(warm, cold) - by_extremes == Example6.deficit_kpa.approx


def test_highest_humidity_alone_is_the_morning_half_of_eq_17() -> None:
    """FAO-56 eq. 18 is the first term of eq. 17: 2.064 kPa × 82 % of Example 5."""
    morning = humidity.vapour_pressure_from_highest_humidity(Example5.air_temperature_min_c, Example5.relative_humidity_max_percent)
    assert morning == pytest.approx(2.064 * 0.82, abs=0.0005)


# Mean temperature and printed slope. The temperatures are rounded to 0.1 °C: half of that is worth 0.0005 kPa/°C.
GREELEY = (
    (21.65, 0.1585),
    (22.9, 0.1692),
    (23.7, 0.1762),
    (22.8, 0.1684),
    (24.3, 0.1820),
    (26.0, 0.1990),
    (26.1, 0.1996),
    (26.4, 0.2027),
    (23.9, 0.1781),
    (24.2, 0.1809),
)


@pytest.mark.parametrize(("air_temperature_c", "slope"), GREELEY)
def test_slope_against_asce_greeley(air_temperature_c: float, slope: float) -> None:
    """Greeley, Colorado, the daily example of ASCE-EWRI 2005, as kept in the tests of the library pyet."""
    assert humidity.slope_of_saturation(air_temperature_c) == pytest.approx(slope, abs=0.0005)


def test_pressure_against_asce_greeley() -> None:
    """ASCE-EWRI 2005, Greeley at 1462.4 m: 85.17 kPa and 0.0566 kPa/°C, as kept in the tests of the library pyet."""
    pressure = humidity.atmospheric_pressure(1462.4)
    assert pressure == pytest.approx(85.17, abs=0.005)
    assert humidity.psychrometric_constant(pressure) == pytest.approx(0.0566, abs=0.00005)


def test_slope_is_the_derivative_of_saturation() -> None:
    """Eq. 13 is the derivative of eq. 11 (calculus; 4098 is 17.27 × 237.3 rounded, hence 1e-4)."""
    t = np.linspace(-30.0, 50.0, 81)
    numeric = (humidity.saturation_vapour_pressure(t + 1e-4) - humidity.saturation_vapour_pressure(t - 1e-4)) / 2e-4
    assert humidity.slope_of_saturation(t) == pytest.approx(numeric, rel=1e-4)


def test_arrays_broadcast_and_a_missing_value_stays_missing() -> None:
    """A property of the kernels: shape (day, 1) with (column,) gives (day, column), and NaN touches nothing but its own place."""
    result = humidity.mean_saturation_vapour_pressure(np.array([[20.0], [np.nan]]), np.array([10.0, 12.0, 14.0]))
    assert result.shape == (2, 3)
    assert np.isfinite(result[0]).all()
    assert np.isnan(result[1]).all()
    assert math.isnan(humidity.vapour_pressure_from_dew_point(float("nan")))
