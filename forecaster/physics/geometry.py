"""Areas of ring bands and depths of wetting fronts."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Values = float | Floats

# Mycelium ran 0.30 m beyond the visible front (Terashima & Fujiie 2005, one species), plus growth until the next visit and mapping error.
OUTER_MARGIN_M = 0.5


def annulus_area(
    outer_radius_m: Values, band_width_m: Values, *, outer_margin_m: Values = OUTER_MARGIN_M, inner_margin_m: Values | None = None
) -> Floats:
    """Ground [m²] under the band of one ring with margins on both sides; a full disc where band and margin reach the centre.

    ``outer_radius_m`` of the visible ring and ``band_width_m`` [m]; ``inner_margin_m`` None = as the outer one. NaN in, NaN out. Rings that
    overlap: their union is less than the sum of these areas. Source: plane geometry; margin 0.5 m: see OUTER_MARGIN_M. Status: assumption.
    """
    margin = outer_margin_m if inner_margin_m is None else inner_margin_m
    outer = np.asarray(outer_radius_m, dtype=np.float64)[()] + outer_margin_m
    inner = np.maximum(0.0, np.asarray(outer_radius_m) - band_width_m - margin)
    return np.pi * (outer**2 - inner**2)


def wetting_front_depth_mm(infiltration_mm: Values, field_capacity_m3m3: Values, water_content_m3m3: Values) -> Floats:
    """Depth [mm] that water reaches in evenly wettable soil: it fills each layer to field capacity before it goes on.

    ``infiltration_mm`` [mm], water contents [m³/m³]; NaN in, NaN out; infinite where the soil is at field capacity already and water
    comes in. Repellent soil is wetted less deeply and in patches. Source: mass balance (piston flow), derived here. Status: assumption.
    """
    water = np.asarray(infiltration_mm, dtype=np.float64)
    room = np.maximum(np.asarray(field_capacity_m3m3, dtype=np.float64) - water_content_m3m3, 0.0)
    water, room = np.broadcast_arrays(water, room)
    without_room = np.where(water > 0.0, np.inf, np.where(np.isnan(water), np.nan, 0.0))
    return np.divide(water, room, out=without_room, where=room != 0.0)[()]
