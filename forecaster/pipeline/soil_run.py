"""The simulation of one ground: go on from a stored state where there is one, else from an assumed one.

The window that rules and pages look at begins ``history_days`` back. What lies before it is frozen into a stored state, which the next
cycles go on from; what lies inside is simulated anew each time, as late observations and corrections come in.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, time, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy.orm import Session

from forecaster.errors import StorageError
from forecaster.ground.ground import Ground
from forecaster.physics.soil_heat import SoilHeat
from forecaster.pipeline.joining import GatheredWeather
from forecaster.pipeline.start import Start
from forecaster.quantities import TurfState
from forecaster.risk.judgement import SurfaceRun
from forecaster.soil.columns import ModelParameters
from forecaster.soil.simulate import Simulation, simulate
from forecaster.soil.state import SoilState, first_guess
from forecaster.soil.surfaces import (
    column_of,
    irrigation_given,
    rain_over_capacity,
    state_fingerprint,
    surface_columns,
    surface_forcing,
)
from forecaster.storage.arrays import unpack_arrays
from forecaster.storage.soil import drop_states_before, latest_state_before, save_state
from forecaster.weather.daily import DailyWeather, Place, daily_weather
from forecaster.weather.hourly import checked_frame

log = logging.getLogger(__name__)

KEEP_STATES_DAYS = 14
_FROM = "simulated_from_ordinal"
_HEAT = "heat_"


@dataclass(frozen=True)
class GroundRun:
    """Everything simulated for one ground: the window's weather and soil, and the state to keep, at the end of ``kept_day``.

    ``before_today`` and ``heat_before_today``: at the end of the day before today, where the coming days of members begin; None where
    nobody asked for it.
    """

    daily: DailyWeather
    simulation: Simulation
    simulated_from: date
    kept_day: date
    kept: SoilState
    kept_heat: SoilHeat | None
    before_today: SoilState | None = None
    heat_before_today: SoilHeat | None = None


def window_start(today: date, *, history_days: int) -> date:
    """First day of the window that is simulated anew in every cycle; the service's past days include today."""
    return today - timedelta(days=history_days - 1)


def stored_start(session: Session, ground: Ground, model: ModelParameters, *, before: date) -> Start | None:
    """The newest stored state from before a day that was made with these settings; None where there is none.

    One that is damaged, or in a shape that is not today's, counts as none: the log names it, and an older one serves where there is one.
    """
    fingerprint = state_fingerprint(ground.surfaces, model)
    day = before
    while (found := latest_state_before(session, ground.id, day, fingerprint=fingerprint)) is not None:
        day, blob = found
        try:
            return start_of(day, unpack_arrays(blob), first_guess(surface_columns(ground.surfaces), model))
        except StorageError as error:
            log.error("the soil state of %s at the end of %s is left out: %s", ground.id, day, error.message)
    return None


def start_arrays(start: Start) -> dict[str, npt.NDArray[Any]]:
    """A start as named arrays, for ``start_of`` to make it from again; its day is told apart."""
    arrays: dict[str, npt.NDArray[Any]] = {field.name: getattr(start.state, field.name) for field in fields(SoilState)}
    if start.heat is not None:
        arrays |= {_HEAT + field.name: np.asarray(getattr(start.heat, field.name)) for field in fields(SoilHeat)}
    arrays[_FROM] = np.array([start.simulated_from.toordinal()])
    return arrays


def start_of(day: date, arrays: Mapping[str, npt.NDArray[Any]], guess: SoilState) -> Start:
    """Raises: StorageError where an array is not there or is not of the shape that a state of these columns has now."""
    shapes = {field.name: getattr(guess, field.name).shape for field in fields(SoilState)} | {_FROM: (1,)}
    heat = {field.name: arrays[_HEAT + field.name] for field in fields(SoilHeat) if _HEAT + field.name in arrays}
    wrong = [name for name, shape in shapes.items() if name not in arrays or arrays[name].shape != shape]
    wrong += [_HEAT + name for name, array in heat.items() if array.shape not in ((), guess.live_crowns.shape)]
    ordinal = 0 if _FROM in wrong else int(arrays[_FROM][0])
    if not wrong and not 0 < ordinal <= day.toordinal() + 1:
        wrong.append(_FROM)
    if wrong:
        raise StorageError(f"not in the shape of this version of the program: {', '.join(wrong)}")
    state = SoilState(**{field.name: arrays[field.name] for field in fields(SoilState)})
    return Start(day, state, SoilHeat(**heat) if len(heat) == len(fields(SoilHeat)) else None, date.fromordinal(ordinal))


def keep_state(session: Session, ground: Ground, model: ModelParameters, run: GroundRun) -> None:
    """Store the state before the window, for the next cycles to go on from, and forget those that are too old to be needed."""
    arrays = start_arrays(Start(run.kept_day, run.kept, run.kept_heat, run.simulated_from))
    save_state(session, ground.id, run.kept_day, fingerprint=state_fingerprint(ground.surfaces, model), arrays=arrays)
    drop_states_before(session, ground.id, run.kept_day - timedelta(days=KEEP_STATES_DAYS))


def weather_needed_since(ground: Ground, start: Start | None, *, window: date) -> datetime:
    """From when hourly weather is needed: the day after the stored state, or all there is (up to a few years) where there is none."""
    first = start.day + timedelta(days=1) if start is not None else window - timedelta(days=3 * 366)
    return datetime.combine(first, time.min, tzinfo=ground.time_zone)


def run_soil(
    ground: Ground, weather: GatheredWeather, model: ModelParameters, *, start: Start | None, window: date, today: date | None = None
) -> GroundRun:
    """Simulate all surfaces of a ground through the joined weather; ``today`` None: no members will go on from the day before it."""
    columns = surface_columns(ground.surfaces)
    daily = _days(ground, weather, start)
    if start is None or (daily.days and daily.days[0] != start.day + timedelta(days=1)):
        # Nothing to go on from, or a gap behind it that no weather bridges.
        first = daily.days[0] if daily.days else window
        start = Start(first - timedelta(days=1), first_guess(columns, model), None, first)
    cut, ahead = (sum(day < (first or date.max) for day in daily.days) for first in (window, today))
    over = None
    if weather.frame is not None and daily.days:
        # What the checks take out of the day's rain must not run off either.
        checked, _ = checked_frame(weather.frame, _place(ground))
        over = rain_over_capacity(ground.surfaces, checked, ground.time_zone, daily.days)
    early, recent, coming = (
        surface_forcing(ground.surfaces, daily, part, over_capacity_mm=over, irrigation_logs=weather.irrigation)
        for part in (slice(0, cut), slice(cut, ahead), slice(ahead, None))
    )
    before = simulate(columns, start.state, early, model)
    past = simulate(columns, before.final, recent, model)
    after = simulate(columns, past.final, coming, model)
    return GroundRun(
        daily=_part(daily, cut),
        simulation=one_after_the_other(past, after),
        simulated_from=start.simulated_from,
        kept_day=daily.days[cut - 1] if cut else start.day,
        kept=before.final,
        kept_heat=daily.soil_heat[cut - 1] if cut else start.heat,
        before_today=past.final,
        heat_before_today=daily.soil_heat[ahead - 1] if ahead else start.heat,
    )


def one_after_the_other(first: Simulation, second: Simulation) -> Simulation:
    """Two runs of the same columns, the second going on from the first, as one."""
    names = [field.name for field in fields(Simulation) if field.name != "final"]
    return Simulation(**{name: np.concatenate((getattr(first, name), getattr(second, name))) for name in names}, final=second.final)


def surface_runs(ground: Ground, weather: GatheredWeather, run: GroundRun) -> tuple[SurfaceRun, ...]:
    """What the rules look at, one per surface."""
    return tuple(
        SurfaceRun(
            ground=ground,
            surface=surface,
            daily=run.daily,
            simulation=run.simulation,
            sound=column_of(number, TurfState.SOUND),
            band=column_of(number, TurfState.BAND),
            irrigation_mm=irrigation_given(surface.irrigation, run.daily.days, weather.irrigation.get(surface.id)),
            weather=weather.status,
            simulated_from=run.simulated_from,
        )
        for number, surface in enumerate(ground.surfaces)
    )


def _days(ground: Ground, weather: GatheredWeather, start: Start | None) -> DailyWeather:
    if weather.frame is None or len(weather.frame.values) == 0:
        return _no_days()
    return daily_weather(
        weather.frame,
        place=_place(ground),
        time_zone=ground.time_zone,
        previous_heat=None if start is None else start.heat,
    )


def _place(ground: Ground) -> Place:
    return Place(ground.latitude, ground.longitude, ground.elevation_m)


def _no_days() -> DailyWeather:
    none = np.zeros(0)
    others = ("days", "complete", "origin_code", "estimated", "soil_heat")
    numbers: dict[str, Any] = {f.name: none for f in fields(DailyWeather) if f.name not in others}
    return DailyWeather(days=(), complete=none.astype(np.bool_), origin_code=none.astype(np.int8), estimated=(), **numbers)


def _part(daily: DailyWeather, first: int) -> DailyWeather:
    """From a day on."""
    return replace(daily, **{field.name: getattr(daily, field.name)[first:] for field in fields(DailyWeather)})
