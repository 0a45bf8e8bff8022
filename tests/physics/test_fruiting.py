"""Fruiting hazard. One published number: about ten days after substantial rain (Imreh 1969 in Bohus 1981, Studia Bot. Hung. 15)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from forecaster.physics import fruiting
from forecaster.physics.fruiting import FruitingDrivers, FruitingRates

RATES = FruitingRates(base_hazard=0.5, unprimed_share=0.3, delay_mean_days=10.5, delay_sd_days=3.0, cold_night_factor=0.5)
RAIN_DAY = 60


def drivers(
    days: int = 120, *, wet_from: int = RAIN_DAY, soil_c: float = 14.0, night_c: float = 9.0, stress: float = 0.0
) -> FruitingDrivers:
    """Dry days, then 8 mm every second day with the surface wetted."""
    wet = np.arange(days) >= wet_from
    rain = np.where(wet & ((np.arange(days) - wet_from) % 2 == 0), 8.0, 0.0)
    return FruitingDrivers(
        water_in_mm=rain[:, None],
        available_fraction=np.where(wet, 0.9, 0.1)[:, None],
        stress_coefficient=np.where(wet, 1.0, stress)[:, None],
        soil_temperature_c=np.full((days, 1), soil_c),
        air_temperature_min_c=np.full((days, 1), night_c),
    )


def test_the_flush_peaks_about_ten_days_after_the_rain() -> None:
    hazard = fruiting.flush_hazard(drivers(), RATES)[:, 0]
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
    primed = fruiting.flush_hazard(drivers(), RATES)
    unprimed = fruiting.flush_hazard(drivers(stress=1.0), RATES)
    assert primed.sum() == pytest.approx(0.5, rel=1e-3)
    assert unprimed.sum() == pytest.approx(0.5 * 0.3, rel=1e-3)


@pytest.mark.parametrize("soil_c", [4.0, 23.0])
def test_cold_and_hot_soil_stop_it(soil_c: float) -> None:
    assert fruiting.flush_hazard(drivers(soil_c=soil_c), RATES).max() == 0.0


def test_more_than_three_cold_nights_reduce_it() -> None:
    """Night limit 5.5 °C, more than three days: one woodland species (willow carr study of Dermocybe uliginosa)."""
    mild, cold = fruiting.flush_hazard(drivers(), RATES), fruiting.flush_hazard(drivers(night_c=4.0), RATES)
    assert cold.max() == pytest.approx(0.5 * mild.max())


def test_days_before_the_beginning_trigger_nothing() -> None:
    """A run that starts on wet soil must not read its own start as the return of rain."""
    full = drivers(days=40, wet_from=0)
    unknown = np.full((20, 1), np.nan)
    joined = FruitingDrivers(*(np.concatenate([unknown, getattr(full, f)]) for f in FruitingDrivers.__dataclass_fields__))
    assert fruiting.flush_hazard(joined, RATES).max() == 0.0


@settings(max_examples=50)
@given(
    rain=arrays.arrays(np.float64, (80, 2), elements=st.floats(0.0, 80.0)),
    wet=arrays.arrays(np.float64, (80, 2), elements=st.floats(0.0, 1.0)),
)
def test_hazard_is_never_negative_nor_above_its_base_in_any_week(rain: np.ndarray, wet: np.ndarray) -> None:
    hazard = fruiting.flush_hazard(
        FruitingDrivers(rain, wet, wet, np.full_like(wet, 14.0), np.full_like(wet, 9.0)),
        RATES,
    )
    assert (hazard >= 0.0).all()
    assert np.isfinite(hazard).all()
    # At most one full trigger a day, so the weights bound the hazard of a day by the base.
    assert hazard.max() <= 0.5 + 1e-12
