"""Dual crop coefficient water balance of a root zone with a nested surface layer (FAO-56 chapters 7 and 8), one day at a time.

Three stores, all depletions below field capacity in mm; negative means water above field capacity:

- ``exposed`` De: evaporation layer of the small exposed fraction of the ground. It serves the evaporation reduction Kr, nothing else.
- ``surface`` Ds: the layer from 0 to Ze, averaged over the whole area. Repellency is driven by it.
- ``lower`` Dl: the rest of the root zone. Dr = Ds + Dl is the root-zone depletion of FAO-56.

Source of the equations: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, eqs 69-88; the share of transpiration
that the surface layer gives: Allen, Pereira, Smith, Raes & Wright 2005, J. Irrig. Drain. Eng. 131(1):2-13. Status: published, except
that drainage takes a share of the excess per day instead of all of it (assumption; a share of 1 is the published form).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SMALLEST_EXPOSED_FRACTION = 0.01  # FAO-56, limits given with eq. 75
SURFACE_SHARE_EXPONENT = 0.6  # Allen et al. 2005


class DayOrder(Enum):
    """In which order things happen within a day. The published examples do not agree, and the difference never goes away.

    ``WATER_FIRST``: rain, then drainage, then evaporation and transpiration (FAO-56 Examples 35 and 38 as printed; our default).
    ``DRAIN_LAST``: coefficients from the state at the start of the day; drainage after evapotranspiration (FAO-56 eq. 88 as written).
    """

    WATER_FIRST = "water first"
    DRAIN_LAST = "drain last"


@dataclass(frozen=True)
class RootZoneColumns:
    """Soil numbers; every array has shape (column,). Contents [m³/m³], depths [m], evaporation [mm], drainage share [1/d]."""

    field_capacity_m3m3: Floats
    wilting_point_m3m3: Floats
    saturation_m3m3: Floats
    root_depth_m: Floats
    surface_depth_m: Floats
    readily_evaporable_mm: Floats
    drains_per_day: Floats

    @property
    def total_available_mm(self) -> Floats:
        """TAW [mm], FAO-56 eq. 82."""
        return 1000.0 * (self.field_capacity_m3m3 - self.wilting_point_m3m3) * self.root_depth_m

    @property
    def total_evaporable_mm(self) -> Floats:
        """TEW [mm], FAO-56 eq. 73."""
        return 1000.0 * (self.field_capacity_m3m3 - 0.5 * self.wilting_point_m3m3) * self.surface_depth_m

    @property
    def surface_available_mm(self) -> Floats:
        """Water that roots can take from the full surface layer [mm]."""
        return 1000.0 * (self.field_capacity_m3m3 - self.wilting_point_m3m3) * self.surface_depth_m

    @property
    def lower_available_mm(self) -> Floats:
        """Water that roots can take from the full rest of the root zone [mm]."""
        return self.total_available_mm - self.surface_available_mm

    @property
    def surface_excess_limit_mm(self) -> Floats:
        """Water above field capacity that the surface layer can hold [mm]."""
        return 1000.0 * (self.saturation_m3m3 - self.field_capacity_m3m3) * self.surface_depth_m

    @property
    def lower_excess_limit_mm(self) -> Floats:
        """Water above field capacity that the rest of the root zone can hold [mm]."""
        return 1000.0 * (self.saturation_m3m3 - self.field_capacity_m3m3) * (self.root_depth_m - self.surface_depth_m)


@dataclass(frozen=True)
class Stores:
    """Depletions at one moment [mm], shape (column,)."""

    exposed_mm: Floats
    surface_mm: Floats
    lower_mm: Floats

    @property
    def root_zone_mm(self) -> Floats:
        """Dr [mm]."""
        return self.surface_mm + self.lower_mm


@dataclass(frozen=True)
class Demand:
    """What the air and the turf ask of the soil on one day, shape (column,).

    ``et0_mm``: reference evapotranspiration [mm]; ``basal_coefficient``: Kcb; ``largest_coefficient``: Kc,max (eq. 72);
    ``exposed_fraction``: few (eq. 75); ``depletion_fraction``: p of Table 22, before its adjustment to the day's ETc.
    """

    et0_mm: Floats
    basal_coefficient: Floats
    largest_coefficient: Floats
    exposed_fraction: Floats
    depletion_fraction: Floats


@dataclass(frozen=True)
class WaterFluxes:
    """Amounts of one day [mm] and the coefficients behind them, shape (column,).

    ``saturation_runoff_mm``: water that found the root zone full.
    """

    evaporation_mm: Floats
    transpiration_mm: Floats
    drainage_mm: Floats
    saturation_runoff_mm: Floats
    stress_coefficient: Floats
    evaporation_reduction: Floats
    evaporation_coefficient: Floats


def largest_crop_coefficient(
    basal_coefficient: Floats, *, wind_speed_2m_ms: Floats, relative_humidity_min_percent: Floats, height_m: Floats, base: float = 1.2
) -> Floats:
    """Upper limit of evaporation plus transpiration from a wet cropped surface, Kc,max [1]; broadcasts; NaN in, NaN out.

    Wind is kept in 1-6 m/s, humidity in 20-80 %, height in 0.1-10 m. ``base`` 1.2; 1.1 where the surface is wetted daily or every two days.
    Source: FAO-56 eq. 72 and its limits. Status: published.
    """
    return np.maximum(
        base + _climate_term(wind_speed_2m_ms, relative_humidity_min_percent, height_m),
        np.asarray(basal_coefficient) + 0.05,
    )


def climate_adjusted_coefficient(
    table_coefficient: Floats, *, wind_speed_2m_ms: Floats, relative_humidity_min_percent: Floats, height_m: Floats
) -> Floats:
    """Crop coefficient of a table (Kc mid/end or Kcb > 0.45) moved to the climate of the place [1]; broadcasts; NaN in, NaN out.

    Source: FAO-56 eqs 62 and 70. Status: published.
    """
    return np.asarray(table_coefficient) + _climate_term(wind_speed_2m_ms, relative_humidity_min_percent, height_m)


def _climate_term(wind_speed_2m_ms: Floats, relative_humidity_min_percent: Floats, height_m: Floats) -> Floats:
    wind = np.clip(wind_speed_2m_ms, 1.0, 6.0)
    humidity = np.clip(relative_humidity_min_percent, 20.0, 80.0)
    height = np.clip(height_m, 0.1, 10.0)
    return np.asarray((0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)) * (height / 3.0) ** 0.3)


def covered_fraction(basal_coefficient: Floats, *, smallest_basal: Floats, largest: Floats, height_m: Floats) -> Floats:
    """Fraction of ground covered by vegetation fc [1], 0-0.99; broadcasts. Source: FAO-56 eq. 76. Status: published."""
    ratio = np.maximum((np.asarray(basal_coefficient) - smallest_basal) / (np.asarray(largest) - smallest_basal), 0.0)
    return np.clip(ratio ** (1.0 + 0.5 * np.asarray(height_m)), 0.0, 0.99)


def exposed_and_wetted_fraction(ground_cover: Floats, wetted_fraction: Floats | float = 1.0) -> Floats:
    """Fraction of ground that is both exposed and wetted, few [1], at least 0.01. Source: FAO-56 eq. 75. Status: published."""
    return np.clip(np.minimum(1.0 - np.asarray(ground_cover), wetted_fraction), SMALLEST_EXPOSED_FRACTION, 1.0)


def evaporation_reduction(exposed_mm: Floats, *, total_evaporable_mm: Floats, readily_evaporable_mm: Floats) -> Floats:
    """Kr [1] from the depletion of the exposed evaporation layer [mm]; broadcasts. Source: FAO-56 eq. 74. Status: published."""
    return np.clip((total_evaporable_mm - np.asarray(exposed_mm)) / (total_evaporable_mm - readily_evaporable_mm), 0.0, 1.0)


def evaporation_coefficient(
    reduction: Floats, *, largest_coefficient: Floats, basal_coefficient: Floats, exposed_fraction: Floats
) -> Floats:
    """Ke [1]; broadcasts. Source: FAO-56 eq. 71. Status: published."""
    return np.minimum(np.asarray(reduction) * (largest_coefficient - basal_coefficient), exposed_fraction * largest_coefficient)


def adjusted_depletion_fraction(table_fraction: Floats, crop_evapotranspiration_mm: Floats) -> Floats:
    """p [1] moved from 5 mm/d to the day's ETc, kept in 0.1-0.8; broadcasts. Source: FAO-56 Table 22, footnote. Status: published."""
    return np.clip(np.asarray(table_fraction) + 0.04 * (5.0 - np.asarray(crop_evapotranspiration_mm)), 0.1, 0.8)


def stress_coefficient(root_zone_depletion_mm: Floats, *, total_available_mm: Floats, depletion_fraction: Floats) -> Floats:
    """Ks [1]: 1 while Dr <= RAW, then linear to 0 at TAW; broadcasts. Source: FAO-56 eq. 84. Status: published."""
    return np.clip(
        (total_available_mm - np.asarray(root_zone_depletion_mm)) / ((1.0 - np.asarray(depletion_fraction)) * total_available_mm), 0.0, 1.0
    )


def surface_share_of_transpiration(stores: Stores, soil: RootZoneColumns) -> Floats:
    """Share of the transpiration that comes from the surface layer [1], shape (column,).

    Kt = (1 − Ds/TEW)/(1 − Dr/TAW) · (Ze/Zr)^0.6, kept in 0-1: the layer gives more the more of its water is left.
    Source: Allen et al. 2005, with the area-wide depletion in place of that of the exposed fraction. Status: published form.
    """
    left_in_surface = np.maximum(1.0 - stores.surface_mm / soil.total_evaporable_mm, 0.0)
    left_in_root_zone = np.maximum(1.0 - stores.root_zone_mm / soil.total_available_mm, 0.001)
    share = left_in_surface / left_in_root_zone * (soil.surface_depth_m / soil.root_depth_m) ** SURFACE_SHARE_EXPONENT
    return np.clip(share, 0.0, 1.0)


def water_day(
    stores: Stores,
    soil: RootZoneColumns,
    demand: Demand,
    *,
    into_surface_mm: Floats,
    into_lower_mm: Floats,
    order: DayOrder = DayOrder.WATER_FIRST,
) -> tuple[Stores, WaterFluxes]:
    """Advance the stores by one day; all arrays have shape (column,).

    ``into_surface_mm``: water entering the soil matrix at the top; ``into_lower_mm``: water reaching the lower root zone past the
    surface layer (fingers) [mm]. Evaporation and transpiration are limited by what is there before they are taken. NaN in, NaN out:
    hold the state outside where a day is unknown. The balance into_surface + into_lower = E + T + drainage + saturation run-off +
    change of storage closes to rounding.
    """
    start = stores
    if order is DayOrder.WATER_FIRST:
        stores = _add_water(stores, into_surface_mm, into_lower_mm)
        stores, drainage, spill = _drain(stores, soil)
        seen = stores
    else:
        seen = start
        stores = _add_water(stores, into_surface_mm, into_lower_mm, keep_exposed=True)

    reduction = evaporation_reduction(
        seen.exposed_mm, total_evaporable_mm=soil.total_evaporable_mm, readily_evaporable_mm=soil.readily_evaporable_mm
    )
    ke = evaporation_coefficient(
        reduction,
        largest_coefficient=demand.largest_coefficient,
        basal_coefficient=demand.basal_coefficient,
        exposed_fraction=demand.exposed_fraction,
    )
    fraction = adjusted_depletion_fraction(demand.depletion_fraction, (demand.basal_coefficient + ke) * demand.et0_mm)
    ks = stress_coefficient(seen.root_zone_mm, total_available_mm=soil.total_available_mm, depletion_fraction=fraction)

    evaporation, exposed = _evaporate(stores, soil, demand, potential_mm=np.maximum(ke * demand.et0_mm, 0.0), seen=seen)
    stores = Stores(exposed, stores.surface_mm + evaporation, stores.lower_mm)
    wanted = np.maximum(ks * demand.basal_coefficient * demand.et0_mm, 0.0)
    from_surface, from_lower = _transpire(stores, soil, wanted, share=surface_share_of_transpiration(seen, soil))
    stores = Stores(stores.exposed_mm, stores.surface_mm + from_surface, stores.lower_mm + from_lower)

    if order is DayOrder.DRAIN_LAST:
        # De takes the day's water after evaporation has looked at it (eq. 77), and never stands above field capacity.
        stores = Stores(np.clip(stores.exposed_mm - into_surface_mm, 0.0, soil.total_evaporable_mm), stores.surface_mm, stores.lower_mm)
        stores, drainage, spill = _drain(stores, soil)

    return stores, WaterFluxes(
        evaporation_mm=evaporation,
        transpiration_mm=from_surface + from_lower,
        drainage_mm=drainage,
        saturation_runoff_mm=spill,
        stress_coefficient=ks,
        evaporation_reduction=reduction,
        evaporation_coefficient=ke,
    )


def _add_water(stores: Stores, into_surface_mm: Floats, into_lower_mm: Floats, *, keep_exposed: bool = False) -> Stores:
    exposed = stores.exposed_mm if keep_exposed else np.maximum(stores.exposed_mm - into_surface_mm, 0.0)
    return Stores(exposed, stores.surface_mm - into_surface_mm, stores.lower_mm - into_lower_mm)


def _drain(stores: Stores, soil: RootZoneColumns) -> tuple[Stores, Floats, Floats]:
    """Pass a share of the water above field capacity down, and shed what neither layer can hold."""
    surface_excess = np.maximum(-stores.surface_mm, 0.0)
    # What the layer cannot hold at all moves on at once, whatever the share.
    passed = np.maximum(soil.drains_per_day * surface_excess, surface_excess - soil.surface_excess_limit_mm)
    surface = stores.surface_mm + passed
    lower = stores.lower_mm - passed
    lower_excess = np.maximum(-lower, 0.0)
    drainage = soil.drains_per_day * lower_excess
    spill = np.maximum(lower_excess - drainage - soil.lower_excess_limit_mm, 0.0)
    return Stores(stores.exposed_mm, surface, lower + drainage + spill), drainage, spill


def _evaporate(stores: Stores, soil: RootZoneColumns, demand: Demand, *, potential_mm: Floats, seen: Stores) -> tuple[Floats, Floats]:
    """Evaporation [mm] and the exposed depletion after it, limited by the exposed layer and by the surface layer."""
    left_exposed = demand.exposed_fraction * (soil.total_evaporable_mm - seen.exposed_mm)
    left_surface = np.maximum(soil.total_evaporable_mm - stores.surface_mm, 0.0)
    evaporation = np.minimum(potential_mm, np.minimum(left_exposed, left_surface))
    return evaporation, stores.exposed_mm + evaporation / demand.exposed_fraction


def _transpire(stores: Stores, soil: RootZoneColumns, wanted_mm: Floats, *, share: Floats) -> tuple[Floats, Floats]:
    """Split the transpiration between the layers; what one cannot give the other gives, down to the wilting point of both."""
    surface_left = np.maximum(soil.surface_available_mm - stores.surface_mm, 0.0)
    lower_left = np.maximum(soil.lower_available_mm - stores.lower_mm, 0.0)
    from_surface = np.minimum(share * wanted_mm, surface_left)
    from_lower = np.minimum(wanted_mm - from_surface, lower_left)
    from_surface = np.minimum(wanted_mm - from_lower, surface_left)
    return from_surface, from_lower
