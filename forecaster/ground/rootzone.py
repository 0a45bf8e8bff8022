"""Soil and turf of a surface: the numbers that the simulation needs, with the names people use."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RootZone:
    """The soil of a root zone.

    Water contents in m³/m³, depths in m, evaporation in mm. ``drains_per_day``: share of the water above field capacity that
    leaves a layer in a day (0-1]. The repellency numbers are per turf state; see model section 4: all assumptions until measured.
    """

    soil_class: str
    field_capacity_m3m3: float
    wilting_point_m3m3: float
    saturation_m3m3: float
    root_depth_m: float
    surface_depth_m: float
    readily_evaporable_mm: float
    drains_per_day: float
    potential_repellency_sound_log10_s: float
    potential_repellency_band_log10_s: float
    critical_water_sound_m3m3: float
    critical_water_band_m3m3: float
    held_back_mm: float = 0.0
    """Water above field capacity that a break below holds back (gravel under sand) [mm]."""
    percolation_limit_mm: float = 1000.0
    """Most water that the ground below the root zone takes in a day [mm]."""
    exchange_per_day: float = 0.0
    """How fast surface layer and rest even out their shares of available water [1/d]."""
    infiltration_mm_per_h: float = 1000.0
    """Rain that wet soil takes in an hour; what falls faster runs off once the top layer is full [mm/h]."""


@dataclass(frozen=True)
class TurfType:
    """A turf type: water use and the temperatures it grows at.

    ``basal_crop_coefficient`` Kcb of full cover, ``depletion_fraction`` p of FAO-56 Table 22, ``ground_cover`` fc of full turf,
    ``growth_ramp_c``: (starts, full, falls, stops) of the growth response g(T) in °C, ``height_m`` mown height.
    """

    id: str
    name: str
    basal_crop_coefficient: float
    depletion_fraction: float
    ground_cover: float
    height_m: float
    growth_ramp_c: tuple[float, float, float, float]
    crown_endurance_sound_days: float
    crown_endurance_band_days: float
    dormant_below_c: float | None = None
    """Daily mean air temperature below which this turf goes brown for the winter; None: it stays green."""
    interception_mm: float = 0.0
    """Water that leaves and thatch hold back from the soil [mm]."""
