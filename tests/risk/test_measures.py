"""From simulation to the quantities that rules look at."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest

from forecaster.quantities import RISK_QUANTITIES
from forecaster.risk.measures import PREVENTIVE_THRESHOLD_C, SurfaceColumns, chance_of_any, flush_chance, risk_quantities
from tests.risk.builders import TODAY, daily_weather, simulation

FIRST = TODAY - timedelta(days=29)


def columns(count: int = 30, *, irrigation_mm: float = 0.0, rings: int = 3) -> SurfaceColumns:
    return SurfaceColumns(
        sound=0,
        band=1,
        irrigation_mm=np.full(count, irrigation_mm),
        critical_water_sound_m3m3=0.16,
        critical_water_band_m3m3=0.15,
        potential_repellency_band_log10_s=4.0,
        ring_count=rings,
    )


def test_every_registered_quantity_is_filled_for_every_day():
    found = risk_quantities(daily_weather(FIRST, 30), simulation(30), columns())
    assert found.keys() == RISK_QUANTITIES.keys()
    assert all(values.shape == (30,) for values in found.values())


def test_no_quantity_is_known_on_a_day_without_weather():
    found = risk_quantities(daily_weather(FIRST, 30, missing=(20,)), simulation(30), columns())
    assert [name for name, values in found.items() if not math.isnan(values[20])] == []
    assert [name for name, values in found.items() if math.isnan(values[19])] == []


def test_sound_and_band_are_taken_from_their_own_columns():
    states = simulation(
        30,
        sound={"stress_coefficient": {5: 0.4}, "green_cover": {5: 0.9}, "flush_hazard_per_day": {5: 0.2}},
        band={"stress_coefficient": {5: 0.1}, "green_cover": {5: 0.5}, "flush_hazard_per_day": {5: 0.9}, "surface_water_m3m3": {5: 0.12}},
    )
    found = risk_quantities(daily_weather(FIRST, 30), states, columns())
    assert found["sound_transpiration_deficit"][5] == pytest.approx(0.6)
    assert found["band_transpiration_deficit"][5] == pytest.approx(0.9)
    assert found["ring_contrast"][5] == pytest.approx(0.4)
    assert found["band_margin_to_critical_m3m3"][5] == pytest.approx(-0.03)
    assert found["flush_hazard_per_day"][5] == 0.2  # of sound turf: model section 6


def test_water_lost_is_a_share_of_rain_and_irrigation_and_nothing_on_a_dry_day():
    daily = daily_weather(FIRST, 30, rain_mm={3: 10.0})
    states = simulation(30, band={"water_lost_mm": {3: 6.0}})
    assert risk_quantities(daily, states, columns())["band_water_lost_percent"][[2, 3]].tolist() == [0.0, 60.0]
    assert risk_quantities(daily, states, columns(irrigation_mm=5.0))["band_water_lost_percent"][3] == pytest.approx(40.0)


def test_the_chance_of_a_flush_follows_from_the_summed_hazard():
    # Survival of a hazard: 1 - exp(-Σh) over seven days (definition of a hazard rate).
    hazard = np.full(20, 0.05)
    assert flush_chance(hazard)[0] == pytest.approx(1.0 - math.exp(-0.35))
    assert flush_chance(hazard)[19] == pytest.approx(1.0 - math.exp(-0.05))  # the last day: only itself is there


def test_missing_hazards_are_left_out_of_the_sum():
    hazard = np.full(20, 0.05)
    hazard[3] = np.nan
    assert flush_chance(hazard)[0] == pytest.approx(1.0 - math.exp(-0.30))
    assert np.isnan(flush_chance(hazard)[3])


def test_the_chance_of_any_ring_grows_with_their_number_and_is_nothing_without_rings():
    chance = np.array([0.2, np.nan])
    assert chance_of_any(chance, count=0)[0] == 0.0
    assert chance_of_any(chance, count=1)[0] == pytest.approx(0.2)
    assert chance_of_any(chance, count=3)[0] == pytest.approx(0.488)  # 1 - 0.8³
    assert np.isnan(chance_of_any(chance, count=0)[1])


def test_the_preventive_threshold_is_55_fahrenheit():
    # NC State turf alert, 10 March 2011: 55 °F.
    assert pytest.approx((55.0 - 32.0) / 1.8, abs=0.03) == PREVENTIVE_THRESHOLD_C


def test_the_preventive_season_counts_from_the_five_day_mean():
    cold_then_warm = dict.fromkeys(range(20), 8.0) | dict.fromkeys(range(20, 30), 14.0)
    found = risk_quantities(daily_weather(FIRST, 30, soil_temperature_c=cold_then_warm), simulation(30), columns())
    # Means of five: day 23 is (8 + 4 × 14) / 5 = 12.8, the first at the threshold.
    assert found["soil_temperature_5_days_c"][23] == pytest.approx(12.8)
    assert found["preventive_season_day"][22:26].tolist() == [0.0, 1.0, 2.0, 3.0]


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="30 days"):
        risk_quantities(daily_weather(FIRST, 30), simulation(29), columns())
