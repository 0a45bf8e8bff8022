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

from enum import Enum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.physics.limits import between, larger, smaller

Floats = npt.NDArray[np.float64]

SMALLEST_EXPOSED_FRACTION = 0.01  # FAO-56, limits given with eq. 75
SURFACE_SHARE_EXPONENT = 0.6  # Allen et al. 2005
EXCHANGE_SHARE = 0.2  # most of its available water that a layer gives to the other in a day; assumption
LEAK_PER_DAY = 0.05  # share of perched water that leaves in a day; assumption: it lasts for weeks, not for a day


class DayOrder(Enum):
    """In which order things happen within a day. The published examples do not agree, and the difference never goes away.

    ``WATER_FIRST``: rain, then drainage, then evaporation and transpiration (FAO-56 Examples 35 and 38 as printed; our default).
    ``DRAIN_LAST``: coefficients from the state at the start of the day; drainage after evapotranspiration (FAO-56 eq. 88 as written).
    """

    WATER_FIRST = 1
    DRAIN_LAST = 2


class RootZoneColumns(NamedTuple):
    """Soil numbers of a root zone as the day needs them, shape (column,); made by ``root_zone_columns``. Contents [m³/m³], amounts [mm].

    ``total_available_mm``: TAW, FAO-56 eq. 82; ``total_evaporable_mm``: TEW, eq. 73; ``surface_available_mm``, ``lower_available_mm``:
    water that roots can take from the full surface layer and the full rest; ``…_excess_limit_mm``: water above field capacity that each
    can hold; ``surface_per_lower``: available water of the one per that of the other; ``surface_share_scale``: (Ze/Zr)^0.6 TAW/TEW of
    the surface layer's share of transpiration, Allen et al. 2005. ``per_…``: one over it, because a multiplication costs a tenth of a
    division; ``per_falling_mm``: 1/(TEW − REW) of eq. 74. ``exchanges``, ``perches``: whether any column does.
    """

    field_capacity_m3m3: Floats
    per_falling_mm: Floats
    drains_per_day: Floats
    held_back_mm: Floats
    percolation_limit_mm: Floats
    exchange_per_day: Floats
    total_available_mm: Floats
    per_total_available_mm: Floats
    total_evaporable_mm: Floats
    surface_available_mm: Floats
    per_surface_available_mm: Floats
    lower_available_mm: Floats
    surface_excess_limit_mm: Floats
    lower_excess_limit_mm: Floats
    surface_per_lower: Floats
    surface_share_scale: Floats
    exchanges: bool
    perches: bool


def root_zone_columns(
    *,
    field_capacity_m3m3: Floats,
    wilting_point_m3m3: Floats,
    saturation_m3m3: Floats,
    root_depth_m: Floats,
    surface_depth_m: Floats,
    readily_evaporable_mm: Floats,
    drains_per_day: Floats,
    held_back_mm: Floats,
    percolation_limit_mm: Floats,
    exchange_per_day: Floats,
) -> RootZoneColumns:
    """Derive what the day needs from a soil's numbers; every array has shape (column,).

    Contents [m³/m³], depths [m], evaporation [mm], drainage share [1/d].

    ``held_back_mm``: water above field capacity that a break below the root zone (gravel under sand) keeps from draining freely; it
    leaks at ``LEAK_PER_DAY``. ``percolation_limit_mm``: most that the ground below takes in a day (clay, a pan). ``exchange_per_day``: how
    fast the two layers even out their shares of available water, up or down [1/d]; 0 is the published form. All three: assumption.
    """
    available = 1000.0 * (field_capacity_m3m3 - wilting_point_m3m3)
    pores = 1000.0 * (saturation_m3m3 - field_capacity_m3m3)
    total, surface = available * root_depth_m, available * surface_depth_m
    evaporable = 1000.0 * (field_capacity_m3m3 - 0.5 * wilting_point_m3m3) * surface_depth_m
    return RootZoneColumns(
        field_capacity_m3m3=field_capacity_m3m3,
        per_falling_mm=1.0 / (evaporable - readily_evaporable_mm),
        drains_per_day=drains_per_day,
        held_back_mm=held_back_mm,
        percolation_limit_mm=percolation_limit_mm,
        exchange_per_day=exchange_per_day,
        total_available_mm=total,
        per_total_available_mm=1.0 / total,
        total_evaporable_mm=evaporable,
        surface_available_mm=surface,
        per_surface_available_mm=1.0 / surface,
        lower_available_mm=total - surface,
        surface_excess_limit_mm=pores * surface_depth_m,
        lower_excess_limit_mm=pores * (root_depth_m - surface_depth_m),
        surface_per_lower=surface / (total - surface),
        surface_share_scale=(surface_depth_m / root_depth_m) ** SURFACE_SHARE_EXPONENT * total / evaporable,
        exchanges=bool(np.any(exchange_per_day)),
        perches=bool(np.any(held_back_mm)),
    )


class Stores(NamedTuple):
    """Depletions at one moment [mm], shape (column,)."""

    exposed_mm: Floats
    surface_mm: Floats
    lower_mm: Floats

    @property
    def root_zone_mm(self) -> Floats:
        """Dr [mm]."""
        return self.surface_mm + self.lower_mm


class Demand(NamedTuple):
    """What the air and the turf ask of the soil on one day, shape (column,).

    ``et0_mm``: reference evapotranspiration [mm]; ``basal_coefficient``: Kcb; ``largest_coefficient``: Kc,max (eq. 72);
    ``exposed_fraction``: few (eq. 75); ``depletion_fraction``: p of Table 22, before its adjustment to the day's ETc.
    """

    et0_mm: Floats
    basal_coefficient: Floats
    largest_coefficient: Floats
    exposed_fraction: Floats
    depletion_fraction: Floats


class WaterFluxes(NamedTuple):
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
    return larger(
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
    return climate_departure(wind_speed_2m_ms, relative_humidity_min_percent) * height_weight(height_m)


def climate_departure(wind_speed_2m_ms: Floats, relative_humidity_min_percent: Floats) -> Floats:
    """How far a climate departs from the tables' 2 m/s and 45 %, before its weight by height; limits and source as eq. 62."""
    wind = between(wind_speed_2m_ms, 1.0, 6.0)
    humidity = between(relative_humidity_min_percent, 20.0, 80.0)
    return 0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)


def height_weight(height_m: Floats) -> Floats:
    """(h/3)^0.3 of eq. 62 with the height kept in 0.1-10 m: turf counts as 0.1 m."""
    return np.asarray((between(height_m, 0.1, 10.0) / 3.0) ** 0.3)


def covered_fraction(basal_coefficient: Floats, *, smallest_basal: Floats, largest: Floats, height_m: Floats) -> Floats:
    """Fraction of ground covered by vegetation fc [1], 0-0.99; broadcasts. Source: FAO-56 eq. 76. Status: published."""
    ratio = larger((np.asarray(basal_coefficient) - smallest_basal) / (np.asarray(largest) - smallest_basal), 0.0)
    return between(ratio ** (1.0 + 0.5 * np.asarray(height_m)), 0.0, 0.99)


def exposed_and_wetted_fraction(ground_cover: Floats, wetted_fraction: Floats | float = 1.0) -> Floats:
    """Fraction of ground that is both exposed and wetted, few [1], at least 0.01. Source: FAO-56 eq. 75. Status: published."""
    return between(smaller(1.0 - np.asarray(ground_cover), wetted_fraction), SMALLEST_EXPOSED_FRACTION, 1.0)


def evaporation_reduction(exposed_mm: Floats, *, total_evaporable_mm: Floats, per_falling_mm: Floats) -> Floats:
    """Kr [1] from the depletion of the exposed evaporation layer [mm]; broadcasts. ``per_falling_mm``: 1/(TEW − REW).

    Source: FAO-56 eq. 74. Status: published.
    """
    return between((total_evaporable_mm - exposed_mm) * per_falling_mm, 0.0, 1.0)


def evaporation_coefficient(
    reduction: Floats, *, largest_coefficient: Floats, basal_coefficient: Floats, exposed_fraction: Floats
) -> Floats:
    """Ke [1]; broadcasts. Source: FAO-56 eq. 71. Status: published."""
    return smaller(reduction * (largest_coefficient - basal_coefficient), exposed_fraction * largest_coefficient)


def adjusted_depletion_fraction(table_fraction: Floats, crop_evapotranspiration_mm: Floats) -> Floats:
    """p [1] moved from 5 mm/d to the day's ETc, kept in 0.1-0.8; broadcasts. Source: FAO-56 Table 22, footnote. Status: published."""
    return between(table_fraction + 0.04 * (5.0 - crop_evapotranspiration_mm), 0.1, 0.8)


def stress_coefficient(root_zone_depletion_mm: Floats, *, total_available_mm: Floats, depletion_fraction: Floats) -> Floats:
    """Ks [1]: 1 while Dr <= RAW, then linear to 0 at TAW; broadcasts. Source: FAO-56 eq. 84. Status: published."""
    left = total_available_mm - root_zone_depletion_mm
    return between(left / ((1.0 - depletion_fraction) * total_available_mm), 0.0, 1.0)


def surface_share_of_transpiration(stores: Stores, soil: RootZoneColumns) -> Floats:
    """Share of the transpiration that comes from the surface layer [1], shape (column,).

    Kt = (1 − Ds/TEW)/(1 − Dr/TAW) · (Ze/Zr)^0.6, kept in 0-1: the layer gives more the more of its water is left. Both fractions are
    brought on one division.
    Source: Allen et al. 2005, with the area-wide depletion in place of that of the exposed fraction. Status: published form.
    """
    left_in_surface = larger(soil.total_evaporable_mm - stores.surface_mm, 0.0)
    left_in_root_zone = larger(soil.total_available_mm - (stores.surface_mm + stores.lower_mm), 0.001 * soil.total_available_mm)
    return smaller(left_in_surface / left_in_root_zone * soil.surface_share_scale, 1.0)


def water_day(
    stores: Stores,
    soil: RootZoneColumns,
    demand: Demand,
    *,
    into_surface_mm: Floats,
    into_lower_mm: Floats,
    order: DayOrder = DayOrder.WATER_FIRST,
    exposed_rooted: bool = False,
    wettable: Floats | float = 1.0,
) -> tuple[Stores, WaterFluxes]:
    """Advance the stores by one day; all arrays have shape (column,).

    ``into_surface_mm``: water entering the soil matrix at the top; ``into_lower_mm``: water reaching the lower root zone past the
    surface layer (fingers) [mm]. ``exposed_rooted``: roots dry the evaporation layer of the exposed fraction too (Tew of FAO-56 eq. 77, not
    negligible for roots shallower than 0.5-0.6 m, so for turf; the worked examples leave it out). ``wettable``: share of the exchange
    between the layers that repellency leaves [0-1]: soil that repels water does not draw it up. Evaporation and transpiration are limited
    by what is there before they are taken. NaN in, NaN out: hold the state outside where a day is unknown. The balance into_surface +
    into_lower = E + T + drainage + saturation run-off + change of storage closes to rounding.
    """
    start = stores
    if order is DayOrder.WATER_FIRST:
        exposed = larger(start.exposed_mm - into_surface_mm, 0.0)
        surface, lower, drainage, spill = _drain(start.surface_mm - into_surface_mm, start.lower_mm - into_lower_mm, soil)
        seen = Stores(exposed, surface, lower)
    else:
        exposed, surface, lower = start.exposed_mm, start.surface_mm - into_surface_mm, start.lower_mm - into_lower_mm
        seen = start

    kcb, et0 = demand.basal_coefficient, demand.et0_mm
    reduction = evaporation_reduction(seen.exposed_mm, total_evaporable_mm=soil.total_evaporable_mm, per_falling_mm=soil.per_falling_mm)
    ke = evaporation_coefficient(
        reduction, largest_coefficient=demand.largest_coefficient, basal_coefficient=kcb, exposed_fraction=demand.exposed_fraction
    )
    fraction = adjusted_depletion_fraction(demand.depletion_fraction, (kcb + ke) * et0)
    ks = stress_coefficient(seen.surface_mm + seen.lower_mm, total_available_mm=soil.total_available_mm, depletion_fraction=fraction)

    # Evaporation: no more than the exposed layer, and the surface layer, still hold.
    evaporation = smaller(larger(ke * et0, 0.0), demand.exposed_fraction * (soil.total_evaporable_mm - seen.exposed_mm))
    evaporation = smaller(evaporation, larger(soil.total_evaporable_mm - surface, 0.0))
    # An emptied layer may round to more than empty, from which the next day would evaporate less than nothing.
    exposed = smaller(exposed + evaporation / demand.exposed_fraction, soil.total_evaporable_mm)
    surface = surface + evaporation

    # Transpiration: what one layer cannot give the other gives, down to the wilting point of both.
    wanted = larger(ks * kcb * et0, 0.0)
    surface_left = larger(soil.surface_available_mm - surface, 0.0)
    from_surface = smaller(surface_share_of_transpiration(seen, soil) * wanted, surface_left)
    from_lower = smaller(wanted - from_surface, larger(soil.lower_available_mm - lower, 0.0))
    from_surface = smaller(wanted - from_lower, surface_left)
    surface = surface + from_surface
    lower = lower + from_lower
    if soil.exchanges:
        rise = soil.exchange_per_day * wettable * (surface - lower * soil.surface_per_lower)
        # Neither layer gives more than a share of what it has left. Dr is the same afterwards: the root zone's balance does not see it.
        most_up = EXCHANGE_SHARE * larger(soil.lower_available_mm - lower, 0.0)
        most_down = EXCHANGE_SHARE * larger(soil.surface_available_mm - surface, 0.0)
        rise = between(rise, -most_down, most_up)
        surface = surface - rise
        lower = lower + rise
    if exposed_rooted:
        exposed = larger(exposed, smaller(exposed + from_surface, soil.surface_available_mm))

    if order is DayOrder.DRAIN_LAST:
        # De takes the day's water after evaporation has looked at it (eq. 77), and never stands above field capacity.
        exposed = between(exposed - into_surface_mm, 0.0, soil.total_evaporable_mm)
        surface, lower, drainage, spill = _drain(surface, lower, soil)

    return Stores(exposed, surface, lower), WaterFluxes(
        evaporation_mm=evaporation,
        transpiration_mm=from_surface + from_lower,
        drainage_mm=drainage,
        saturation_runoff_mm=spill,
        stress_coefficient=ks,
        evaporation_reduction=reduction,
        evaporation_coefficient=ke,
    )


def _drain(surface_mm: Floats, lower_mm: Floats, soil: RootZoneColumns) -> tuple[Floats, Floats, Floats, Floats]:
    """Let water above field capacity move down, and shed what neither layer can hold: surface, lower, drainage, run-off [mm].

    A share of the excess moves on per day; what a break below holds back only leaks; the ground below takes no more than its limit. A
    root zone filled to saturation backs up into the surface layer before anything runs off.
    """
    surface_excess = larger(-surface_mm, 0.0)
    # What the layer cannot hold at all moves on at once, whatever the share.
    passed = larger(soil.drains_per_day * surface_excess, surface_excess - soil.surface_excess_limit_mm)
    surface_mm = surface_mm + passed
    lower_mm = lower_mm - passed
    excess = larger(-lower_mm, 0.0)
    if soil.perches:
        held_back = smaller(excess, soil.held_back_mm)
        drainage = soil.drains_per_day * (excess - held_back) + LEAK_PER_DAY * held_back
    else:
        drainage = soil.drains_per_day * excess
    drainage = smaller(drainage, soil.percolation_limit_mm)
    over = larger(excess - drainage - soil.lower_excess_limit_mm, 0.0)
    backed_up = smaller(over, larger(soil.surface_excess_limit_mm + surface_mm, 0.0))
    return surface_mm - backed_up, lower_mm + (drainage + over), drainage, over - backed_up
