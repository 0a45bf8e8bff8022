"""Fruiting hazard. One published number: about ten days after substantial rain (Imreh 1969 in Bohus 1981, Studia Bot. Hung. 15)."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from forecaster.physics import fruiting
from forecaster.physics.fruiting import FruitingDays, FruitingDrivers, FruitingMemory, FruitingRates

RATES = FruitingRates(base_hazard=0.5, unprimed_share=0.3, delay_mean_days=10.5, delay_sd_days=3.0, cold_night_factor=0.5)
RAIN_DAY = 100
Drivers = dict[str, np.ndarray]


def drivers(days: int = 160, *, wet_from: int = RAIN_DAY, soil_c: float = 14.0, night_c: float = 9.0, stress: float = 0.0) -> Drivers:
    """Dry days, then 8 mm every second day with the surface wetted; arrays of shape (day, 1)."""
    number = np.arange(days)
    wet = number >= wet_from
    return {
        "water_in_mm": np.where(wet & ((number - wet_from) % 2 == 0), 8.0, 0.0)[:, None],
        "available_fraction": np.where(wet, 0.9, 0.1)[:, None],
        "stress_coefficient": np.where(wet, 1.0, stress)[:, None],
        "soil_temperature_c": np.full((days, 1), soil_c),
        "air_temperature_min_c": np.full((days, 1), night_c),
    }


def run(numbers: Drivers, memory: FruitingMemory | None = None) -> tuple[np.ndarray, FruitingMemory]:
    """Hazard of every day, and the memory after the last."""
    days, columns = numbers["water_in_mm"].shape
    fruits = FruitingDays(memory or fruiting.nothing_remembered(columns), RATES)
    hazard = np.array([fruits.advance(FruitingDrivers(**{name: series[day] for name, series in numbers.items()})) for day in range(days)])
    return hazard.reshape(days, columns), fruits.memory()


def test_the_flush_peaks_about_ten_days_after_the_rain() -> None:
    hazard = run(drivers())[0][:, 0]
    assert hazard[: RAIN_DAY + 1].max() == 0.0
    assert 9 <= int(hazard.argmax()) - RAIN_DAY <= 16


def test_delay_weights_have_the_stated_mean_and_spread() -> None:
    lags = np.arange(1, fruiting.KERNEL_DAYS + 1)
    weights = fruiting.delay_weights(10.5, 3.0)
    mean = float((weights * lags).sum())
    assert weights.sum() == pytest.approx(1.0)
    assert mean == pytest.approx(10.5, abs=0.01)
    assert float(np.sqrt((weights * (lags - mean) ** 2).sum())) == pytest.approx(3.0, abs=0.01)


def test_delay_weights_refuse_a_spread_of_nothing() -> None:
    with pytest.raises(ValueError, match="positive"):
        fruiting.delay_weights(10.5, 0.0)


def test_one_primed_trigger_gives_the_base_hazard_in_all() -> None:
    primed, unprimed = run(drivers())[0], run(drivers(stress=1.0))[0]
    assert primed.sum() == pytest.approx(0.5, rel=1e-3)
    assert unprimed.sum() == pytest.approx(0.5 * 0.3, rel=1e-3)


def test_twenty_dry_days_among_the_last_ninety_prime_fully_and_ten_by_half() -> None:
    half = drivers(stress=1.0)
    half["stress_coefficient"][RAIN_DAY - 30 : RAIN_DAY - 20] = 0.0
    assert run(half)[0].sum() == pytest.approx(0.5 * (0.3 + 0.7 * 0.5), rel=1e-3)
    long_ago = drivers(stress=1.0)
    long_ago["stress_coefficient"][: RAIN_DAY - 91] = 0.0
    assert run(long_ago)[0].sum() == pytest.approx(0.5 * 0.3, rel=1e-3)


@pytest.mark.parametrize("soil_c", [4.0, 23.0])
def test_cold_and_hot_soil_stop_it(soil_c: float) -> None:
    assert run(drivers(soil_c=soil_c))[0].max() == 0.0


def test_more_than_three_cold_nights_reduce_it() -> None:
    """Night limit 5.5 °C, more than three days: one woodland species (willow carr study of Dermocybe uliginosa)."""
    mild, cold = run(drivers())[0], run(drivers(night_c=4.0))[0]
    assert cold.max() == pytest.approx(0.5 * mild.max())


def test_days_before_the_beginning_trigger_nothing() -> None:
    """A run that starts on wet soil must not read its own start as the return of rain."""
    assert run(drivers(days=40, wet_from=0))[0].max() == 0.0


@settings(max_examples=50, deadline=None)
@given(
    rain=arrays.arrays(np.float64, (80, 2), elements=st.floats(0.0, 80.0)),
    wet=arrays.arrays(np.float64, (80, 2), elements=st.floats(0.0, 1.0)),
    cut=st.integers(1, 79),
)
def test_hazard_stays_in_bounds_and_goes_on_from_its_memory_bit_for_bit(rain: np.ndarray, wet: np.ndarray, cut: int) -> None:
    numbers = {
        "water_in_mm": rain,
        "available_fraction": wet,
        "stress_coefficient": wet,
        "soil_temperature_c": 14.0 + wet,
        "air_temperature_min_c": 10.0 * wet,
    }
    hazard, memory = run(numbers)
    assert (hazard >= 0.0).all()
    # At most one full trigger a day, so the weights bound the hazard of a day by the base.
    assert hazard.max() <= 0.5 + 1e-12
    first, between = run({name: series[:cut] for name, series in numbers.items()})
    second, after = run({name: series[cut:] for name, series in numbers.items()}, between)
    assert np.array_equal(np.concatenate([first, second]), hazard)
    for field in fields(FruitingMemory):
        assert np.array_equal(getattr(after, field.name), getattr(memory, field.name), equal_nan=True), field.name
