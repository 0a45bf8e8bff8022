"""Water held on leaves and in thatch: it never reaches the soil, and while it evaporates the turf transpires less."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from forecaster.physics.limits import larger, smaller

Floats = npt.NDArray[np.float64]


def intercepted_day(held_mm: Floats, water_mm: Floats, *, capacity_mm: Floats, potential_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Advance the intercepted water by one day: returns what is held at the end, what evaporated, and what went through [mm]; broadcasts.

    The store fills before anything goes through, then evaporates at most the day's potential from a wet surface (Kc,max ET0).
    held before + water = held after + evaporated + through. NaN in, NaN out. Status: assumption (a mown canopy and its thatch).
    """
    caught = smaller(water_mm, larger(capacity_mm - held_mm, 0.0))
    wet = held_mm + caught
    evaporated = smaller(wet, larger(potential_mm, 0.0))
    return wet - evaporated, evaporated, water_mm - caught
