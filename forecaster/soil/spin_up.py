"""How many days a simulation takes to forget what it was started from: two first guesses, as far apart as they can be, in one weather."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from forecaster.physics import soil_heat
from forecaster.soil.columns import ColumnParameters, ModelParameters
from forecaster.soil.day_inputs import columns_of
from forecaster.soil.simulate import simulate
from forecaster.soil.state import Forcing, SoilState, first_guess

Floats = npt.NDArray[np.float64]

# Two runs are the same where they differ by no more than this: less than any rule or chart can show. Status: own choice.
WATER_MM = 1.0  # of the root zone, and of its surface layer
REPELLENCY_LOG10_S = 0.1
COVER = 0.02
SOIL_TEMPERATURE_C = 0.5
# How wrong the temperature of soil and deep store may have been guessed.
HEAT_GUESS_OFF_C = 10.0


@dataclass(frozen=True)
class DaysToForget:
    """Days after which the first guess no longer shows, for good, shape (column,); NaN: still to be seen on the last day.

    ``water``, ``repellency`` and ``green_cover``: between a soaked, wettable, green start and a dry, repellent, brown one with its crowns
    alive. ``crowns``: between whole turf and turf that lost half its crowns, in cover and crowns.
    """

    water: Floats
    repellency: Floats
    green_cover: Floats
    crowns: Floats


def days_until_same(one: Floats, other: Floats, *, within: float) -> Floats:
    """Days until two series of shape (day, column) are the same for good, shape (column,): 0 if they always are, NaN if they never are.

    A day on which either is NaN says nothing.
    """
    apart = np.abs(one - other) > within  # NaN is not above
    last = np.where(apart.any(axis=0), len(apart) - np.argmax(apart[::-1], axis=0), 0)
    return np.where(last == len(apart), np.nan, last)


def soaked_guess(columns: ColumnParameters, model: ModelParameters) -> SoilState:
    """Saturated soil, wettable, under whole green turf; shape (column,)."""
    soil = columns_of(columns).soil
    every = np.zeros(columns.count)
    return replace(
        first_guess(columns, model),
        surface_depletion_mm=every - soil.surface_excess_limit_mm,
        lower_depletion_mm=every - soil.lower_excess_limit_mm,
        repellency_log10_s=every,
    )


def parched_guess(columns: ColumnParameters, model: ModelParameters) -> SoilState:
    """Soil at the wilting point, as repellent as it can get, under brown turf whose crowns live; shape (column,)."""
    soil = columns_of(columns).soil
    every = np.zeros(columns.count)
    return replace(
        first_guess(columns, model),
        exposed_depletion_mm=every + soil.total_evaporable_mm,
        surface_depletion_mm=every + soil.surface_available_mm,
        lower_depletion_mm=every + soil.lower_available_mm,
        repellency_log10_s=columns.potential_repellency_log10_s,
        green_cover=every,
    )


def days_to_forget(columns: ColumnParameters, model: ModelParameters, weather: Forcing) -> DaysToForget:
    """Run the columns through the weather from each guess and see how long the guess shows.

    The memory of fruiting is left out: its windows end by themselves, after 90 days of drought counted and 40 of delay at most.
    """
    soaked = soaked_guess(columns, model)
    wet, dry = (simulate(columns, guess, weather, model) for guess in (soaked, parched_guess(columns, model)))
    half = np.full(columns.count, 0.5)
    thin = simulate(columns, replace(soaked, live_crowns=half, green_cover=half), weather, model)
    to_mm = 1000.0 * columns.surface_depth_m
    water = (
        days_until_same(wet.depletion_mm, dry.depletion_mm, within=WATER_MM),
        days_until_same(wet.surface_water_m3m3 * to_mm, dry.surface_water_m3m3 * to_mm, within=WATER_MM),
    )
    crowns = (
        days_until_same(wet.live_crowns, thin.live_crowns, within=COVER),
        days_until_same(wet.green_cover, thin.green_cover, within=COVER),
    )
    return DaysToForget(
        water=np.maximum(*water),
        repellency=days_until_same(wet.repellency_log10_s, dry.repellency_log10_s, within=REPELLENCY_LOG10_S),
        green_cover=days_until_same(wet.green_cover, dry.green_cover, within=COVER),
        crowns=np.maximum(*crowns),
    )


def days_to_forget_heat(weather: soil_heat.HeatWeather) -> Floats:
    """Days until soil temperature at 5 cm forgets a start 10 °C too warm and dry against one 10 °C too cold and moist; shape as a day's."""
    middle = soil_heat.start_of_soil_heat(weather)
    off = HEAT_GUESS_OFF_C
    warm = soil_heat.SoilHeat(middle.temperature_5cm_c + off, middle.deep_c + off, np.zeros_like(middle.available_water_mm), middle.snow_mm)
    cold = replace(middle, temperature_5cm_c=middle.temperature_5cm_c - off, deep_c=middle.deep_c - off)
    one, other = (soil_heat.simulated_soil_temperature(weather, state=state)[0] for state in (warm, cold))
    return days_until_same(one, other, within=SOIL_TEMPERATURE_C)
