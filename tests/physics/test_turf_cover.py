"""Turf cover: bounds and order of events. The rates are assumptions; only what the model states in words is tested."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.physics import turf_cover
from forecaster.physics.turf_cover import Cover, CoverRates

RATES = CoverRates(
    decline_days=14.0,
    recovery_days=10.0,
    decline_reference_mm=3.5,
    crown_drought_stress=0.1,
    crown_payback=3.0,
    crown_loss_per_day=1.0 / 60.0,
    crown_recovery_days=120.0,
)


def cover(green: float = 1.0, crowns: float = 1.0, drought_days: float = 0.0) -> Cover:
    return Cover(np.array([green]), np.array([crowns]), np.array([drought_days]))


def step(state: Cover, *, ks: float, growth: float = 1.0, pull: float = 3.5, endurance: float = 60.0) -> Cover:
    return turf_cover.cover_day(
        state,
        RATES,
        stress_coefficient=np.array([ks]),
        potential_transpiration_mm=np.array([pull]),
        growth=np.array([growth]),
        endurance_days=np.array([endurance]),
    )


@given(
    green=st.floats(0.0, 1.0), crowns=st.floats(0.0, 1.0), days=st.floats(0.0, 200.0), ks=st.floats(0.0, 1.0), pull=st.floats(0.0, 15.0),
    growth=st.floats(0.0, 1.0),
)  # fmt: skip
def test_green_never_exceeds_live_crowns_and_both_stay_in_bounds(
    green: float, crowns: float, days: float, ks: float, pull: float, growth: float
) -> None:
    after = step(cover(min(green, crowns), crowns, days), ks=ks, growth=growth, pull=pull)
    assert 0.0 <= after.green[0] <= after.crowns[0] <= 1.0
    assert after.drought_days[0] >= 0.0


def test_crowns_outlast_the_endurance_and_die_after_it() -> None:
    """Dormant turf lasts about five to nine weeks: Kansas rainout-shelter trial 2017-18; the default of 60 days lies inside."""
    assert 5 * 7 <= 60 <= 9 * 7
    state = cover()
    for _ in range(60):
        state = step(state, ks=0.0)
    assert state.crowns[0] == 1.0
    state = step(state, ks=0.0)
    assert state.crowns[0] == pytest.approx(1.0 - 1.0 / 60.0)


def test_a_better_day_pays_back_three() -> None:
    state = step(cover(drought_days=10.0), ks=0.5)
    assert state.drought_days[0] == 7.0


def test_brown_turf_comes_back_only_as_far_as_its_crowns_live() -> None:
    state = cover(green=0.0, crowns=0.5)
    for _ in range(60):
        state = step(state, ks=1.0, growth=1.0)
    assert state.green[0] <= state.crowns[0] < 0.8


def test_growth_has_two_ramps() -> None:
    growth = turf_cover.growth_response(
        np.array([4.0, 9.0, 14.0, 20.0, 26.0, 30.0, 34.0]), starts_c=4.0, rise_per_c=1.0 / 10.0, stops_c=34.0, fall_per_c=-1.0 / 8.0
    )
    assert growth == pytest.approx([0.0, 0.5, 1.0, 1.0, 1.0, 0.5, 0.0])


def test_dormant_turf_hardly_transpires() -> None:
    kcb = turf_cover.basal_coefficient_of_cover(np.array([0.9]), np.array([0.0]), smallest=0.2)
    assert kcb[0] == pytest.approx(0.2)


def test_rain_stops_the_dying_at_once() -> None:
    state = cover(crowns=0.6, green=0.0, drought_days=120.0)
    for _ in range(20):
        state = step(state, ks=1.0)
    assert state.crowns[0] > 0.6


def test_cold_browns_turf_that_goes_dormant_by_it_and_spares_its_crowns() -> None:
    """Warm-season turf is brown in winter and comes back in spring: common practice, no source."""
    cold = turf_cover.cold_dormancy(np.array([12.0, 10.0, 8.0, 6.0, 0.0]), dormant_below_c=np.array(10.0))
    assert cold == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0])
    state = cover()
    for _ in range(60):
        state = turf_cover.cover_day(
            state,
            RATES,
            stress_coefficient=np.array([1.0]),
            potential_transpiration_mm=np.array([0.5]),
            growth=np.array([0.0]),
            endurance_days=np.array([60.0]),
            cold=1.0,
        )
    assert state.green[0] < 0.05
    assert state.crowns[0] == 1.0
