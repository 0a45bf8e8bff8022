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
from importlib.util import find_spec
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from forecaster.physics.fruiting import FruitingDays
from forecaster.physics.soil_water import DayOrder
from forecaster.soil import day as daily
from forecaster.soil.columns import ColumnParameters, ModelParameters
from forecaster.soil.day_inputs import columns_of, drivers_of, fruiting_rates, held_in_run, rates_of
from forecaster.soil.series import SERIES, STATES, described
from forecaster.soil.state import Forcing, SoilState

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# Small enough for the processor's cache, large enough that numpy's overhead per call does not count.
BLOCK_COLUMNS = 16384
# Column-days from which on the compiled loop is worth loading.
COMPILED_FROM_COLUMN_DAYS = 4_000_000


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
    compiled: bool | None = None,
) -> tuple[Mapping[str, Floats], SoilState]:
    """The same, keeping only the named series (fields of ``Simulation``): for many columns memory is what limits.

    ``compiled``: run the same source compiled (extra ``fast``); None: where it is installed and the run is long enough to pay for it. The
    numbers are the same to the last bit either way. Raises ValueError for an unknown name, and where the shapes do not fit.
    """
    days, count = forcing.rain_mm.shape
    if count != columns.count or state.green_cover.shape != (count,):
        raise ValueError(f"{columns.count} columns, a state of {state.green_cover.shape[0]} and a forcing of {count} do not fit together")
    if unknown := set(keep) - set(SERIES):
        raise ValueError(f"no such series: {', '.join(sorted(unknown))}")
    names = [name for name in SERIES if name in keep]
    room = np.empty((len(names), days, count))
    kept = dict(zip(names, room, strict=True))
    if compiled is None:
        compiled = days * count >= COMPILED_FROM_COLUMN_DAYS and find_spec("numba") is not None
    if compiled:
        from forecaster.soil.compiled import run_compiled

        return kept, run_compiled(columns, state, forcing, model, order, names, room)

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
    column, rates = columns_of(columns.with_scalars()), rates_of(model)
    fruits = FruitingDays(state.fruiting(), fruiting_rates(model))
    in_run = held_in_run(columns, model, rain_over_capacity=forcing.rain_over_capacity_mm is not None)
    weather = drivers_of(forcing)
    # Most days of most places have neither snow nor frost, and are known.
    frost: Flags = np.asarray(np.any(forcing.soil_temperature_c < 0.0, axis=1))
    snowfall: Flags = np.asarray(np.any(forcing.air_temperature_mean_c < model.rain_above_c, axis=1))
    known_everywhere: Flags = np.asarray(forcing.known.all(axis=1))
    now = daily.moving_of(state)
    for day in range(forcing.rain_mm.shape[0]):
        today = weather.on(day)
        all_known = bool(known_everywhere[day])
        holds = in_run._replace(snow=bool(snowfall[day] or now.snow_mm.any()), frost=bool(frost[day]), unknown=not all_known)
        now, amounts = daily.moved_by_day(now, today, column, rates, holds, order)
        exponential = np.exp(daily.wetness_exponent(now, column, rates))
        now = now._replace(repellency_log10_s=daily.relaxed(now.repellency_log10_s, exponential, today, column, rates, holds))
        hazard = fruits.advance(daily.fruiting_drivers(now, amounts, today, column), None if all_known else today.known)
        for name, series in into.items():
            if name in STATES:
                series[day] = described(name, now, column)
            else:
                amount = hazard if name == "flush_hazard_per_day" else getattr(amounts, name)
                series[day] = amount if all_known else np.where(today.known, amount, np.nan)
    return daily.state_of(now, fruits.memory())
