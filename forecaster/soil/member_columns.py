"""Columns of every member of an ensemble: a ground's columns once per member, the members one after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date

import numpy as np
import numpy.typing as npt

from forecaster.ground.surface import Surface
from forecaster.soil.columns import ColumnParameters
from forecaster.soil.state import Forcing, SoilState
from forecaster.soil.surfaces import COLUMNS_PER_SURFACE, irrigation_given
from forecaster.weather.member_days import MemberDays


def member_columns(columns: ColumnParameters, members: int) -> ColumnParameters:
    """The same columns for every member; shape (member × column,)."""
    return ColumnParameters(**{field.name: np.tile(getattr(columns, field.name), members) for field in fields(ColumnParameters)})


def member_state(state: SoilState, members: int) -> SoilState:
    """The same state for every member."""
    return SoilState.joined([state] * members)


def columns_of_members(column: int, *, of: int, members: int) -> npt.NDArray[np.intp]:
    """Where one of the ``of`` columns of a ground stands for each member; shape (member,)."""
    return np.arange(members) * of + column


def member_forcing(
    surfaces: Sequence[Surface], made: MemberDays, *, irrigation_logs: Mapping[str, Mapping[date, float]] | None = None
) -> Forcing:
    """What drives the columns of all members; arrays of shape (day, member × column). Watering is the same for every member.

    Rain over the soil's capacity is a lower bound, as members tell hours of several as their mean. Status: assumption.
    """
    daily, columns = made.daily, len(surfaces) * COLUMNS_PER_SURFACE
    members = daily.rain_mm.shape[1]

    def spread(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.repeat(values, columns, axis=1)

    logs = irrigation_logs or {}
    watered = np.stack([irrigation_given(s.irrigation, daily.days, logs.get(s.id)) for s in surfaces], axis=1)
    rain = np.nan_to_num(made.rain_of_hours_mm)
    rates = {surface.root_zone.infiltration_mm_per_h for surface in surfaces}
    over = {rate: np.maximum(rain - rate, 0.0).sum(axis=2) for rate in rates}
    over_of_surfaces = np.stack([over[surface.root_zone.infiltration_mm_per_h] for surface in surfaces], axis=2)
    return Forcing(
        rain_mm=spread(daily.rain_mm),
        irrigation_mm=np.tile(np.repeat(watered, COLUMNS_PER_SURFACE, axis=1), (1, members)),
        et0_mm=spread(daily.et0_mm),
        air_temperature_mean_c=spread(daily.air_temperature_mean_c),
        air_temperature_min_c=spread(daily.air_temperature_min_c),
        soil_temperature_c=spread(daily.soil_temperature_c),
        wind_speed_2m_ms=spread(daily.wind_speed_2m_ms),
        relative_humidity_min_percent=spread(daily.relative_humidity_min_percent),
        known=np.repeat(daily.complete, columns, axis=1),
        rain_over_capacity_mm=np.repeat(over_of_surfaces, COLUMNS_PER_SURFACE, axis=2).reshape(len(daily.days), -1),
    )
