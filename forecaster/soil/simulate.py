"""Weather × columns → soil state, day by day.

A day runs in a fixed order: snow falls and melts; leaves and thatch catch water; repellency at the start of the day splits the rest; what
enters
the soil drains; evaporation and transpiration take theirs; then repellency, turf cover and the fruiting memory move on. Frozen soil (below
0 °C at 5 cm) holds evaporation, transpiration, infiltration, repellency and cover still, and its water runs off (assumption). A day whose
weather is not known holds everything.

Columns do not know each other, so they are worked off in blocks that stay in the processor's cache.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from forecaster.physics import fruiting
from forecaster.physics.soil_water import DayOrder
from forecaster.soil.columns import ColumnParameters, ModelParameters
from forecaster.soil.day import SERIES, DayStep, Moving
from forecaster.soil.state import Forcing, SoilState

Floats = npt.NDArray[np.float64]

# Small enough for the processor's cache, large enough that numpy's overhead per call does not count.
BLOCK_COLUMNS = 16384


@dataclass(frozen=True)
class Simulation:
    """Series of shape (day, column): states at the end of the day, amounts over the day.

    On a day that is not known the states repeat the day before and the amounts, coefficients and hazard are NaN. ``infiltration_mm``: into
    the root zone, fingers included. ``water_lost_mm``: run-off and bypass together. ``interception_mm``: evaporated from leaf and thatch.
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
    snow_mm: Floats
    intercepted_mm: Floats
    interception_mm: Floats
    infiltration_mm: Floats
    water_lost_mm: Floats
    runoff_mm: Floats
    bypass_mm: Floats
    drainage_mm: Floats
    evaporation_mm: Floats
    transpiration_mm: Floats
    flush_hazard_per_day: Floats
    final: SoilState


def simulate(
    columns: ColumnParameters, state: SoilState, forcing: Forcing, model: ModelParameters, *, order: DayOrder = DayOrder.WATER_FIRST
) -> Simulation:
    """Run the columns through the days of the forcing, starting from ``state``, and keep every series.

    Splitting a run in two, the second starting from the first one's ``final``, gives the same numbers as one run. Raises ValueError
    where the shapes do not fit. Sources and status: the kernels of ``forecaster.physics``.
    """
    series, final = simulate_series(columns, state, forcing, model, keep=SERIES, order=order)
    return Simulation(**series, final=final)


def simulate_series(
    columns: ColumnParameters,
    state: SoilState,
    forcing: Forcing,
    model: ModelParameters,
    *,
    keep: Collection[str],
    order: DayOrder = DayOrder.WATER_FIRST,
) -> tuple[Mapping[str, Floats], SoilState]:
    """The same, keeping only the named series (fields of ``Simulation``): for many columns memory is what limits.

    Raises ValueError for an unknown name,
    and where the shapes do not fit.
    """
    days, count = forcing.rain_mm.shape
    if count != columns.count or state.green_cover.shape != (count,):
        raise ValueError(f"{columns.count} columns, a state of {state.green_cover.shape[0]} and a forcing of {count} do not fit together")
    if unknown := set(keep) - set(SERIES):
        raise ValueError(f"no such series: {', '.join(sorted(unknown))}")
    kept = {name: np.empty((days, count)) for name in SERIES if name in keep}

    def run(block: slice) -> SoilState:
        into = {name: series[:, block] for name, series in kept.items()}
        return _run_block(columns.part(block), state.part(block), forcing.part(block), model, order, into)

    # Blocks of one size, none larger than the cache likes. Several at a time in threads did not pay: numpy's calls are too short for it.
    number = max(-(-count // BLOCK_COLUMNS), 1)
    edges = [count * part // number for part in range(number + 1)]
    finals = [run(slice(first, last)) for first, last in pairwise(edges)]
    return kept, finals[0] if number == 1 else SoilState.joined(finals)


def _run_block(
    columns: ColumnParameters, state: SoilState, forcing: Forcing, model: ModelParameters, order: DayOrder, into: Mapping[str, Floats]
) -> SoilState:
    step = DayStep(columns, model, order)
    fruits = fruiting.FruitingDays(
        state.fruiting(),
        fruiting.FruitingRates(
            base_hazard=model.flush_base_hazard,
            unprimed_share=model.flush_unprimed_share,
            delay_mean_days=model.flush_delay_mean_days,
            delay_sd_days=model.flush_delay_sd_days,
            cold_night_factor=model.cold_night_factor,
        ),
    )
    moving = Moving.of(state)
    for day in range(forcing.rain_mm.shape[0]):
        known = forcing.known[day]
        all_known = bool(known.all())
        moved, amounts = step.run(moving, forcing, day)
        moving = moved if all_known else moved.where(known, moving)
        drivers = {
            "water_in_mm": amounts["water_in_mm"],
            "available_fraction": step.surface_available_fraction(moving),
            "stress_coefficient": amounts["stress_coefficient"],
            "soil_temperature_c": forcing.soil_temperature_c[day],
            "air_temperature_min_c": forcing.air_temperature_min_c[day],
        }
        amounts["flush_hazard_per_day"] = fruits.advance(**(drivers if all_known else fruits.hold(drivers, known)))
        for name, series in into.items():
            if name in amounts:
                series[day] = amounts[name] if all_known else np.where(known, amounts[name], np.nan)
            else:
                series[day] = step.described(name, moving)
    return moving.state(fruits.memory())
