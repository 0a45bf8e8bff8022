"""The days of ``simulate`` compiled by numba (extra ``fast``): the same source, one column at a time, many columns at once.

There are no equations here. The kernels and ``soil.day`` take single numbers as well as arrays, so they are compiled as they stand; what is
here is plumbing: which number of which array goes in, and where what comes out is put. Columns run through all days in tiles that stay in
the nearest cache. exp is left to numpy, whose last bit differs from the C library's: so both ways give the same bits, and a run may be
gone on with in the other way. What is compiled is stored beside this file, or in the user's cache folder.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from functools import lru_cache
from types import FunctionType
from typing import Any

import numba
import numpy as np
import numpy.typing as npt
from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.extending import overload

from forecaster.physics import fruiting, interception, limits, repellency, snow, soil_water, turf_cover
from forecaster.soil import day as daily
from forecaster.soil import one_column
from forecaster.soil.columns import ColumnParameters, ModelParameters
from forecaster.soil.day_inputs import Drivers, columns_of, drivers_of, fruiting_rates, held_in_run, rates_of
from forecaster.soil.series import SERIES
from forecaster.soil.state import Forcing, SoilState

Floats = npt.NDArray[np.float64]

# What a day touches of so many columns stays in the second cache, and their rows of weather are long enough to be fetched ahead. Not a
# power of two: rows a whole page apart fall on the same lines of the cache.
TILE_COLUMNS = 2520

# Where the functions come from that the loop below reaches.
SOURCES = (limits, snow, interception, repellency, soil_water, turf_cover, fruiting, daily, one_column)


class _DistinctArrays(CompilerBase):
    """The usual pipeline, told that no two arrays of the arguments overlap: without it a run takes twice as long."""

    def define_pipelines(self) -> list[Any]:
        self.state.flags.noalias = True
        return [DefaultPassBuilder.define_nopython_pipeline(self.state)]


OPTIONS = {"error_model": "numpy", "forceinline": True}


def _positional(function: Callable[..., Any]) -> FunctionType:
    """The same code with its keyword-only parameters made ordinary ones: numba knows no other, and takes them by name all the same."""
    assert isinstance(function, FunctionType)
    code = function.__code__
    made = code.replace(co_argcount=code.co_argcount + code.co_kwonlyargcount, co_kwonlyargcount=0)
    defaults = (*(function.__defaults__ or ()), *(function.__kwdefaults__ or {}).values())
    return FunctionType(made, function.__globals__, function.__name__, defaults or None, function.__closure__)


def _teach(function: Callable[..., Any], implementation: Callable[..., Any]) -> None:
    @overload(function, jit_options=OPTIONS, strict=False)
    def _implementation(*args: Any, **kwargs: Any) -> Callable[..., Any]:
        return implementation


def _chosen(condition: Any, chosen: Any, otherwise: Any) -> Any:
    return chosen if condition else otherwise


def _larger(one: Any, other: Any) -> Any:
    return one if one > other else other


def _smaller(one: Any, other: Any) -> Any:
    return one if one < other else other


# One instruction each, where keeping NaN as numpy does would take four. So NaN may go in here and not come out: it does where the day is
# not known, and nothing that comes out of such a day is kept.
OWN_FORMS: dict[Callable[..., Any], Callable[..., Any]] = {limits.choose: _chosen, limits.larger: _larger, limits.smaller: _smaller}


def _kernels() -> list[FunctionType]:
    return [
        found
        for module in SOURCES
        for found in vars(module).values()
        if isinstance(found, FunctionType) and found.__module__ == module.__name__ and found not in OWN_FORMS
    ]


def _fingerprint(functions: Sequence[FunctionType]) -> int:
    """A number that changes with the code of the functions, and with the plain numbers of their modules that it names."""
    digest = hashlib.sha256()
    for function in functions:
        code = function.__code__
        numbers = {name: function.__globals__.get(name) for name in code.co_names}
        told = [constant for constant in code.co_consts if isinstance(constant, int | float | str | tuple | None)]
        told += [(name, number) for name, number in numbers.items() if isinstance(number, int | float)]
        digest.update(code.co_code + repr((function.__name__, code.co_names, told, function.__kwdefaults__)).encode())
    return int(digest.hexdigest()[:12], 16)


@lru_cache(maxsize=1)
def _compiled_days() -> Callable[..., None]:
    kernels = _kernels()
    for kernel in kernels:
        _teach(kernel, _positional(kernel))
    for function, form in OWN_FORMS.items():
        _teach(function, form)
    # numba looks only at this file to see whether what it has stored is still good: what the kernels are is told to it by this number.
    source = _fingerprint(kernels)

    def days(
        now: Any,
        rings: Any,
        column: Any,
        weather: Any,
        today: Any,
        first: Any,
        rates: Any,
        holds: Any,
        order: Any,
        lags: Any,
        weights: Any,
        share: Any,
        factor: Any,
        amounts: Any,
        exponential: Any,
        driven: Any,
        hit: Any,
        brought: Any,
        left: Any,
        place: Any,
        asked: Any,
        kept: Any,
    ) -> None:
        n = exponential.shape[0]
        unknown_past = lying = True
        for day in range(weather.rain_mm.shape[0]):
            held = one_column.fetch(today, weather, day, first, holds, rates, lying)
            one_column.water(now, amounts, exponential, column, today, rates, held, order, asked)
            lying = one_column.lies(now, held)
            with numba.objmode():
                np.exp(exponential, exponential)
            if unknown_past:
                unknown_past = np.isnan(rings.water).any() or np.isnan(rings.warmth).any()
            if day % fruiting.RISE_WINDOW_DAYS == 0:
                for i in range(n):
                    rings.wetness_of_round[i] = 0.0
                    rings.wetness_until_round[fruiting.RISE_WINDOW_DAYS - 1, i] = rings.wetness[fruiting.RISE_WINDOW_DAYS - 1, i]
                for row in range(fruiting.RISE_WINDOW_DAYS - 2, -1, -1):
                    for i in range(n):
                        rings.wetness_until_round[row, i] = limits.larger(rings.wetness[row, i], rings.wetness_until_round[row + 1, i])
            one_column.rest(now, amounts, exponential, column, today, day, rates, held, rings, factor, unknown_past, driven, left)
            one_column.remember(rings, day, driven, left, lags, weights, share, hit, brought)
            one_column.tell(now, amounts, left, column, today, day, first, place, kept, held.unknown)
        source  # noqa: B018

    options = {"error_model": "numpy", "pipeline_class": _DistinctArrays}
    try:
        made: Callable[..., None] = numba.njit(cache=True, **options)(days)
    except RuntimeError:  # no folder to keep it in: compiled anew by every process
        made = numba.njit(**options)(days)
    return made


def run_compiled(
    columns: ColumnParameters,
    state: SoilState,
    forcing: Forcing,
    model: ModelParameters,
    order: soil_water.DayOrder,
    names: Sequence[str],
    kept: Floats,
) -> SoilState:
    """Run all columns through all days and fill ``kept``, shape (series, day, column), with the named series; returns the final state."""
    days = _compiled_days()
    rates, fruits = rates_of(model), fruiting_rates(model)
    lags, weights = fruiting.delay_lags(fruits)
    holds = held_in_run(columns, model, rain_over_capacity=forcing.rain_over_capacity_mm is not None)
    given = drivers_of(forcing)
    weather = Drivers._make(np.ascontiguousarray(series) for series in given)
    asked = daily.Amounts._make(name in names for name in daily.Amounts._fields)
    place = np.array([names.index(name) if name in names else -1 for name in SERIES])
    finals = []
    for first in range(0, columns.count, TILE_COLUMNS):
        tile = slice(first, min(first + TILE_COLUMNS, columns.count))
        n = tile.stop - tile.start
        now = _copied(daily.moving_of(state.part(tile)))
        rings = _copied(fruiting.fruiting_rings(state.part(tile).fruiting()))
        column = _copied(columns_of(columns.part(tile)))
        amounts = daily.Amounts(*(np.empty(n) for _ in daily.Amounts._fields))
        left = fruiting.FruitingDay(np.empty(n), np.empty(n), np.empty(n, dtype=np.bool_), np.empty(n), np.empty(n), np.empty(n))
        today = Drivers._make(np.empty(n, dtype=series.dtype) for series in weather)
        driven = fruiting.FruitingDrivers(*(np.empty(n) for _ in fruiting.FruitingDrivers._fields))
        days(now, rings, column, weather, today, first, rates, holds, order, lags, weights, fruits.unprimed_share, fruits.cold_night_factor,
             amounts, np.empty(n), driven, np.empty(n, dtype=np.uint32), np.empty(n), left, place, asked, kept)  # fmt: skip
        finals.append(daily.state_of(now, fruiting.remembered(rings, forcing.rain_mm.shape[0])))
    return SoilState.joined(finals)


def _copied(value: Any) -> Any:
    """The same with every array its own and in one piece; named tuples keep their kind."""
    if isinstance(value, tuple):
        return type(value)(*(_copied(part) for part in value))
    return np.array(value) if isinstance(value, np.ndarray) else value
