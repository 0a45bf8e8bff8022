"""Repellency kernels: classes and shapes; the numbers of the defaults are assumptions and are not tested as facts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.physics import repellency
from forecaster.quantities import repellency_class

contents = st.floats(0.0, 0.6)
levels = st.floats(0.0, 5.0)


def test_equilibrium_is_half_the_potential_at_the_critical_content() -> None:
    """The sigmoid of Bayad et al. 2020, Water 12:2322, has its inflexion at θc."""
    level = repellency.equilibrium_repellency(np.array([0.18]), potential_log10_s=4.0, critical_water_m3m3=0.18, steepness=60.0)
    assert level[0] == pytest.approx(2.0)


def test_the_transition_at_default_steepness_is_as_wide_as_measured_on_dune_sand() -> None:
    """Repellent below 18 % and wettable above 23 % by volume at the surface of grassed dune sand: Dekker et al. 2001, SSSAJ 65:1667."""
    dry, wet = repellency.equilibrium_repellency(np.array([0.18, 0.23]), potential_log10_s=4.0, critical_water_m3m3=0.18, steepness=60.0)
    assert repellency_class(dry) == "strong"
    assert repellency_class(wet) == "wettable"


@given(wetter=contents, drier=contents, potential=levels)
def test_drier_soil_is_never_less_repellent(wetter: float, drier: float, potential: float) -> None:
    wetter, drier = max(wetter, drier), min(wetter, drier)
    wet, dry = repellency.equilibrium_repellency(
        np.array([wetter, drier]), potential_log10_s=potential, critical_water_m3m3=0.2, steepness=60.0
    )
    assert 0.0 <= wet <= dry <= potential


@given(now=levels, equilibrium=levels)
def test_relaxation_moves_towards_equilibrium_and_never_past_it(now: float, equilibrium: float) -> None:
    later = float(repellency.relaxed_repellency(np.array([now]), np.array([equilibrium]), drying_days=7.0, wetting_days=15.0)[0])
    assert min(now, equilibrium) - 1e-12 <= later <= max(now, equilibrium) + 1e-12


def test_relaxation_closes_63_per_cent_of_the_gap_in_one_time_constant() -> None:
    """First-order decay: 1 - 1/e after τ (definition)."""
    rising, falling = np.array([0.0]), np.array([4.0])
    for _ in range(7):
        rising = repellency.relaxed_repellency(rising, np.array([4.0]), drying_days=7.0, wetting_days=15.0)
    for _ in range(15):
        falling = repellency.relaxed_repellency(falling, np.array([0.0]), drying_days=7.0, wetting_days=15.0)
    assert rising[0] == pytest.approx(4.0 * (1.0 - math.exp(-1.0)))
    assert falling[0] == pytest.approx(4.0 * math.exp(-1.0))


def test_wettable_soil_keeps_nothing_out_and_extreme_soil_its_full_share() -> None:
    levels = np.log10(np.array([1.0, 5.0, 3600.0, 36000.0]))
    assert repellency.share_kept_out(levels, share_at_extreme=0.85) == pytest.approx([0.0, 0.0, 0.85, 0.85])


@pytest.mark.parametrize(
    ("seconds", "name"),
    [(1, "wettable"), (5, "slight"), (59, "slight"), (60, "strong"), (600, "severe"), (3599, "severe"), (3601, "extreme")],
)
def test_classes_of_water_drop_penetration_time(seconds: float, name: str) -> None:
    """Dekker & Jungerius 1990; Bisdom et al. 1993, Geoderma 56:105 (memory): < 5, 5-60, 60-600, 600-3600, > 3600 s."""
    assert repellency_class(math.log10(seconds)) == name
