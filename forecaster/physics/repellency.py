"""Soil water repellency: how long a drop sits on the soil, and how much water that keeps out.

R is log10 of the water drop penetration time in seconds. Forms published as named below; all default numbers are assumptions that a
site's own measurements must be able to replace (they live in config/).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from forecaster.physics.limits import larger, smaller, unit_ramp

Floats = npt.NDArray[np.float64]

WETTABLE_LOG10_S = math.log10(5.0)  # below 5 s a soil is wettable: Dekker & Jungerius 1990
EXTREME_LOG10_S = math.log10(3600.0)  # above 3600 s extreme: Bisdom et al. 1993, Geoderma 56:105 (memory)


def equilibrium_repellency(
    surface_water_m3m3: Floats, *, potential_log10_s: Floats, critical_water_m3m3: Floats, steepness: float
) -> Floats:
    """Repellency that a soil at this water content tends to [log10 s]; broadcasts; NaN in, NaN out.

    Rp / (1 + exp(δ (θ − θc))): near the potential below the critical content, near zero above it. ``steepness`` δ [per m³/m³].
    Source: form of Bayad et al. 2020, Water 12:2322 (fitted to gravimetric content). Status: published form, assumed numbers.
    """
    exponent = wetness_exponent(surface_water_m3m3, critical_water_m3m3=critical_water_m3m3, steepness=steepness)
    return repellency_of_exponential(np.exp(exponent), potential_log10_s=potential_log10_s)


def wetness_exponent(surface_water_m3m3: Floats, *, critical_water_m3m3: Floats, steepness: float) -> Floats:
    """δ (θ − θc) of ``equilibrium_repellency`` [1], kept where its exponential is a number; broadcasts; NaN in, NaN out."""
    return smaller(steepness * (surface_water_m3m3 - critical_water_m3m3), 500.0)


def repellency_of_exponential(exponential: Floats, *, potential_log10_s: Floats) -> Floats:
    """The rest of ``equilibrium_repellency`` [log10 s]: the two halves stand alone so that compiled code can leave exp to numpy."""
    return potential_log10_s / (1.0 + exponential)


def relaxed_repellency(repellency_log10_s: Floats, equilibrium_log10_s: Floats, *, drying_days: float, wetting_days: float) -> Floats:
    """Repellency one day later [log10 s]: first-order approach to equilibrium, faster up than down; broadcasts.

    Exact solution over a day with the equilibrium held. Source: idea of Deurer & Bachmann 2007, Vadose Zone J. 6:446 (first-order
    contact-angle relaxation). Status: published idea, assumed time constants.
    """
    gap = equilibrium_log10_s - repellency_log10_s
    rising, falling = -math.expm1(-1.0 / drying_days), -math.expm1(-1.0 / wetting_days)
    return repellency_log10_s + (rising * larger(gap, 0.0) + falling * smaller(gap, 0.0))


def share_kept_out(repellency_log10_s: Floats, *, share_at_extreme: float) -> Floats:
    """Share of rain and irrigation that does not enter the soil matrix β [1]; broadcasts.

    Zero for wettable soil, ``share_at_extreme`` b from extreme repellency on, linear in log time between. Range of observed bypass 0-80 %:
    Ritsema et al. 1997, HESS 1:777. Status: assumption.
    """
    return share_at_extreme * unit_ramp(repellency_log10_s, WETTABLE_LOG10_S, EXTREME_LOG10_S)
