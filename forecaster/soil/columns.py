"""Columns: one playing surface × one turf state (× one member), as arrays that the kernels take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ModelParameters:
    """Numbers of the model that are the same for every column; the defaults live in config/model.toml with source and status."""

    # soil water
    minimum_basal_coefficient: float = 0.2  # Kcb,min of fully brown turf [A]
    kc_max_base: float = 1.2  # FAO-56 eq. 72
    kc_max_base_often_wet: float = 1.1  # the same, wetted every day or two
    wetting_mm: float = 1.0  # least water of a wetting that counts for it [A]
    exposed_rooted: bool = True  # roots dry the exposed fraction too: Tew of FAO-56 eq. 77
    cold_slows_use: bool = True  # Kcb falls with the growth response to soil temperature [A]
    climate_adjusted: bool = True  # Kcb moved to wind and humidity: FAO-56 eq. 70
    # snow
    snow_below_c: float = 0.0  # all snow at this daily mean [A]
    rain_above_c: float = 2.0  # all rain at this daily mean [A]
    melt_mm_per_c_day: float = 3.0  # degree-day melt, 2 to 6 quoted (memory) [A]
    # repellency
    repellency_steepness: float = 60.0  # δ [per m³/m³] [A]
    repellency_share: float = 0.85  # b: share of water kept out at full repellency [A]
    drying_days: float = 7.0  # τ_dry [A]
    wetting_days: float = 15.0  # τ_wet [A]
    lost_to_runoff: float = 0.4  # of the share kept out [A]
    lost_to_fingers: float = 0.1  # into the wettable lower root zone [A]
    lost_to_bypass: float = 0.5  # below the root zone [A]
    # turf cover
    decline_days: float = 14.0  # τ_decline [A]
    recovery_days: float = 10.0  # τ_recover [A]
    decline_reference_mm: float = 3.5  # potential transpiration at which decline runs at full speed [A]
    crown_drought_stress: float = 0.1  # Ks below which crowns count a drought day [A]
    crown_payback: float = 3.0  # drought days paid back by a day above it [A]
    crown_loss_per_day: float = 1.0 / 60.0  # [A]
    crown_recovery_days: float = 120.0  # [A]
    # fruiting
    flush_base_hazard: float = 0.5  # h0 [A]
    flush_unprimed_share: float = 0.3  # w [A]
    flush_delay_mean_days: float = 10.5  # about ten days after rain: Imreh 1969 in Bohus 1981 [F]
    flush_delay_sd_days: float = 3.0  # [A]
    cold_night_factor: float = 0.5  # hazard after more than three nights below 5.5 °C [A]


@dataclass(frozen=True)
class ColumnParameters:
    """What a column is made of; every array has shape (column,). Units as in ground.rootzone."""

    field_capacity_m3m3: Floats
    wilting_point_m3m3: Floats
    saturation_m3m3: Floats
    root_depth_m: Floats
    surface_depth_m: Floats
    readily_evaporable_mm: Floats
    drains_per_day: Floats
    basal_crop_coefficient: Floats
    depletion_fraction: Floats
    ground_cover: Floats
    turf_height_m: Floats
    growth_starts_c: Floats
    growth_full_c: Floats
    growth_falls_c: Floats
    growth_stops_c: Floats
    potential_repellency_log10_s: Floats
    critical_water_m3m3: Floats
    crown_endurance_days: Floats
    dormant_below_c: Floats
    interception_mm: Floats
    held_back_mm: Floats
    percolation_limit_mm: Floats
    exchange_per_day: Floats

    def __post_init__(self) -> None:
        shapes = {getattr(self, f.name).shape for f in fields(self)}
        if len(shapes) != 1 or len(next(iter(shapes))) != 1:
            raise ValueError(f"column parameters need one shape (column,), got {sorted(map(str, shapes))}")

    @property
    def count(self) -> int:
        """Number of columns."""
        return int(self.root_depth_m.shape[0])

    def with_scalars(self) -> ColumnParameters:
        """The same, every array that holds one value only as a scalar: kernels broadcast it, and the processor's cache is spared.

        For use within a block: ``count`` and ``part`` need arrays.
        """
        made = object.__new__(ColumnParameters)
        for field in fields(self):
            array = getattr(self, field.name)
            same = array.size > 0 and bool((array == array[0]).all())
            object.__setattr__(made, field.name, array[0] if same else array)
        return made

    def part(self, columns: slice) -> ColumnParameters:
        """Some of the columns."""
        return ColumnParameters(**{field.name: getattr(self, field.name)[columns] for field in fields(self)})


NEVER_DORMANT_C = -100.0
# What a column has where nothing is said of it: green in winter, no interception, nothing held back below, and ground below that takes
# all that drains.
NEUTRAL = {
    "interception_mm": 0.0,
    "held_back_mm": 0.0,
    "percolation_limit_mm": 1000.0,
    "dormant_below_c": NEVER_DORMANT_C,
    "exchange_per_day": 0.0,
}


def stack(columns: Sequence[Mapping[str, float]]) -> ColumnParameters:
    """Make ColumnParameters from one mapping of numbers per column, each with the field names of ColumnParameters; see ``NEUTRAL``."""
    told = [NEUTRAL | dict(column) for column in columns]
    return ColumnParameters(**{f.name: np.array([c[f.name] for c in told], dtype=np.float64) for f in fields(ColumnParameters)})
