"""One day for all columns of a block: the order of events, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from forecaster.physics import repellency, soil_water, turf_cover
from forecaster.physics.fruiting import FruitingMemory
from forecaster.physics.interception import intercepted_day
from forecaster.physics.limits import between, unit_ramp
from forecaster.physics.snow import SnowRates, snow_day
from forecaster.soil.columns import NEVER_DORMANT_C, ColumnParameters, ModelParameters
from forecaster.soil.state import Forcing, SoilState

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# States are described from what moves; the others are amounts of the day.
STATES = (
    "depletion_mm",
    "available_water_fraction",
    "surface_water_m3m3",
    "surface_available_fraction",
    "repellency_log10_s",
    "green_cover",
    "live_crowns",
    "drought_days",
    "snow_mm",
    "intercepted_mm",
)
AMOUNTS = (
    "stress_coefficient",
    "interception_mm",
    "infiltration_mm",
    "water_lost_mm",
    "runoff_mm",
    "bypass_mm",
    "drainage_mm",
    "evaporation_mm",
    "transpiration_mm",
    "flush_hazard_per_day",
)
SERIES = (*STATES, *AMOUNTS)
# A crop coefficient below this is not moved to the climate: FAO-56 eq. 70 is for Kcb > 0.45.
ADJUSTED_ABOVE = 0.45
OFTEN_WET_DAYS = 2.0


@dataclass(frozen=True)
class Moving:
    """What changes from day to day, but for the fruiting memory."""

    stores: soil_water.Stores
    snow_mm: Floats
    intercepted_mm: Floats
    days_since_wetting: Floats
    wetting_interval_days: Floats
    repellency: Floats
    cover: turf_cover.Cover

    @staticmethod
    def of(state: SoilState) -> Moving:
        """The moving part of a stored state."""
        return Moving(
            stores=soil_water.Stores(state.exposed_depletion_mm, state.surface_depletion_mm, state.lower_depletion_mm),
            snow_mm=state.snow_mm,
            intercepted_mm=state.intercepted_mm,
            days_since_wetting=state.days_since_wetting,
            wetting_interval_days=state.wetting_interval_days,
            repellency=state.repellency_log10_s,
            cover=turf_cover.Cover(state.green_cover, state.live_crowns, state.drought_days),
        )

    def state(self, remembered: FruitingMemory) -> SoilState:
        """The whole state, to be stored or gone on from."""
        return SoilState(
            exposed_depletion_mm=self.stores.exposed_mm,
            surface_depletion_mm=self.stores.surface_mm,
            lower_depletion_mm=self.stores.lower_mm,
            snow_mm=self.snow_mm,
            intercepted_mm=self.intercepted_mm,
            days_since_wetting=self.days_since_wetting,
            wetting_interval_days=self.wetting_interval_days,
            repellency_log10_s=self.repellency,
            green_cover=self.cover.green,
            live_crowns=self.cover.crowns,
            drought_days=self.cover.drought_days,
            **{f.name: getattr(remembered, f.name) for f in fields(FruitingMemory)},
        )

    def where(self, moves: Flags, held: Moving) -> Moving:
        """This state for the columns that move, the held one for the others."""

        def choose(new: Floats, old: Floats) -> Floats:
            return np.where(moves, new, old)

        return Moving(
            soil_water.Stores(*(choose(getattr(self.stores, f.name), getattr(held.stores, f.name)) for f in fields(soil_water.Stores))),
            choose(self.snow_mm, held.snow_mm),
            choose(self.intercepted_mm, held.intercepted_mm),
            choose(self.days_since_wetting, held.days_since_wetting),
            choose(self.wetting_interval_days, held.wetting_interval_days),
            choose(self.repellency, held.repellency),
            turf_cover.Cover(*(choose(getattr(self.cover, f.name), getattr(held.cover, f.name)) for f in fields(turf_cover.Cover))),
        )


class DayStep:
    """Everything that does not change from day to day, worked out once, and the day itself."""

    def __init__(self, columns: ColumnParameters, model: ModelParameters, order: soil_water.DayOrder) -> None:
        columns = columns.with_scalars()
        self.columns = columns
        self.model = model
        self.order = order
        self.soil = soil_water.RootZoneColumns(**{f.name: getattr(columns, f.name) for f in fields(soil_water.RootZoneColumns)})
        self.rates = turf_cover.CoverRates(**{f.name: getattr(model, f.name) for f in fields(turf_cover.CoverRates)})
        self.snow = SnowRates(model.snow_below_c, model.rain_above_c, model.melt_mm_per_c_day)
        self.exposed_fraction = soil_water.exposed_and_wetted_fraction(columns.ground_cover)
        self.height_weight = soil_water.height_weight(columns.turf_height_m)
        self.per_surface_mm = 1.0 / (1000.0 * self.soil.surface_depth_m)
        self.winter_dormant = bool(np.any(columns.dormant_below_c > NEVER_DORMANT_C))
        self.catches = bool(np.any(columns.interception_mm > 0.0))

    def run(self, now: Moving, forcing: Forcing, day: int) -> tuple[Moving, dict[str, Floats]]:
        """The state after the day, and its amounts; NaN where the day is not known."""
        columns, model = self.columns, self.model
        warmth, et0 = forcing.air_temperature_mean_c[day], forcing.et0_mm[day]
        frozen = forcing.soil_temperature_c[day] < 0.0
        any_frozen = bool(frozen.any())

        snow, rain = self._snow(now.snow_mm, forcing.rain_mm[day], warmth)
        arriving = rain + forcing.irrigation_mm[day]
        kcb, largest = self._coefficients(now, forcing, day)
        if self.catches:
            potential = largest * et0
            held, intercepted, water_in = intercepted_day(
                now.intercepted_mm, arriving, capacity_mm=columns.interception_mm, potential_mm=potential
            )
            # What evaporates from wet leaves is not asked of the soil a second time.
            asked = et0 * (1.0 - intercepted / np.maximum(potential, 1e-9))
        else:
            held, intercepted, water_in, asked = now.intercepted_mm, now.intercepted_mm, arriving, et0

        runoff: Floats | float = 0.0
        if forcing.rain_over_capacity_mm is not None:
            # Dry soil first takes what its top layer lacks, however fast it falls (assumption).
            room = np.maximum(now.stores.surface_mm, 0.0)
            runoff = np.minimum(np.maximum(forcing.rain_over_capacity_mm[day] - room, 0.0), water_in)
            water_in = water_in - runoff
        if any_frozen:
            runoff = np.where(frozen, runoff + water_in, runoff)
            water_in = np.where(frozen, 0.0, water_in)
            asked = np.where(frozen, 0.0, asked)
        kept_out_share = repellency.share_kept_out(now.repellency, share_at_extreme=1.0)
        kept_out = water_in * (model.repellency_share * kept_out_share)
        fingers = model.lost_to_fingers * kept_out
        bypass = model.lost_to_bypass * kept_out
        into_surface = water_in - kept_out

        demand = soil_water.Demand(
            et0_mm=asked,
            basal_coefficient=kcb,
            largest_coefficient=largest,
            exposed_fraction=self.exposed_fraction,
            depletion_fraction=columns.depletion_fraction,
        )
        stores, flux = soil_water.water_day(
            now.stores,
            self.soil,
            demand,
            into_surface_mm=into_surface,
            into_lower_mm=fingers,
            order=self.order,
            exposed_rooted=model.exposed_rooted,
            wettable=1.0 - kept_out_share,
        )
        relaxed, cover = self._repellency(now, stores), self._cover(now, flux, warmth, et0)
        since, interval = self._wettings(now, arriving)
        moved = Moving(stores, snow, held, since, interval, relaxed, cover)
        if any_frozen:
            # Frozen soil still drains what stands above field capacity; repellency and turf wait.
            waiting = Moving(stores, snow, held, since, interval, now.repellency, now.cover)
            moved = moved.where(~frozen, waiting)
        runoff = model.lost_to_runoff * kept_out + flux.saturation_runoff_mm + runoff
        return moved, {
            "water_in_mm": arriving,
            "stress_coefficient": flux.stress_coefficient,
            "interception_mm": intercepted,
            "infiltration_mm": into_surface + fingers,
            "water_lost_mm": runoff + bypass,
            "runoff_mm": runoff,
            "bypass_mm": bypass,
            "drainage_mm": flux.drainage_mm,
            "evaporation_mm": flux.evaporation_mm,
            "transpiration_mm": flux.transpiration_mm,
        }

    def described(self, name: str, now: Moving) -> Floats:
        """One of the states, in the words of the series."""
        if name == "depletion_mm":
            return now.stores.root_zone_mm
        if name == "available_water_fraction":
            return between(1.0 - now.stores.root_zone_mm / self.soil.total_available_mm, 0.0, 1.0)
        if name == "surface_water_m3m3":
            return self.surface_water(now.stores)
        if name == "surface_available_fraction":
            return self.surface_available_fraction(now)
        return {
            "repellency_log10_s": now.repellency,
            "green_cover": now.cover.green,
            "live_crowns": now.cover.crowns,
            "drought_days": now.cover.drought_days,
            "snow_mm": now.snow_mm,
            "intercepted_mm": now.intercepted_mm,
        }[name]

    def surface_water(self, stores: soil_water.Stores) -> Floats:
        """Water content of the surface layer [m³/m³]."""
        return self.soil.field_capacity_m3m3 - stores.surface_mm * self.per_surface_mm

    def surface_available_fraction(self, now: Moving) -> Floats:
        """Share of what roots can take from the surface layer that is there [0-1]."""
        return between(1.0 - now.stores.surface_mm / self.soil.surface_available_mm, 0.0, 1.0)

    def _snow(self, pack: Floats, rain: Floats, warmth: Floats) -> tuple[Floats, Floats]:
        # Most days of most places have neither snow nor frost.
        if not pack.any() and not (warmth < self.snow.rain_above_c).any():
            return pack, rain
        return snow_day(pack, rain, warmth, self.snow)

    def _coefficients(self, now: Moving, forcing: Forcing, day: int) -> tuple[Floats, Floats]:
        """Kcb of the turf as green as it is, moved to the climate, and Kc,max, lower where the surface is wetted every day or two."""
        columns, model = self.columns, self.model
        term = self.height_weight * soil_water.climate_departure(forcing.wind_speed_2m_ms[day], forcing.relative_humidity_min_percent[day])
        green = now.cover.green
        if model.cold_slows_use:
            # Cold roots take up little, and what does not grow transpires little: the soil's warmth stands for both (assumption).
            green = green * unit_ramp(forcing.soil_temperature_c[day], columns.growth_starts_c, columns.growth_full_c)
        kcb = turf_cover.basal_coefficient_of_cover(columns.basal_crop_coefficient, green, smallest=model.minimum_basal_coefficient)
        if model.climate_adjusted:
            kcb = kcb + term * (kcb > ADJUSTED_ABOVE)
        often = np.maximum(now.wetting_interval_days, now.days_since_wetting) <= OFTEN_WET_DAYS
        base = model.kc_max_base - (model.kc_max_base - model.kc_max_base_often_wet) * often
        return kcb, np.maximum(base + term, kcb + 0.05)

    def _wettings(self, now: Moving, arriving: Floats) -> tuple[Floats, Floats]:
        wetted = arriving >= self.model.wetting_mm
        since = now.days_since_wetting + 1.0
        return since * ~wetted, np.where(wetted, since, now.wetting_interval_days)

    def _repellency(self, now: Moving, stores: soil_water.Stores) -> Floats:
        equilibrium = repellency.equilibrium_repellency(
            self.surface_water(stores),
            potential_log10_s=self.columns.potential_repellency_log10_s,
            critical_water_m3m3=self.columns.critical_water_m3m3,
            steepness=self.model.repellency_steepness,
        )
        return repellency.relaxed_repellency(
            now.repellency, equilibrium, drying_days=self.model.drying_days, wetting_days=self.model.wetting_days
        )

    def _cover(self, now: Moving, flux: soil_water.WaterFluxes, warmth: Floats, et0: Floats) -> turf_cover.Cover:
        columns = self.columns
        return turf_cover.cover_day(
            now.cover,
            self.rates,
            stress_coefficient=flux.stress_coefficient,
            potential_transpiration_mm=columns.basal_crop_coefficient * et0,
            growth=turf_cover.growth_response(
                warmth,
                starts_c=columns.growth_starts_c,
                full_c=columns.growth_full_c,
                falls_c=columns.growth_falls_c,
                stops_c=columns.growth_stops_c,
            ),
            endurance_days=columns.crown_endurance_days,
            cold=turf_cover.cold_dormancy(warmth, dormant_below_c=columns.dormant_below_c) if self.winter_dormant else 0.0,
        )
