"""One column of a tile of columns, for compiled code: which number of which array goes into the day, and where what comes out is put.

Plumbing without an equation, only ever run compiled: ``a`` is a named tuple of arrays, ``i`` a column.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from forecaster.physics import fruiting, soil_water, turf_cover
from forecaster.soil import day as daily
from forecaster.soil.day_inputs import Column, Drivers

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


def put_amounts(a: Any, i: int, value: Any) -> None:
    a.water_in_mm[i] = value.water_in_mm
    a.stress_coefficient[i] = value.stress_coefficient
    a.interception_mm[i] = value.interception_mm
    a.infiltration_mm[i] = value.infiltration_mm
    a.water_lost_mm[i] = value.water_lost_mm
    a.runoff_mm[i] = value.runoff_mm
    a.bypass_mm[i] = value.bypass_mm
    a.drainage_mm[i] = value.drainage_mm
    a.evaporation_mm[i] = value.evaporation_mm
    a.transpiration_mm[i] = value.transpiration_mm


def soil_at(a: Any, i: int) -> Any:
    return soil_water.RootZoneColumns(
        a.field_capacity_m3m3[i],
        a.readily_evaporable_mm[i],
        a.drains_per_day[i],
        a.held_back_mm[i],
        a.percolation_limit_mm[i],
        a.exchange_per_day[i],
        a.total_available_mm[i],
        a.total_evaporable_mm[i],
        a.surface_available_mm[i],
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
        a.growth_full_c[i],
        a.growth_falls_c[i],
        a.growth_stops_c[i],
        a.potential_repellency_log10_s[i],
        a.critical_water_m3m3[i],
        a.crown_endurance_days[i],
        a.dormant_below_c[i],
        a.interception_mm[i],
    )


def drivers_at(a: Any, day: int, i: int) -> Any:
    return Drivers(
        a.rain_mm[day, i],
        a.irrigation_mm[day, i],
        a.et0_mm[day, i],
        a.air_temperature_mean_c[day, i],
        a.air_temperature_min_c[day, i],
        a.soil_temperature_c[day, i],
        a.wind_speed_2m_ms[day, i],
        a.relative_humidity_min_percent[day, i],
        a.known[day, i],
        a.rain_over_capacity_mm[day, i],
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
        np.maximum(a.wetness_until_round[day % fruiting.RISE_WINDOW_DAYS, i], a.wetness_of_round[i]),
        a.drought[day % fruiting.PRIMING_WINDOW_DAYS, i],
        a.drought[(day - 1) % fruiting.PRIMING_WINDOW_DAYS, i],
        a.drought_days[i],
        a.cold_nights[i],
        a.coming[day % fruiting.KERNEL_DAYS, i],
    )


def water(
    now: Any, amounts: Any, exponential: Any, column: Any, weather: Any, day: Any, first: Any, rates: Any, holds: Any, order: Any
) -> None:
    """Move every column of the tile by a day, but for repellency and fruiting, and leave the exponent of the former."""
    for i in range(exponential.shape[0]):
        mine = column_at(column, i)
        moved, found = daily.moved_by_day(moving_at(now, i), drivers_at(weather, day, first + i), mine, rates, holds, order)
        put_moving(now, i, moved)
        put_amounts(amounts, i, found)
        exponential[i] = daily.wetness_exponent(moved, mine, rates)


def rest(
    now: Any,
    amounts: Any,
    exponential: Any,
    column: Any,
    weather: Any,
    day: Any,
    first: Any,
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
        mine, today, before = column_at(column, i), drivers_at(weather, day, first + i), moving_at(now, i)
        now.repellency_log10_s[i] = daily.relaxed(before.repellency_log10_s, exponential[i], today, mine, rates, holds)
        drivers, past = daily.fruiting_drivers(before, amounts_at(amounts, i), today, mine), past_at(rings, day, i)
        if holds.unknown:
            drivers = fruiting.held_drivers(drivers, past, today.known)
        found = fruiting.fruiting_day(drivers, past, cold_night_factor=factor, unknown_past=unknown_past)
        driven.water_in_mm[i] = drivers.water_in_mm
        driven.soil_temperature_c[i] = drivers.soil_temperature_c
        left.wetness[i] = found.wetness
        left.trigger[i] = found.trigger
        left.dry[i] = found.dry
        left.drought_days[i] = found.drought_days
        left.cold_nights[i] = found.cold_nights
        left.hazard[i] = found.hazard


def remember(rings: Any, day: Any, driven: Any, left: Any, lags: Any, weights: Any, share: Any) -> None:
    """Write the day into the rings of fruiting, and let triggers arrive later, in the order of ``FruitingDays``."""
    rings.water[day % RAIN_ROWS] = driven.water_in_mm
    rings.warmth[day % WARMTH_ROWS] = driven.soil_temperature_c
    rings.wetness[day % fruiting.RISE_WINDOW_DAYS] = left.wetness
    rings.drought[day % fruiting.PRIMING_WINDOW_DAYS] = left.dry
    rings.drought_days[:] = left.drought_days
    rings.cold_nights[:] = left.cold_nights
    rings.coming[day % fruiting.KERNEL_DAYS] = 0.0
    for i in range(left.wetness.shape[0]):
        rings.wetness_of_round[i] = np.maximum(rings.wetness_of_round[i], left.wetness[i])
    for i in range(left.wetness.shape[0]):
        if left.trigger[i] > 0.0:
            brought = fruiting.impulse(left.trigger[i], left.drought_days[i], unprimed_share=share)
            for lag in range(lags.shape[0]):
                rings.coming[(day + lags[lag]) % fruiting.KERNEL_DAYS, i] += weights[lag] * brought


def tell(now: Any, amounts: Any, left: Any, column: Any, weather: Any, day: Any, first: Any, place: Any, kept: Any) -> None:
    """Write the day's row of every series that is kept; ``place`` has -1 for the others, in the order of ``series.SERIES``."""
    n = left.wetness.shape[0]
    if place[0] >= 0:
        for i in range(n):
            kept[place[0], day, first + i] = daily.root_zone_depletion(moving_at(now, i))
    if place[1] >= 0:
        for i in range(n):
            kept[place[1], day, first + i] = daily.available_water_fraction(moving_at(now, i), column_at(column, i))
    if place[2] >= 0:
        for i in range(n):
            kept[place[2], day, first + i] = daily.surface_water(moving_at(now, i), column_at(column, i))
    if place[3] >= 0:
        for i in range(n):
            kept[place[3], day, first + i] = daily.surface_available_fraction(moving_at(now, i), column_at(column, i))
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
            row = rows[k]
            if k >= 6:
                for i in range(n):
                    kept[to, day, first + i] = row[i] if weather.known[day, first + i] else np.nan
            else:
                for i in range(n):
                    kept[to, day, first + i] = row[i]
