"""Scalars that cannot be are refused by the kernels of evapotranspiration, with quantity, unit and range."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from forecaster.physics import evapotranspiration as et
from forecaster.physics import humidity, radiation

DAY = {
    "air_temperature_max_c": 20.0,
    "air_temperature_min_c": 10.0,
    "vapour_pressure_kpa": 1.0,
    "wind_speed_2m_ms": 2.0,
    "shortwave_mj": 15.0,
    "day_of_year": 180,
    "latitude_deg": 50.0,
    "elevation_m": 100.0,
}


def whole_chain(**changed: float) -> object:
    return et.reference_evapotranspiration(et.WeatherDay(**(DAY | changed)))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: radiation.sunset_hour_angle(90.5, 100), r"latitude must be from -90 to 90 °, got 90\.5"),
        (lambda: radiation.extraterrestrial_radiation(-91, 100), "latitude must be from -90 to 90 °"),
        (lambda: radiation.extraterrestrial_radiation(float("nan"), 100), "latitude must be .* got nan"),
        (lambda: radiation.extraterrestrial_radiation(50.0, 0), "day of the year must be from 1 to 366, got 0"),
        (lambda: radiation.extraterrestrial_radiation(50.0, np.array([1, 367])), "day of the year must be from 1 to 366, got 1 to 367"),
        (lambda: radiation.solar_declination(367), "day of the year"),
        (lambda: radiation.solar_time_angle(12.0, 181.0, 0.0, 100), "longitude must be from -180 to 180 °"),
        (lambda: radiation.clear_sky_radiation(30.0, 9001.0), "elevation must be from -430 to 9000 m"),
        (lambda: radiation.net_shortwave(10.0, albedo=1.2), "albedo must be from 0 to 1, got 1.2"),
        (lambda: radiation.shortwave_from_temperature_range(20.0, 10.0, 30.0, adjustment=16.0), "adjustment kRs must be"),
        (lambda: humidity.atmospheric_pressure(-431.0), "elevation must be from -430 to 9000 m"),
        (lambda: et.wind_speed_at_2m(3.0, 0.4), "wind height must be from 0.5 to 200 m"),
        (lambda: et.wind_speed_at_2m(3.0, float("inf")), "wind height must be from 0.5 to 200 m"),
        (lambda: et.wind_speed_at_2m(-1.0, 2.0), "wind speed must be from 0 to 120 m/s, got -1"),
        (lambda: humidity.saturation_vapour_pressure(293.15), "temperature must be from -100 to 100 °C, got 293"),
        (lambda: humidity.slope_of_saturation(float("inf")), "temperature must be .* got inf"),
        (lambda: humidity.vapour_pressure_from_humidity_extremes(20.0, 10.0, 101.0, 40.0), "relative humidity must be from 0 to 100 %"),
        (lambda: humidity.vapour_pressure_from_humidity_extremes(20.0, 10.0, 90.0, -1.0), "relative humidity must be"),
        (lambda: humidity.vapour_pressure_from_highest_humidity(10.0, 101.0), "relative humidity must be"),
        (lambda: humidity.vapour_pressure_from_mean_humidity(20.0, 10.0, 101.0), "relative humidity must be"),
        (lambda: radiation.net_shortwave(250.0), "solar radiation must be from -1 to 50 MJ/m², got 250"),
        (lambda: radiation.net_longwave(20.0, 10.0, 14.0, 1.0), "vapour pressure must be from 0 to 12 kPa, got 14"),
        (lambda: radiation.shortwave_from_sunshine(25.0, 12.0, 30.0), "sunshine must be from 0 to 24 h"),
        (lambda: et.hargreaves_evapotranspiration(300.0, 290.0, 30.0), "temperature must be"),
        (lambda: whole_chain(air_temperature_max_c=500.0), "temperature must be"),
        (lambda: whole_chain(wind_speed_2m_ms=-2.0), "wind speed must be"),
        (lambda: whole_chain(shortwave_mj=250.0), "solar radiation must be"),
        (lambda: whole_chain(vapour_pressure_kpa=14.0), "vapour pressure must be"),
        (lambda: whole_chain(latitude_deg=100.0), "latitude must be"),
        (lambda: whole_chain(elevation_m=float("inf")), "elevation must be"),
        (lambda: whole_chain(day_of_year=400), "day of the year must be"),
    ],
)
def test_a_scalar_outside_its_bounds_is_refused(call: Callable[[], object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()


def test_the_ends_of_the_bounds_are_places_and_days() -> None:
    """Both poles, the shore of the Dead Sea, 9000 m, day 366, no wind: every one has an ET0."""
    for changed in (
        {"latitude_deg": 90.0},
        {"latitude_deg": -90.0},
        {"elevation_m": -430.0},
        {"elevation_m": 9000.0},
        {"day_of_year": 366},
    ):
        assert np.isfinite(whole_chain(**changed, wind_speed_2m_ms=0.0)), changed


def test_weather_that_is_missing_is_no_mistake() -> None:
    """NaN in, NaN out: for single numbers as for arrays; and a day turned over is no day, without a warning."""
    for name in ("air_temperature_max_c", "air_temperature_min_c", "vapour_pressure_kpa", "wind_speed_2m_ms", "shortwave_mj"):
        assert np.isnan(whole_chain(**{name: np.nan})), name
    assert np.isnan(radiation.shortwave_from_temperature_range(10.0, 11.0, 30.0))
    assert np.isnan(et.hargreaves_evapotranspiration(10.0, 11.0, 30.0))
