"""Limits and choices that kernels are made of, written so that they take arrays in numpy and single numbers in compiled code.

Two plain ufuncs: ``numpy.clip`` costs several times as much on the short arrays that kernels work on. Ramps multiply by one over
their width, which costs one division a call where the width is one number, and none in a compiled loop.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


def larger(one: Floats | float, other: Floats | float) -> Floats:
    """The larger of two; broadcasts; NaN in, NaN out. Compiled code has a form of its own for one number, see ``soil.compiled``."""
    return np.maximum(one, other)


def smaller(one: Floats | float, other: Floats | float) -> Floats:
    """The smaller of two; broadcasts; NaN in, NaN out. Compiled code has a form of its own for one number, see ``soil.compiled``."""
    return np.minimum(one, other)


def between(values: Floats, lowest: Floats | float, highest: Floats | float) -> Floats:
    """The values, kept within limits; broadcasts; NaN in, NaN out."""
    return smaller(larger(values, lowest), highest)


def unit_ramp(values: Floats, start: Floats | float, end: Floats | float) -> Floats:
    """0 at ``start``, 1 at ``end``, linear between and constant outside; ``end`` may lie below ``start``; broadcasts; NaN in, NaN out."""
    return unit_slope(values, start, 1.0 / (end - start))


def unit_slope(values: Floats, start: Floats | float, per_unit: Floats | float) -> Floats:
    """``unit_ramp`` by its slope, one over its width, where that is at hand."""
    return between((values - start) * per_unit, 0.0, 1.0)


def choose(condition: Flags, chosen: Floats | float, otherwise: Floats | float) -> Floats:
    """One value where the condition holds, the other where it does not; broadcasts. Compiled code has a form of its own for one number."""
    return np.where(condition, chosen, otherwise)
