"""What a day is worked out from: the numbers of each column, of the model and of the weather, and what they hold at all."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.physics import soil_water, turf_cover
from forecaster.physics.fruiting import FruitingRates
from forecaster.physics.snow import SnowRates
from forecaster.soil.columns import NEVER_DORMANT_C, ColumnParameters, ModelParameters
from forecaster.soil.state import Forcing

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


class Column(NamedTuple):
    """What does not change from day to day, worked out once; shape (column,)."""

    soil: soil_water.RootZoneColumns
    per_surface_mm: Floats
    exposed_fraction: Floats
    depletion_fraction: Floats
    basal_crop_coefficient: Floats
    height_weight: Floats
    growth_starts_c: Floats
    growth_rise_per_c: Floats
    growth_stops_c: Floats
    growth_fall_per_c: Floats
    potential_repellency_log10_s: Floats
    critical_water_m3m3: Floats
    crown_endurance_days: Floats
    dormant_below_c: Floats
    interception_mm: Floats


class Rates(NamedTuple):
    """Numbers of the model, the same for every column: see ``ModelParameters``."""

    snow: SnowRates
    cover: turf_cover.CoverRates
    minimum_basal_coefficient: float
    kc_max_base: float
    kc_max_base_often_wet: float
    wetting_mm: float
    repellency_steepness: float
    repellency_share: float
    drying_days: float
    wetting_days: float
    lost_to_runoff: float
    lost_to_fingers: float
    lost_to_bypass: float


class Holds(NamedTuple):
    """What the run, and the day, have in them at all: what nothing needs is left out of the day."""

    exposed_rooted: bool
    cold_slows_use: bool
    climate_adjusted: bool
    winter_dormancy: bool
    interception: bool
    rain_over_capacity: bool
    snow: bool = True
    frost: bool = True
    unknown: bool = True


class Drivers(NamedTuple):
    """The weather of one day, see ``Forcing``; shape (column,), over several days (day, column)."""

    rain_mm: Floats
    irrigation_mm: Floats
    et0_mm: Floats
    air_temperature_mean_c: Floats
    air_temperature_min_c: Floats
    soil_temperature_c: Floats
    wind_speed_2m_ms: Floats
    relative_humidity_min_percent: Floats
    known: Flags
    rain_over_capacity_mm: Floats

    def on(self, day: int) -> Drivers:
        """The weather of one of the days."""
        return Drivers(*(series[day] for series in self))


def columns_of(columns: ColumnParameters) -> Column:
    """Work out what does not change; arrays as they come, or scalars."""
    return Column(
        soil=soil_water.root_zone_columns(
            field_capacity_m3m3=columns.field_capacity_m3m3,
            wilting_point_m3m3=columns.wilting_point_m3m3,
            saturation_m3m3=columns.saturation_m3m3,
            root_depth_m=columns.root_depth_m,
            surface_depth_m=columns.surface_depth_m,
            readily_evaporable_mm=columns.readily_evaporable_mm,
            drains_per_day=columns.drains_per_day,
            held_back_mm=columns.held_back_mm,
            percolation_limit_mm=columns.percolation_limit_mm,
            exchange_per_day=columns.exchange_per_day,
        ),
        per_surface_mm=1.0 / (1000.0 * columns.surface_depth_m),
        exposed_fraction=soil_water.exposed_and_wetted_fraction(columns.ground_cover),
        height_weight=soil_water.height_weight(columns.turf_height_m),
        growth_rise_per_c=1.0 / (columns.growth_full_c - columns.growth_starts_c),
        growth_fall_per_c=1.0 / (columns.growth_falls_c - columns.growth_stops_c),
        **{name: getattr(columns, name) for name in Column._fields if hasattr(columns, name)},
    )


def rates_of(model: ModelParameters) -> Rates:
    """The model's numbers, sorted."""
    return Rates(
        snow=SnowRates(model.snow_below_c, model.rain_above_c, model.melt_mm_per_c_day),
        cover=turf_cover.CoverRates(**{name: getattr(model, name) for name in turf_cover.CoverRates._fields}),
        **{name: getattr(model, name) for name in Rates._fields if hasattr(model, name)},
    )


def held_in_run(columns: ColumnParameters, model: ModelParameters, *, rain_over_capacity: bool) -> Holds:
    """What a run has in it; its days may have less."""
    return Holds(
        exposed_rooted=model.exposed_rooted,
        cold_slows_use=model.cold_slows_use,
        climate_adjusted=model.climate_adjusted,
        winter_dormancy=bool(np.any(columns.dormant_below_c > NEVER_DORMANT_C)),
        interception=bool(np.any(columns.interception_mm > 0.0)),
        rain_over_capacity=rain_over_capacity,
    )


def drivers_of(forcing: Forcing) -> Drivers:
    """The weather of all days. Where rain is known by the day only, the last is anything: ``Holds`` says that nothing looks at it."""
    over = forcing.rain_mm if forcing.rain_over_capacity_mm is None else forcing.rain_over_capacity_mm
    given = {name: getattr(forcing, name) for name in Drivers._fields}
    return Drivers(**given | {"rain_over_capacity_mm": over})


def fruiting_rates(model: ModelParameters) -> FruitingRates:
    """The model's numbers that fruiting takes."""
    return FruitingRates(
        base_hazard=model.flush_base_hazard,
        unprimed_share=model.flush_unprimed_share,
        delay_mean_days=model.flush_delay_mean_days,
        delay_sd_days=model.flush_delay_sd_days,
        cold_night_factor=model.cold_night_factor,
    )
