"""From described surfaces to columns and what drives them: two columns a surface, sound turf first, then the band."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.ground.surface import Irrigation, Surface
from forecaster.quantities import TurfState
from forecaster.soil.columns import NEVER_DORMANT_C, ColumnParameters, ModelParameters, stack
from forecaster.soil.state import Forcing
from forecaster.weather.daily import DailyWeather
from forecaster.weather.frame import PRECIPITATION, HourlyWeather
from forecaster.weather.local_days import local_days

Floats = npt.NDArray[np.float64]
AnyNumber = TypeVar("AnyNumber", bound=np.generic)

COLUMNS_PER_SURFACE = len(TurfState)
STATE_VERSION = "4"
"""Raise it when the simulation changes what a state means: older stored states are then simulated anew."""


def column_of(surface_number: int, state: TurfState) -> int:
    """Index of the column of a surface (counted from 0) in one of the two turf states."""
    return surface_number * COLUMNS_PER_SURFACE + tuple(TurfState).index(state)


def surface_columns(surfaces: Sequence[Surface]) -> ColumnParameters:
    """Column parameters of the surfaces in order; shape (2 × surface,). The two states differ in repellency and in crown endurance."""
    return stack([_column(surface, state) for surface in surfaces for state in TurfState])


def _column(surface: Surface, state: TurfState) -> dict[str, float]:
    zone, turf = surface.root_zone, surface.turf
    sound = state is TurfState.SOUND
    starts, full, falls, stops = turf.growth_ramp_c
    return {
        "field_capacity_m3m3": zone.field_capacity_m3m3,
        "wilting_point_m3m3": zone.wilting_point_m3m3,
        "saturation_m3m3": zone.saturation_m3m3,
        "root_depth_m": zone.root_depth_m,
        "surface_depth_m": zone.surface_depth_m,
        "readily_evaporable_mm": zone.readily_evaporable_mm,
        "drains_per_day": zone.drains_per_day,
        "basal_crop_coefficient": turf.basal_crop_coefficient,
        "depletion_fraction": turf.depletion_fraction,
        "ground_cover": turf.ground_cover,
        "turf_height_m": turf.height_m,
        "growth_starts_c": starts,
        "growth_full_c": full,
        "growth_falls_c": falls,
        "growth_stops_c": stops,
        "potential_repellency_log10_s": zone.potential_repellency_sound_log10_s if sound else zone.potential_repellency_band_log10_s,
        "critical_water_m3m3": zone.critical_water_sound_m3m3 if sound else zone.critical_water_band_m3m3,
        "dormant_below_c": NEVER_DORMANT_C if turf.dormant_below_c is None else turf.dormant_below_c,
        "interception_mm": turf.interception_mm,
        "held_back_mm": zone.held_back_mm,
        "percolation_limit_mm": zone.percolation_limit_mm,
        "exchange_per_day": zone.exchange_per_day,
        "crown_endurance_days": turf.crown_endurance_sound_days if sound else turf.crown_endurance_band_days,
    }


def planned_irrigation(plan: Irrigation | None, days: Sequence[date]) -> Floats:
    """Watering by the plan [mm], shape (day,); nothing without one.

    The watering days are counted from 1 January of year 1, so they do not depend on where a run begins. Status: assumption, until a log
    of what was really given exists.
    """
    amounts = np.zeros(len(days))
    if plan is None:
        return amounts
    for number, day in enumerate(days):
        if plan.first_month <= plan.last_month:
            in_season = plan.first_month <= day.month <= plan.last_month
        else:
            in_season = day.month >= plan.first_month or day.month <= plan.last_month
        if in_season and day.toordinal() % plan.every_days == 0:
            amounts[number] = plan.amount_mm
    return amounts


def rain_over_capacity(surfaces: Sequence[Surface], frame: HourlyWeather, time_zone: ZoneInfo, days: Sequence[date]) -> Floats:
    """Rain that falls faster than the wet soil of each surface takes it in [mm/d], shape (day, surface); 0 on days without hours.

    Hourly means hide bursts, and what a forecast spreads over six hours never exceeds anything: a lower bound. Status: assumption.
    """
    hours = local_days(pd.DatetimeIndex(frame.values.index), time_zone)
    rain = np.nan_to_num(hours.spread(frame.values[PRECIPITATION].to_numpy(dtype=np.float64)))
    over = {rate: np.maximum(rain - rate, 0.0).sum(axis=1) for rate in {s.root_zone.infiltration_mm_per_h for s in surfaces}}
    row = {day.date(): number for number, day in enumerate(hours.dates)}
    numbers = [row.get(day, -1) for day in days]
    return np.stack([[over[s.root_zone.infiltration_mm_per_h][n] if n >= 0 else 0.0 for n in numbers] for s in surfaces], axis=1)


def irrigation_given(plan: Irrigation | None, days: Sequence[date], log: Mapping[date, float] | None) -> Floats:
    """Watering [mm], shape (day,): what a log says between its first and its last day, and the plan before and after.

    A day inside the log that it does not name had none. Status: practice.
    """
    amounts = planned_irrigation(plan, days)
    if log:
        first, last = min(log), max(log)
        for number, day in enumerate(days):
            if first <= day <= last:
                amounts[number] = log.get(day, 0.0)
    return amounts


def surface_forcing(
    surfaces: Sequence[Surface],
    daily: DailyWeather,
    days: slice,
    *,
    over_capacity_mm: Floats | None = None,
    irrigation_logs: Mapping[str, Mapping[date, float]] | None = None,
) -> Forcing:
    """What drives the columns of the surfaces over a part of the daily weather; arrays of shape (day, 2 × surface).

    ``irrigation_logs``: by surface id, see ``irrigation_given``. ``over_capacity_mm``: from ``rain_over_capacity`` for all days of the
    daily weather, shape (day, surface).
    """
    columns = len(surfaces) * COLUMNS_PER_SURFACE

    def spread(values: npt.NDArray[AnyNumber]) -> npt.NDArray[AnyNumber]:
        return np.repeat(values[days, None], columns, axis=1)

    logs = irrigation_logs or {}
    irrigation = [irrigation_given(surface.irrigation, daily.days[days], logs.get(surface.id)) for surface in surfaces]
    return Forcing(
        rain_mm=spread(daily.rain_mm),
        irrigation_mm=np.repeat(np.stack(irrigation, axis=1), COLUMNS_PER_SURFACE, axis=1),
        et0_mm=spread(daily.et0_mm),
        air_temperature_mean_c=spread(daily.air_temperature_mean_c),
        air_temperature_min_c=spread(daily.air_temperature_min_c),
        soil_temperature_c=spread(daily.soil_temperature_c),
        wind_speed_2m_ms=spread(daily.wind_speed_2m_ms),
        relative_humidity_min_percent=spread(daily.relative_humidity_min_percent),
        known=spread(daily.complete),
        rain_over_capacity_mm=None if over_capacity_mm is None else np.repeat(over_capacity_mm[days], COLUMNS_PER_SURFACE, axis=1),
    )


def state_fingerprint(surfaces: Sequence[Surface], model: ModelParameters) -> str:
    """Hash of everything a soil state depends on besides the weather: a stored state with another one is not gone on from."""
    columns = surface_columns(surfaces)
    told = [STATE_VERSION, repr(model), *(f"{surface.id} {surface.irrigation}" for surface in surfaces)]
    digest = hashlib.sha256("\n".join(told).encode())
    for field in fields(columns):
        digest.update(field.name.encode() + getattr(columns, field.name).tobytes())
    return digest.hexdigest()[:32]
