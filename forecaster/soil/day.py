"""One day for all columns: the order of events, and nothing else.

Everything here and in the kernels below takes arrays of shape (column,) as well as single numbers: ``simulate`` runs it on whole arrays,
``soil.compiled`` compiles this very source for one column at a time. So no choice by value here, but by what the day has in it at all.
"""

from __future__ import annotations

from dataclasses import fields
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.physics import repellency, soil_water, turf_cover
from forecaster.physics.fruiting import FruitingDrivers, FruitingMemory
from forecaster.physics.interception import intercepted_day
from forecaster.physics.limits import between, choose, larger, smaller, unit_slope
from forecaster.physics.snow import snow_day
from forecaster.soil.day_inputs import Column, Drivers, Holds, Rates
from forecaster.soil.state import SoilState

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# A crop coefficient below this is not moved to the climate: FAO-56 eq. 70 is for Kcb > 0.45.
ADJUSTED_ABOVE = 0.45
OFTEN_WET_DAYS = 2.0


class Moving(NamedTuple):
    """What changes from day to day, but for the fruiting memory."""

    stores: soil_water.Stores
    snow_mm: Floats
    intercepted_mm: Floats
    days_since_wetting: Floats
    wetting_interval_days: Floats
    repellency_log10_s: Floats
    cover: turf_cover.Cover


class Amounts(NamedTuple):
    """Amounts and coefficients of one day. ``water_in_mm``: what arrived at the turf, which fruiting asks for."""

    water_in_mm: Floats
    stress_coefficient: Floats
    interception_mm: Floats
    infiltration_mm: Floats
    water_lost_mm: Floats
    runoff_mm: Floats
    bypass_mm: Floats
    drainage_mm: Floats
    evaporation_mm: Floats
    transpiration_mm: Floats


def moving_of(state: SoilState) -> Moving:
    """The moving part of a stored state."""
    return Moving(
        stores=soil_water.Stores(state.exposed_depletion_mm, state.surface_depletion_mm, state.lower_depletion_mm),
        snow_mm=state.snow_mm,
        intercepted_mm=state.intercepted_mm,
        days_since_wetting=state.days_since_wetting,
        wetting_interval_days=state.wetting_interval_days,
        repellency_log10_s=state.repellency_log10_s,
        cover=turf_cover.Cover(state.green_cover, state.live_crowns, state.drought_days),
    )


def state_of(now: Moving, remembered: FruitingMemory) -> SoilState:
    """The whole state, to be stored or gone on from."""
    return SoilState(
        exposed_depletion_mm=now.stores.exposed_mm,
        surface_depletion_mm=now.stores.surface_mm,
        lower_depletion_mm=now.stores.lower_mm,
        snow_mm=now.snow_mm,
        intercepted_mm=now.intercepted_mm,
        days_since_wetting=now.days_since_wetting,
        wetting_interval_days=now.wetting_interval_days,
        repellency_log10_s=now.repellency_log10_s,
        green_cover=now.cover.green,
        live_crowns=now.cover.crowns,
        drought_days=now.cover.drought_days,
        **{f.name: getattr(remembered, f.name) for f in fields(FruitingMemory)},
    )


def moved_by_day(
    now: Moving, today: Drivers, column: Column, rates: Rates, holds: Holds, order: soil_water.DayOrder
) -> tuple[Moving, Amounts]:
    """The state after the day but for its repellency, which ``relaxed`` moves on; and the day's amounts, anything where it is not known."""
    et0, warmth = today.et0_mm, today.air_temperature_mean_c
    thawed = today.soil_temperature_c >= 0.0
    if holds.snow:
        snow, rain = snow_day(now.snow_mm, today.rain_mm, warmth, rates.snow)
    else:
        snow, rain = now.snow_mm, today.rain_mm
    arriving = rain + today.irrigation_mm
    kcb, largest = _coefficients(now, today, column, rates, holds)
    if holds.interception:
        potential = largest * et0
        held, intercepted, water_in = intercepted_day(
            now.intercepted_mm, arriving, capacity_mm=column.interception_mm, potential_mm=potential
        )
        # What evaporates from wet leaves is not asked of the soil a second time.
        asked = et0 * (1.0 - intercepted / larger(potential, 1e-9))
    else:
        held, intercepted, water_in, asked = now.intercepted_mm, now.intercepted_mm, arriving, et0

    runoff: Floats | float = 0.0
    if holds.rain_over_capacity:
        # Dry soil first takes what its top layer lacks, however fast it falls (assumption).
        room = larger(now.stores.surface_mm, 0.0)
        runoff = smaller(larger(today.rain_over_capacity_mm - room, 0.0), water_in)
        water_in = water_in - runoff
    if holds.frost:
        runoff = choose(thawed, runoff, runoff + water_in)
        water_in = choose(thawed, water_in, 0.0)
        asked = choose(thawed, asked, 0.0)
    kept_out_share = repellency.share_kept_out(now.repellency_log10_s, share_at_extreme=1.0)
    kept_out = water_in * (rates.repellency_share * kept_out_share)
    fingers = rates.lost_to_fingers * kept_out
    bypass = rates.lost_to_bypass * kept_out
    into_surface = water_in - kept_out

    stores, flux = soil_water.water_day(
        now.stores,
        column.soil,
        soil_water.Demand(asked, kcb, largest, column.exposed_fraction, column.depletion_fraction),
        into_surface_mm=into_surface,
        into_lower_mm=fingers,
        order=order,
        exposed_rooted=holds.exposed_rooted,
        wettable=1.0 - kept_out_share,
    )
    cover = _cover(now, flux.stress_coefficient, today, column, rates, holds)
    if holds.frost:
        # Frozen soil still drains what stands above field capacity; the turf waits.
        cover = _cover_where(thawed, cover, now.cover)
    wetted = arriving >= rates.wetting_mm
    since = now.days_since_wetting + 1.0
    interval = choose(wetted, since, now.wetting_interval_days)
    moved = Moving(stores, snow, held, choose(wetted, 0.0, since), interval, now.repellency_log10_s, cover)
    if holds.unknown:
        moved = _where(today.known, moved, now)
    runoff = rates.lost_to_runoff * kept_out + flux.saturation_runoff_mm + runoff
    return moved, Amounts(
        water_in_mm=arriving,
        stress_coefficient=flux.stress_coefficient,
        interception_mm=intercepted,
        infiltration_mm=into_surface + fingers,
        water_lost_mm=runoff + bypass,
        runoff_mm=runoff,
        bypass_mm=bypass,
        drainage_mm=flux.drainage_mm,
        evaporation_mm=flux.evaporation_mm,
        transpiration_mm=flux.transpiration_mm,
    )


def fruiting_drivers(moved: Moving, amounts: Amounts, today: Drivers, column: Column) -> FruitingDrivers:
    """What the day means for the fungus."""
    return FruitingDrivers(
        amounts.water_in_mm,
        surface_available_fraction(moved, column),
        amounts.stress_coefficient,
        today.soil_temperature_c,
        today.air_temperature_min_c,
    )


def wetness_exponent(moved: Moving, column: Column, rates: Rates) -> Floats:
    """What ``relaxed`` wants the exponential of [1]."""
    water = surface_water(moved, column)
    return repellency.wetness_exponent(water, critical_water_m3m3=column.critical_water_m3m3, steepness=rates.repellency_steepness)


def relaxed(repellency_log10_s: Floats, exponential: Floats, today: Drivers, column: Column, rates: Rates, holds: Holds) -> Floats:
    """Repellency at the end of the day [log10 s]; it waits where the soil is frozen or the day is not known."""
    after = repellency.relaxed_repellency(
        repellency_log10_s,
        repellency.repellency_of_exponential(exponential, potential_log10_s=column.potential_repellency_log10_s),
        drying_days=rates.drying_days,
        wetting_days=rates.wetting_days,
    )
    if holds.frost:
        after = choose(today.soil_temperature_c >= 0.0, after, repellency_log10_s)
    if holds.unknown:
        after = choose(today.known, after, repellency_log10_s)
    return after


def available_water_fraction(now: Moving, column: Column) -> Floats:
    """Share of what roots can take from the root zone that is there [0-1]."""
    return between(1.0 - root_zone_depletion(now) * column.soil.per_total_available_mm, 0.0, 1.0)


def root_zone_depletion(now: Moving) -> Floats:
    """Dr [mm]."""
    return now.stores.surface_mm + now.stores.lower_mm


def surface_water(now: Moving, column: Column) -> Floats:
    """Water content of the surface layer [m³/m³]."""
    return column.soil.field_capacity_m3m3 - now.stores.surface_mm * column.per_surface_mm


def surface_available_fraction(now: Moving, column: Column) -> Floats:
    """Share of what roots can take from the surface layer that is there [0-1]."""
    return between(1.0 - now.stores.surface_mm * column.soil.per_surface_available_mm, 0.0, 1.0)


def _coefficients(now: Moving, today: Drivers, column: Column, rates: Rates, holds: Holds) -> tuple[Floats, Floats]:
    """Kcb of the turf as green as it is, moved to the climate, and Kc,max, lower where the surface is wetted every day or two."""
    term = column.height_weight * soil_water.climate_departure(today.wind_speed_2m_ms, today.relative_humidity_min_percent)
    green = now.cover.green
    if holds.cold_slows_use:
        # Cold roots take up little, and what does not grow transpires little: the soil's warmth stands for both (assumption).
        green = green * unit_slope(today.soil_temperature_c, column.growth_starts_c, column.growth_rise_per_c)
    kcb = turf_cover.basal_coefficient_of_cover(column.basal_crop_coefficient, green, smallest=rates.minimum_basal_coefficient)
    if holds.climate_adjusted:
        kcb = kcb + term * (kcb > ADJUSTED_ABOVE)
    often = larger(now.wetting_interval_days, now.days_since_wetting) <= OFTEN_WET_DAYS
    base = rates.kc_max_base - (rates.kc_max_base - rates.kc_max_base_often_wet) * often
    return kcb, larger(base + term, kcb + 0.05)


def _cover(now: Moving, stress: Floats, today: Drivers, column: Column, rates: Rates, holds: Holds) -> turf_cover.Cover:
    warmth = today.air_temperature_mean_c
    growth = turf_cover.growth_response(
        warmth,
        starts_c=column.growth_starts_c,
        rise_per_c=column.growth_rise_per_c,
        stops_c=column.growth_stops_c,
        fall_per_c=column.growth_fall_per_c,
    )
    cold = turf_cover.cold_dormancy(warmth, dormant_below_c=column.dormant_below_c) if holds.winter_dormancy else 0.0
    return turf_cover.cover_day(
        now.cover,
        rates.cover,
        stress_coefficient=stress,
        potential_transpiration_mm=column.basal_crop_coefficient * today.et0_mm,
        growth=growth,
        endurance_days=column.crown_endurance_days,
        cold=cold,
    )


def _cover_where(moves: Flags, new: turf_cover.Cover, held: turf_cover.Cover) -> turf_cover.Cover:
    return turf_cover.Cover(
        choose(moves, new.green, held.green),
        choose(moves, new.crowns, held.crowns),
        choose(moves, new.drought_days, held.drought_days),
    )


def _where(moves: Flags, new: Moving, held: Moving) -> Moving:
    """The new state for the columns that move, the held one for the others; of one repellency."""
    return Moving(
        soil_water.Stores(
            choose(moves, new.stores.exposed_mm, held.stores.exposed_mm),
            choose(moves, new.stores.surface_mm, held.stores.surface_mm),
            choose(moves, new.stores.lower_mm, held.stores.lower_mm),
        ),
        choose(moves, new.snow_mm, held.snow_mm),
        choose(moves, new.intercepted_mm, held.intercepted_mm),
        choose(moves, new.days_since_wetting, held.days_since_wetting),
        choose(moves, new.wetting_interval_days, held.wetting_interval_days),
        held.repellency_log10_s,
        _cover_where(moves, new.cover, held.cover),
    )
