"""Ring areas and wetting fronts against plane geometry done another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import Point

from forecaster.physics.geometry import annulus_area, wetting_front_depth_mm


@pytest.mark.parametrize(("diameter_m", "area_m2"), [(1.0, 3.14), (3.0, 11.03), (6.0, 23.28), (9.0, 35.53)])
def test_treatment_areas_of_the_model(diameter_m: float, area_m2: float) -> None:
    """Model section 8: band 0.3 m, margins 0.5 m on both sides, printed to 0.01 m²."""
    assert annulus_area(diameter_m / 2, 0.3) == pytest.approx(area_m2, abs=0.005)


@pytest.mark.parametrize(("radius_m", "band_m", "outer_m", "inner_m"), [(4.0, 0.4, 0.5, 0.2), (2.0, 0.3, 0.6, 0.6), (0.5, 0.3, 0.5, 0.5)])
def test_areas_agree_with_polygons(radius_m: float, band_m: float, outer_m: float, inner_m: float) -> None:
    """Library shapely: a disc with 4 × 256 corners (6e-6 short of a circle), minus the untouched middle where there is one."""
    disc = Point(0, 0).buffer(radius_m + outer_m, quad_segs=256)
    middle = radius_m - band_m - inner_m
    polygon = disc.difference(Point(0, 0).buffer(middle, quad_segs=256)) if middle > 0 else disc
    assert annulus_area(radius_m, band_m, outer_margin_m=outer_m, inner_margin_m=inner_m) == pytest.approx(polygon.area, rel=1e-4)


def test_many_rings_at_once_and_a_missing_one() -> None:
    """Broadcasting; a ring without a diameter has no area."""
    areas = annulus_area(np.array([0.5, np.nan, 1.5]), 0.3)
    assert areas[[0, 2]] == pytest.approx([3.14, 11.03], abs=0.005)
    assert math.isnan(areas[1])


def test_six_millimetres_reach_forty_into_soil_fifteen_points_dry() -> None:
    """Model section 8."""
    assert wetting_front_depth_mm(6.0, 0.25, 0.10) == pytest.approx(40.0)


def test_soil_without_room_lets_water_through_to_any_depth() -> None:
    """Mass balance: nothing is held at field capacity or above; no water reaches nowhere; NaN stays NaN."""
    depths = wetting_front_depth_mm(np.array([5.0, 5.0, 0.0, 5.0, np.nan]), 0.25, np.array([0.25, 0.30, 0.25, np.nan, 0.25]))
    assert depths[:3].tolist() == [math.inf, math.inf, 0.0]
    assert np.isnan(depths[3:]).all()
