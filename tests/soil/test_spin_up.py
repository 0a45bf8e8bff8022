"""Days until a first guess is forgotten: by hand, and on weather whose outcome is known beforehand."""

from __future__ import annotations

import numpy as np
import pytest

from forecaster.physics import soil_heat
from forecaster.soil import spin_up
from forecaster.soil.columns import ModelParameters
from forecaster.soil.spin_up import days_to_forget, days_to_forget_heat, days_until_same, parched_guess, soaked_guess
from tests.soil.builders import forcing, pair

MODEL = ModelParameters()


def test_days_until_two_series_are_the_same_for_good_by_hand() -> None:
    """Columns: always the same; apart on days 1 and 2; apart again on day 4; apart to the end; unknown on a day, apart on the first."""
    one = np.zeros((5, 5))
    other = np.array([[0.0, 1.0, 1.0, 1.0, 1.0], [0.0, 1.0, 0.0, 0.0, np.nan], [0, 0, 0, 0, 0], [0, 0, 1, 0, 0], [0.1, 0.1, 0.1, 1.0, 0.1]])
    days = days_until_same(one, other, within=0.1)
    assert np.array_equal(days, [0.0, 2.0, 4.0, np.nan, 1.0], equal_nan=True)


def test_the_guesses_lie_at_the_ends_of_what_the_soil_can_hold() -> None:
    """Sandy loam of the builders: 0.05 of 0.20 m from 0.10 (wilting) over 0.23 to 0.40 (full): 26 mm can be taken, 34 mm stand above."""
    columns = pair()
    soaked, parched = soaked_guess(columns, MODEL), parched_guess(columns, MODEL)
    assert soaked.surface_depletion_mm + soaked.lower_depletion_mm == pytest.approx([-34.0, -34.0])
    assert parched.surface_depletion_mm + parched.lower_depletion_mm == pytest.approx([26.0, 26.0])
    assert parched.repellency_log10_s.tolist() == [1.5, 4.0]
    assert parched.live_crowns.tolist() == [1.0, 1.0]
    assert parched.green_cover.tolist() == [0.0, 0.0]


def test_a_wet_growing_season_makes_water_and_turf_forget_but_not_lost_crowns() -> None:
    """Rain of 10 mm every second day at 16 °C: the soil fills in days. A day brings back 1/120 of missing crowns: ln(25) × 120 = 386."""
    rain = np.where(np.arange(430) % 2 == 0, 10.0, 0.0)
    found = days_to_forget(pair(), MODEL, forcing(rain, 2.5, 16.0))
    assert found.water[0] < 30
    assert 10 < found.repellency[0] < 60
    assert 20 < found.green_cover[0] < 80  # 1 − exp(−t/10 d) reaches 0.98 after 39 d
    assert found.crowns == pytest.approx([386.0, 386.0], abs=20.0)


def test_frozen_soil_forgets_nothing() -> None:
    """Repellency and turf are held while the soil is frozen, so two guesses of them stay as far apart as they were."""
    frozen = days_to_forget(pair(), MODEL, forcing(np.zeros(60), 0.0, -5.0))
    assert np.isnan(frozen.repellency).all()
    assert np.isnan(frozen.green_cover).all()


def test_showers_wet_sound_turf_again_but_not_a_locked_band() -> None:
    """4 mm every third day: the sound column takes it and forgets; the parched band sheds it and stays apart from its wettable self."""
    found = days_to_forget(pair(), MODEL, forcing(np.where(np.arange(240) % 3 == 0, 4.0, 0.0), 1.5, 14.0))
    assert found.water[0] < 200
    assert found.repellency[0] < 200
    assert np.isnan([found.water[1], found.repellency[1], found.green_cover[1]]).all()


def test_soil_temperature_forgets_by_its_slowest_store() -> None:
    """Eigenvalues of the two stores by hand: 5 cm moves by 1 − exp(−0.46), a share 0.10/0.46 of it to the deep store, the deep by 0.0247.

    The slow mode decays by about 0.0194 a day, and 20 °C apart leave some 20 × 0.22 °C of it at 5 cm: ln(20 × 0.22/0.5)/0.0194 ≈ 112.
    """
    days = 400
    weather = soil_heat.HeatWeather(
        air_temperature_mean_c=np.full(days, 15.0),
        net_radiation_mj=np.full(days, 10.0),
        vapour_pressure_deficit_kpa=np.full(days, 0.6),
        wind_speed_2m_ms=np.full(days, 2.0),
        water_mm=np.full(days, 30.0),
        et0_mm=np.full(days, 3.0),
        pressure_kpa=101.3,
    )
    share, deep = 1.0 - np.exp(-0.46), 1.0 - np.exp(-0.025)
    step = np.array([[1.0 - share, share * 0.10 / 0.46], [deep, 1.0 - deep]])
    apart = np.array([20.0, 20.0])
    count = 0
    while True:
        apart = step @ apart
        if apart[0] <= spin_up.SOIL_TEMPERATURE_C:
            break
        count += 1
    assert float(days_to_forget_heat(weather)) == pytest.approx(count, abs=1)
    assert 100 < count < 125
