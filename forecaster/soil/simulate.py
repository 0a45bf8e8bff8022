"""Weather × columns → soil state, day by day.

A day runs in a fixed order: repellency at the start of the day splits the water; what enters the soil drains; evaporation and transpiration
take theirs; then repellency, turf cover and the fruiting memory move on. Frozen soil (below 0 °C at 5 cm) holds evaporation,
transpiration, infiltration, repellency and cover still, and its water runs off (assumption). A day whose weather is not known holds
everything.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from forecaster.physics import fruiting, repellency, soil_water, turf_cover
from forecaster.soil.columns import ColumnParameters, ModelParameters

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Forcing:
    """What drives the columns; every array has shape (day, column). NaN only on days that are not ``known``."""

    rain_mm: Floats
    irrigation_mm: Floats
    et0_mm: Floats
    air_temperature_mean_c: Floats
    air_temperature_min_c: Floats
    soil_temperature_c: Floats
    wind_speed_2m_ms: Floats
    relative_humidity_min_percent: Floats
    known: npt.NDArray[np.bool_]

    def __post_init__(self) -> None:
        shapes = {getattr(self, f.name).shape for f in fields(self)}
        if len(shapes) != 1 or len(next(iter(shapes))) != 2:
            raise ValueError(f"forcing needs one shape (day, column), got {sorted(map(str, shapes))}")
        for f in fields(self):
            if f.name != "known" and np.isnan(getattr(self, f.name)[self.known]).any():
                raise ValueError(f"{f.name} is missing on a day that is said to be known")


@dataclass(frozen=True)
class SoilState:
    """State of every column at the end of a local day, with the memory that fruiting needs.

    Shapes: (column,), and (look-back day, column) for the ``recent_*`` arrays, oldest first; NaN there marks days before the start.
    """

    exposed_depletion_mm: Floats
    surface_depletion_mm: Floats
    lower_depletion_mm: Floats
    repellency_log10_s: Floats
    green_cover: Floats
    live_crowns: Floats
    drought_days: Floats
    recent_water_in_mm: Floats
    recent_available_fraction: Floats
    recent_stress_coefficient: Floats
    recent_soil_temperature_c: Floats
    recent_air_temperature_min_c: Floats


@dataclass(frozen=True)
class Simulation:
    """Series of shape (day, column): states at the end of the day, amounts over the day.

    On a day that is not known the states repeat the day before and the amounts, coefficients and hazard are NaN. ``infiltration_mm``: into
    the root zone, fingers included. ``water_lost_mm``: run-off and bypass together.
    """

    depletion_mm: Floats
    available_water_fraction: Floats
    surface_water_m3m3: Floats
    surface_available_fraction: Floats
    stress_coefficient: Floats
    repellency_log10_s: Floats
    green_cover: Floats
    live_crowns: Floats
    drought_days: Floats
    infiltration_mm: Floats
    water_lost_mm: Floats
    runoff_mm: Floats
    bypass_mm: Floats
    drainage_mm: Floats
    evaporation_mm: Floats
    transpiration_mm: Floats
    flush_hazard_per_day: Floats
    final: SoilState


_SERIES = tuple(f.name for f in fields(Simulation) if f.name not in ("final", "flush_hazard_per_day"))
_STATES = frozenset(
    (
        "depletion_mm",
        "available_water_fraction",
        "surface_water_m3m3",
        "surface_available_fraction",
        "repellency_log10_s",
        "green_cover",
        "live_crowns",
        "drought_days",
    )
)


def first_guess(columns: ColumnParameters, model: ModelParameters) -> SoilState:
    """A state to start from where nothing is known: soil at field capacity, repellency in equilibrium with it, turf whole.

    Status: assumption; the state forgets it after some weeks of weather, except for crowns lost before.
    """
    none = np.zeros(columns.count)
    whole = np.ones(columns.count)
    unknown = np.full((fruiting.LOOK_BACK_DAYS, columns.count), np.nan)
    return SoilState(
        exposed_depletion_mm=none,
        surface_depletion_mm=none,
        lower_depletion_mm=none,
        repellency_log10_s=repellency.equilibrium_repellency(
            columns.field_capacity_m3m3,
            potential_log10_s=columns.potential_repellency_log10_s,
            critical_water_m3m3=columns.critical_water_m3m3,
            steepness=model.repellency_steepness,
        ),
        green_cover=whole,
        live_crowns=whole,
        drought_days=none,
        recent_water_in_mm=unknown,
        recent_available_fraction=unknown,
        recent_stress_coefficient=unknown,
        recent_soil_temperature_c=unknown,
        recent_air_temperature_min_c=unknown,
    )


def simulate(
    columns: ColumnParameters,
    state: SoilState,
    forcing: Forcing,
    model: ModelParameters,
    *,
    order: soil_water.DayOrder = soil_water.DayOrder.WATER_FIRST,
) -> Simulation:
    """Run the columns through the days of the forcing, starting from ``state``.

    Splitting a run in two, the second starting from the first one's ``final``, gives the same numbers as one run. Raises ValueError
    where the shapes do not fit. Sources and status: the kernels of ``forecaster.physics``.
    """
    days, count = forcing.rain_mm.shape
    if count != columns.count or state.green_cover.shape != (count,):
        raise ValueError(f"{columns.count} columns, a state of {state.green_cover.shape[0]} and a forcing of {count} do not fit together")
    step = _DayStep(columns, model, order)
    series = {name: np.empty((days, count)) for name in _SERIES}
    moving = _Moving(
        stores=soil_water.Stores(state.exposed_depletion_mm, state.surface_depletion_mm, state.lower_depletion_mm),
        repellency=state.repellency_log10_s,
        cover=turf_cover.Cover(state.green_cover, state.live_crowns, state.drought_days),
    )
    for day in range(days):
        moved, amounts = step.run(moving, forcing, day)
        known = forcing.known[day]
        moving = moved.where(known, moving)
        amounts |= step.describe(moving)
        for name in _SERIES:
            series[name][day] = amounts[name] if name in _STATES else np.where(known, amounts[name], np.nan)

    drivers = _fruiting_drivers(state, forcing, series)
    hazard = fruiting.flush_hazard(
        drivers,
        fruiting.FruitingRates(
            base_hazard=model.flush_base_hazard,
            unprimed_share=model.flush_unprimed_share,
            delay_mean_days=model.flush_delay_mean_days,
            delay_sd_days=model.flush_delay_sd_days,
            cold_night_factor=model.cold_night_factor,
        ),
    )[fruiting.LOOK_BACK_DAYS :]
    return Simulation(
        **series,
        flush_hazard_per_day=np.where(forcing.known, hazard, np.nan),
        final=SoilState(
            exposed_depletion_mm=moving.stores.exposed_mm,
            surface_depletion_mm=moving.stores.surface_mm,
            lower_depletion_mm=moving.stores.lower_mm,
            repellency_log10_s=moving.repellency,
            green_cover=moving.cover.green,
            live_crowns=moving.cover.crowns,
            drought_days=moving.cover.drought_days,
            recent_water_in_mm=drivers.water_in_mm[-fruiting.LOOK_BACK_DAYS :],
            recent_available_fraction=drivers.available_fraction[-fruiting.LOOK_BACK_DAYS :],
            recent_stress_coefficient=drivers.stress_coefficient[-fruiting.LOOK_BACK_DAYS :],
            recent_soil_temperature_c=drivers.soil_temperature_c[-fruiting.LOOK_BACK_DAYS :],
            recent_air_temperature_min_c=drivers.air_temperature_min_c[-fruiting.LOOK_BACK_DAYS :],
        ),
    )


@dataclass(frozen=True)
class _Moving:
    """What changes from day to day."""

    stores: soil_water.Stores
    repellency: Floats
    cover: turf_cover.Cover

    def where(self, moves: npt.NDArray[np.bool_], held: _Moving) -> _Moving:
        """This state for the columns that move, the held one for the others."""
        if moves.all():
            return self

        def choose(new: Floats, old: Floats) -> Floats:
            return np.where(moves, new, old)

        return _Moving(
            soil_water.Stores(*(choose(getattr(self.stores, f.name), getattr(held.stores, f.name)) for f in fields(soil_water.Stores))),
            choose(self.repellency, held.repellency),
            turf_cover.Cover(*(choose(getattr(self.cover, f.name), getattr(held.cover, f.name)) for f in fields(turf_cover.Cover))),
        )


class _DayStep:
    """One day for all columns; everything that does not change from day to day is worked out once."""

    def __init__(self, columns: ColumnParameters, model: ModelParameters, order: soil_water.DayOrder) -> None:
        self.columns = columns
        self.model = model
        self.order = order
        self.soil = soil_water.RootZoneColumns(**{f.name: getattr(columns, f.name) for f in fields(soil_water.RootZoneColumns)})
        self.rates = turf_cover.CoverRates(**{f.name: getattr(model, f.name) for f in fields(turf_cover.CoverRates)})
        self.exposed_fraction = soil_water.exposed_and_wetted_fraction(columns.ground_cover)

    def run(self, now: _Moving, forcing: Forcing, day: int) -> tuple[_Moving, dict[str, Floats]]:
        """The state after the day, and its amounts; NaN where the day is not known."""
        columns, model = self.columns, self.model
        water_in = forcing.rain_mm[day] + forcing.irrigation_mm[day]
        frozen = forcing.soil_temperature_c[day] < 0.0

        kept_out = water_in * repellency.share_kept_out(now.repellency, share_at_extreme=model.repellency_share)
        into_surface = np.where(frozen, 0.0, water_in - kept_out)
        fingers = np.where(frozen, 0.0, model.lost_to_fingers * kept_out)
        bypass = np.where(frozen, 0.0, model.lost_to_bypass * kept_out)
        runoff = np.where(frozen, water_in, model.lost_to_runoff * kept_out)

        kcb = turf_cover.basal_coefficient_of_cover(
            columns.basal_crop_coefficient, now.cover.green, smallest=model.minimum_basal_coefficient
        )
        demand = soil_water.Demand(
            et0_mm=np.where(frozen, 0.0, forcing.et0_mm[day]),
            basal_coefficient=kcb,
            largest_coefficient=soil_water.largest_crop_coefficient(
                kcb,
                wind_speed_2m_ms=forcing.wind_speed_2m_ms[day],
                relative_humidity_min_percent=forcing.relative_humidity_min_percent[day],
                height_m=columns.turf_height_m,
                base=model.kc_max_base,
            ),
            exposed_fraction=self.exposed_fraction,
            depletion_fraction=columns.depletion_fraction,
        )
        stores, flux = soil_water.water_day(
            now.stores, self.soil, demand, into_surface_mm=into_surface, into_lower_mm=fingers, order=self.order
        )
        equilibrium = repellency.equilibrium_repellency(
            self._surface_water(stores),
            potential_log10_s=columns.potential_repellency_log10_s,
            critical_water_m3m3=columns.critical_water_m3m3,
            steepness=model.repellency_steepness,
        )
        relaxed = repellency.relaxed_repellency(now.repellency, equilibrium, drying_days=model.drying_days, wetting_days=model.wetting_days)
        cover = turf_cover.cover_day(
            now.cover,
            self.rates,
            stress_coefficient=flux.stress_coefficient,
            potential_transpiration_mm=columns.basal_crop_coefficient * forcing.et0_mm[day],
            growth=turf_cover.growth_response(
                forcing.air_temperature_mean_c[day],
                starts_c=columns.growth_starts_c,
                full_c=columns.growth_full_c,
                falls_c=columns.growth_falls_c,
                stops_c=columns.growth_stops_c,
            ),
            endurance_days=columns.crown_endurance_days,
        )
        # Frozen soil still drains what stands above field capacity; repellency and turf wait.
        thawed = ~frozen
        moved = _Moving(stores, relaxed, cover).where(thawed, _Moving(stores, now.repellency, now.cover))
        runoff = runoff + flux.saturation_runoff_mm
        return moved, {
            "stress_coefficient": flux.stress_coefficient,
            "infiltration_mm": into_surface + fingers,
            "water_lost_mm": runoff + bypass,
            "runoff_mm": runoff,
            "bypass_mm": bypass,
            "drainage_mm": flux.drainage_mm,
            "evaporation_mm": flux.evaporation_mm,
            "transpiration_mm": flux.transpiration_mm,
        }

    def describe(self, now: _Moving) -> dict[str, Floats]:
        """The state in the words of the series."""
        stores, soil = now.stores, self.soil
        return {
            "depletion_mm": stores.root_zone_mm,
            "available_water_fraction": np.clip(1.0 - stores.root_zone_mm / soil.total_available_mm, 0.0, 1.0),
            "surface_water_m3m3": self._surface_water(stores),
            "surface_available_fraction": np.clip(1.0 - stores.surface_mm / soil.surface_available_mm, 0.0, 1.0),
            "repellency_log10_s": now.repellency,
            "green_cover": now.cover.green,
            "live_crowns": now.cover.crowns,
            "drought_days": now.cover.drought_days,
        }

    def _surface_water(self, stores: soil_water.Stores) -> Floats:
        return np.asarray(self.soil.field_capacity_m3m3 - stores.surface_mm / (1000.0 * self.soil.surface_depth_m))


def _fruiting_drivers(state: SoilState, forcing: Forcing, series: dict[str, Floats]) -> fruiting.FruitingDrivers:
    """Memory and new days in one array each. An unknown day counts as without water and otherwise like the day before."""

    def joined(recent: Floats, new: Floats) -> Floats:
        rows = np.concatenate([recent, new])
        for row in range(recent.shape[0], rows.shape[0]):
            held = ~forcing.known[row - recent.shape[0]]
            if held.any():
                rows[row, held] = rows[row - 1, held]
        return rows

    water_in = np.where(forcing.known, forcing.rain_mm + forcing.irrigation_mm, 0.0)
    return fruiting.FruitingDrivers(
        water_in_mm=np.concatenate([state.recent_water_in_mm, water_in]),
        available_fraction=joined(state.recent_available_fraction, series["surface_available_fraction"]),
        stress_coefficient=joined(state.recent_stress_coefficient, series["stress_coefficient"]),
        soil_temperature_c=joined(state.recent_soil_temperature_c, forcing.soil_temperature_c),
        air_temperature_min_c=joined(state.recent_air_temperature_min_c, forcing.air_temperature_min_c),
    )
