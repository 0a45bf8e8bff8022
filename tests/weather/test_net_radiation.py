"""Net radiation by the hour: sun by day, cloud of the afternoon by night."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from forecaster.physics import radiation
from forecaster.weather.net_radiation import HourlyRadiation, hourly_net_radiation

HOURS = pd.date_range("2024-06-20", periods=72, freq="h", tz="UTC")


def clear_wm2() -> np.ndarray:
    """A cloudless sky at 52 N on the meridian [W/m²]: eqs 28 and 37."""
    days = HOURS.day_of_year.to_numpy()
    angle = radiation.solar_time_angle(HOURS.hour.to_numpy() + 0.5, 0.0, 0.0, days)
    return radiation.clear_sky_radiation(radiation.extraterrestrial_radiation_hourly(52.0, days, angle), 0.0) / 0.0036


def net(shortwave: np.ndarray) -> HourlyRadiation:
    warm, vapour = np.full(72, 15.0), np.full(72, 1.2)
    return hourly_net_radiation(HOURS, shortwave, warm, vapour, latitude_deg=52.0, longitude_deg=0.0, elevation_m=0.0)


def test_a_clear_night_loses_several_times_what_an_overcast_one_does() -> None:
    # FAO-56 eq. 39: the cloud factor 1.35 Rs/Rso − 0.35 is 1 under a clear sky and 0.055 at the lower limit 0.3.
    clear, overcast = net(clear_wm2()).net_mj, net(0.2 * clear_wm2()).net_mj
    midnight = 48
    assert clear[midnight] < 0.0
    assert overcast[midnight] / clear[midnight] == pytest.approx(0.055)
    # σ T⁴ (0.34 − 0.14 √ea) by hand at 15 °C and 1.2 kPa: 1.4094 × 0.18664 MJ/m²/h.
    assert clear[midnight] == pytest.approx(-0.2630, abs=5e-4)


def test_the_night_keeps_the_cloud_of_its_own_late_afternoon() -> None:
    sun = clear_wm2()
    sun[24:48] *= 0.3  # the second day is overcast
    found = net(sun).net_mj
    assert found[24] < 6 * found[48] < 0.0  # the first night is clear, the second is not


def test_missing_sun_is_estimated_by_day_and_not_needed_by_night() -> None:
    sun = clear_wm2()
    sun[36:39] = np.nan
    sun[48] = np.nan  # midnight
    found = net(sun)
    assert np.flatnonzero(found.estimated).tolist() == [36, 37, 38]
    assert found.net_mj == pytest.approx(net(clear_wm2()).net_mj)  # a clear sky before them goes on


def test_without_any_sun_a_middling_sky_is_taken() -> None:
    found = net(np.full(72, np.nan))
    assert np.isfinite(found.net_mj).all()
    assert found.estimated.sum() == (clear_wm2() > 0.0).sum()
    assert net(clear_wm2()).net_mj[12] > found.net_mj[12] > 0.0
