"""One column of a tile of columns, for compiled code: which number of which array goes into the day, and where what comes out is put.

Plumbing without an equation, only ever run compiled: ``a`` is a named tuple of arrays, ``i`` a column.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from forecaster.physics import fruiting, soil_water, turf_cover
from forecaster.physics.limits import larger
from forecaster.soil import day as daily
from forecaster.soil.day_inputs import Column, Drivers, Holds

RAIN_ROWS = fruiting.RAIN_WINDOW_DAYS - 1
WARMTH_ROWS = fruiting.TEMPERATURE_WINDOW_DAYS - 1


def stores_at(a: Any, i: int) -> Any:
    return soil_water.Stores(a.exposed_mm[i], a.surface_mm[i], a.lower_mm[i])


def cover_at(a: Any, i: int) -> Any:
    return turf_cover.Cover(a.green[i], a.crowns[i], a.drought_days[i])


def moving_at(a: Any, i: int) -> Any:
    return daily.Moving(
        stores_at(a.stores, i),
        a.snow_mm[i],
        a.intercepted_mm[i],
        a.days_since_wetting[i],
        a.wetting_interval_days[i],
        a.repellency_log10_s[i],
        cover_at(a.cover, i),
    )


def put_moving(a: Any, i: int, value: Any) -> None:
    a.stores.exposed_mm[i] = value.stores.exposed_mm
    a.stores.surface_mm[i] = value.stores.surface_mm
    a.stores.lower_mm[i] = value.stores.lower_mm
    a.snow_mm[i] = value.snow_mm
    a.intercepted_mm[i] = value.intercepted_mm
    a.days_since_wetting[i] = value.days_since_wetting
    a.wetting_interval_days[i] = value.wetting_interval_days
    a.cover.green[i] = value.cover.green
    a.cover.crowns[i] = value.cover.crowns
    a.cover.drought_days[i] = value.cover.drought_days


def amounts_at(a: Any, i: int) -> Any:
    return daily.Amounts(
        a.water_in_mm[i],
        a.stress_coefficient[i],
        a.interception_mm[i],
        a.infiltration_mm[i],
        a.water_lost_mm[i],
        a.runoff_mm[i],
        a.bypass_mm[i],
        a.drainage_mm[i],
        a.evaporation_mm[i],
        a.transpiration_mm[i],
    )


def put_amounts(a: Any, i: int, value: Any, asked: Any) -> None:
    """Only what is asked for, and what fruiting wants of the day: a store costs as much as several multiplications."""
    a.water_in_mm[i] = value.water_in_mm
    a.stress_coefficient[i] = value.stress_coefficient
    if asked.interception_mm:
        a.interception_mm[i] = value.interception_mm
    if asked.infiltration_mm:
        a.infiltration_mm[i] = value.infiltration_mm
    if asked.water_lost_mm:
        a.water_lost_mm[i] = value.water_lost_mm
    if asked.runoff_mm:
        a.runoff_mm[i] = value.runoff_mm
    if asked.bypass_mm:
        a.bypass_mm[i] = value.bypass_mm
    if asked.drainage_mm:
        a.drainage_mm[i] = value.drainage_mm
    if asked.evaporation_mm:
        a.evaporation_mm[i] = value.evaporation_mm
    if asked.transpiration_mm:
        a.transpiration_mm[i] = value.transpiration_mm


def soil_at(a: Any, i: int) -> Any:
    return soil_water.RootZoneColumns(
        a.field_capacity_m3m3[i],
        a.per_falling_mm[i],
        a.drains_per_day[i],
        a.held_back_mm[i],
        a.percolation_limit_mm[i],
        a.exchange_per_day[i],
        a.total_available_mm[i],
        a.per_total_available_mm[i],
        a.total_evaporable_mm[i],
        a.surface_available_mm[i],
        a.per_surface_available_mm[i],
        a.lower_available_mm[i],
        a.surface_excess_limit_mm[i],
        a.lower_excess_limit_mm[i],
        a.surface_per_lower[i],
        a.surface_share_scale[i],
        a.exchanges,
        a.perches,
    )


def column_at(a: Any, i: int) -> Any:
    return Column(
        soil_at(a.soil, i),
        a.per_surface_mm[i],
        a.exposed_fraction[i],
        a.depletion_fraction[i],
        a.basal_crop_coefficient[i],
        a.height_weight[i],
        a.growth_starts_c[i],
        a.growth_rise_per_c[i],
        a.growth_stops_c[i],
        a.growth_fall_per_c[i],
        a.potential_repellency_log10_s[i],
        a.critical_water_m3m3[i],
        a.crown_endurance_days[i],
        a.dormant_below_c[i],
        a.interception_mm[i],
    )


def fetch(today: Any, weather: Any, day: Any, first: Any, holds: Any, rates: Any, lying: Any) -> Any:
    """Bring the tile's weather of the day near, one series after the other, and return what the day holds at all.

    The loop over columns looks at some seventy arrays at once, more than a processor fetches ahead; half its time went
    into waiting for these.
    """
    _copy_row(today.rain_mm, weather.rain_mm[day], first)
    _copy_row(today.irrigation_mm, weather.irrigation_mm[day], first)
    _copy_row(today.et0_mm, weather.et0_mm[day], first)
    _copy_row(today.air_temperature_mean_c, weather.air_temperature_mean_c[day], first)
    _copy_row(today.air_temperature_min_c, weather.air_temperature_min_c[day], first)
    _copy_row(today.soil_temperature_c, weather.soil_temperature_c[day], first)
    _copy_row(today.wind_speed_2m_ms, weather.wind_speed_2m_ms[day], first)
    _copy_row(today.relative_humidity_min_percent, weather.relative_humidity_min_percent[day], first)
    _copy_row(today.known, weather.known[day], first)
    if holds.rain_over_capacity:
        _copy_row(today.rain_over_capacity_mm, weather.rain_over_capacity_mm[day], first)
    frost, snow, known = False, lying, True
    for i in range(today.known.shape[0]):
        frost = frost | (today.soil_temperature_c[i] < 0.0)
        snow = snow | (today.air_temperature_mean_c[i] < rates.snow.rain_above_c)
        known = known & today.known[i]
    return Holds(
        holds.exposed_rooted,
        holds.cold_slows_use,
        holds.climate_adjusted,
        holds.winter_dormancy,
        holds.interception,
        holds.rain_over_capacity,
        snow,
        frost,
        not known,
    )


def lies(now: Any, holds: Any) -> Any:
    """Whether any column has snow at the end of a day; without snow on the day there is none."""
    lying = False
    if holds.snow:
        for i in range(now.snow_mm.shape[0]):
            lying = lying | (now.snow_mm[i] != 0.0)
    return lying


def _copy_row(into: Any, row: Any, first: Any) -> None:
    part = row[first : first + into.shape[0]]
    for i in range(into.shape[0]):
        into[i] = part[i]


def drivers_at(a: Any, i: int) -> Any:
    return Drivers(
        a.rain_mm[i],
        a.irrigation_mm[i],
        a.et0_mm[i],
        a.air_temperature_mean_c[i],
        a.air_temperature_min_c[i],
        a.soil_temperature_c[i],
        a.wind_speed_2m_ms[i],
        a.relative_humidity_min_percent[i],
        a.known[i],
        a.rain_over_capacity_mm[i],
    )


def past_at(a: Any, day: int, i: int) -> Any:
    return fruiting.FruitingPast(
        (
            a.water[day % RAIN_ROWS, i],
            a.water[(day + 1) % RAIN_ROWS, i],
            a.water[(day + 2) % RAIN_ROWS, i],
            a.water[(day + 3) % RAIN_ROWS, i],
            a.water[(day + 4) % RAIN_ROWS, i],
            a.water[(day + 5) % RAIN_ROWS, i],
        ),
        (
            a.warmth[day % WARMTH_ROWS, i],
            a.warmth[(day + 1) % WARMTH_ROWS, i],
            a.warmth[(day + 2) % WARMTH_ROWS, i],
            a.warmth[(day + 3) % WARMTH_ROWS, i],
        ),
        larger(a.wetness_until_round[day % fruiting.RISE_WINDOW_DAYS, i], a.wetness_of_round[i]),
        a.drought[day % fruiting.PRIMING_WINDOW_DAYS, i],
        a.drought[(day - 1) % fruiting.PRIMING_WINDOW_DAYS, i],
        a.drought_days[i],
        a.cold_nights[i],
        a.coming[day % fruiting.KERNEL_DAYS, i],
    )


def water(now: Any, amounts: Any, exponential: Any, column: Any, today: Any, rates: Any, holds: Any, order: Any, asked: Any) -> None:
    """Move every column of the tile by a day, but for repellency and fruiting, and leave the exponent of the former."""
    # A loop for each order: one loop for both would work out both.
    if order is soil_water.DayOrder.WATER_FIRST:
        _water(now, amounts, exponential, column, today, rates, holds, soil_water.DayOrder.WATER_FIRST, asked)
    else:
        _water(now, amounts, exponential, column, today, rates, holds, soil_water.DayOrder.DRAIN_LAST, asked)


def _water(now: Any, amounts: Any, exponential: Any, column: Any, today: Any, rates: Any, holds: Any, order: Any, asked: Any) -> None:
    for i in range(exponential.shape[0]):
        mine = column_at(column, i)
        moved, found = daily.moved_by_day(moving_at(now, i), drivers_at(today, i), mine, rates, holds, order)
        put_moving(now, i, moved)
        put_amounts(amounts, i, found, asked)
        exponential[i] = daily.wetness_exponent(moved, mine, rates)


def rest(
    now: Any,
    amounts: Any,
    exponential: Any,
    column: Any,
    today: Any,
    day: Any,
    rates: Any,
    holds: Any,
    rings: Any,
    factor: Any,
    unknown_past: Any,
    driven: Any,
    left: Any,
) -> None:
    """Relax repellency and work out fruiting, where exp has been taken of what ``water`` left."""
    for i in range(exponential.shape[0]):
        mine, mine_today, before = column_at(column, i), drivers_at(today, i), moving_at(now, i)
        now.repellency_log10_s[i] = daily.relaxed(before.repellency_log10_s, exponential[i], mine_today, mine, rates, holds)
        drivers, past = daily.fruiting_drivers(before, amounts_at(amounts, i), mine_today, mine), past_at(rings, day, i)
        if holds.unknown:
            drivers = fruiting.held_drivers(drivers, past, mine_today.known)
        found = fruiting.fruiting_day(drivers, past, cold_night_factor=factor, unknown_past=unknown_past)
        driven.water_in_mm[i] = drivers.water_in_mm
        driven.soil_temperature_c[i] = drivers.soil_temperature_c
        left.wetness[i] = found.wetness
        left.trigger[i] = found.trigger
        left.dry[i] = found.dry
        left.drought_days[i] = found.drought_days
        left.cold_nights[i] = found.cold_nights
        left.hazard[i] = found.hazard


def remember(rings: Any, day: Any, driven: Any, left: Any, lags: Any, weights: Any, share: Any, hit: Any, brought: Any) -> None:
    """Write the day into the rings of fruiting, and let triggers arrive later, in the order of ``FruitingDays``."""
    # Row by row: writing to a ring while looking at its other rows keeps the compiler from taking several columns at once.
    water, warmth = rings.water[day % RAIN_ROWS], rings.warmth[day % WARMTH_ROWS]
    wetness, drought = rings.wetness[day % fruiting.RISE_WINDOW_DAYS], rings.drought[day % fruiting.PRIMING_WINDOW_DAYS]
    coming = rings.coming[day % fruiting.KERNEL_DAYS]
    n = left.wetness.shape[0]
    for i in range(n):
        water[i] = driven.water_in_mm[i]
        warmth[i] = driven.soil_temperature_c[i]
        wetness[i] = left.wetness[i]
        rings.wetness_of_round[i] = larger(rings.wetness_of_round[i], left.wetness[i])
        rings.drought_days[i] = left.drought_days[i]
        rings.cold_nights[i] = left.cold_nights[i]
        coming[i] = 0.0
    for i in range(n):
        drought[i] = left.dry[i]
    # Few columns have a trigger: they are picked first, then brought forward one coming day after the other.
    found = 0
    for i in range(n):
        if left.trigger[i] > 0.0:
            hit[found] = i
            brought[found] = fruiting.impulse(left.trigger[i], left.drought_days[i], unprimed_share=share)
            found += 1
    for lag in range(lags.shape[0]):
        coming, weight = rings.coming[(day + lags[lag]) % fruiting.KERNEL_DAYS], weights[lag]
        for k in range(found):
            coming[hit[k]] += weight * brought[k]


def tell(now: Any, amounts: Any, left: Any, column: Any, today: Any, day: Any, first: Any, place: Any, kept: Any, unknown: Any) -> None:
    """Write the day's row of every series that is kept; ``place`` has -1 for the others, in the order of ``series.SERIES``."""
    n = left.wetness.shape[0]
    if place[0] >= 0:
        into = kept[place[0], day, first : first + n]
        for i in range(n):
            into[i] = daily.root_zone_depletion(moving_at(now, i))
    if place[1] >= 0:
        into = kept[place[1], day, first : first + n]
        for i in range(n):
            into[i] = daily.available_water_fraction(moving_at(now, i), column_at(column, i))
    if place[2] >= 0:
        into = kept[place[2], day, first : first + n]
        for i in range(n):
            into[i] = daily.surface_water(moving_at(now, i), column_at(column, i))
    if place[3] >= 0:
        into = kept[place[3], day, first : first + n]
        for i in range(n):
            into[i] = daily.surface_available_fraction(moving_at(now, i), column_at(column, i))
    rows = (
        now.repellency_log10_s,
        now.cover.green,
        now.cover.crowns,
        now.cover.drought_days,
        now.snow_mm,
        now.intercepted_mm,
        amounts.stress_coefficient,
        amounts.interception_mm,
        amounts.infiltration_mm,
        amounts.water_lost_mm,
        amounts.runoff_mm,
        amounts.bypass_mm,
        amounts.drainage_mm,
        amounts.evaporation_mm,
        amounts.transpiration_mm,
        left.hazard,
    )
    for k in range(len(rows)):
        to = place[4 + k]
        if to >= 0:
            row, into = rows[k], kept[to, day, first : first + n]
            if k >= 6 and unknown:
                for i in range(n):
                    into[i] = row[i] if today.known[i] else np.nan
            else:
                for i in range(n):
                    into[i] = row[i]
