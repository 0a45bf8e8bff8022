"""Water on the leaf by the hour: a film filled by rain, irrigation and dew, emptied by evaporation and by dripping into the soil.

One film stands for leaf and thatch surface together. What lies in the soil below is the daily balance's.
Evaporation and dew are one flux with two signs, so they cannot contradict each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from forecaster.physics.evapotranspiration import WIND_FLOOR_MS
from forecaster.physics.humidity import atmospheric_pressure, psychrometric_constant, saturation_vapour_pressure, slope_of_saturation
from forecaster.physics.radiation import MILLIMETRES_PER_MEGAJOULE, STEFAN_BOLTZMANN_MJ_PER_DAY
from forecaster.units import KELVIN_OFFSET_FAO56

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Values = float | Floats

# Film held per unit of leaf area: 0.2 mm, as land-surface schemes have it since Dickinson 1984 (memory). Status: published.
FILM_PER_LEAF_AREA_MM = 0.2
# Leaf area of clipped grass per metre of height: LAI = 24 h, FAO-56 chapter 2, box 5. Status: published (0.05-0.15 m; shorter: assumption).
LEAF_AREA_PER_METRE = 24.0
# Film on thatch and on the mat of cut stems below the leaves. Status: assumption; range 0.1-0.6.
THATCH_FILM_MM = 0.3
# Less water than this counts as dry: an invisible film. Status: assumption; range 0.01-0.05.
WET_FROM_MM = 0.02
# Share of net radiation that heat from or into the ground makes up. By day FAO-56 eq. 45; by night not its eq. 46 (0.5) but the 0.2 of
# ASCE-EWRI 2005 for a dense tall canopy (memory), because thatch keeps the soil's warmth from the leaf. Status of using it for turf:
# assumption; range 0.1-0.5. It decides how much dew there is.
GROUND_HEAT_BY_DAY, GROUND_HEAT_BY_NIGHT = 0.1, 0.2


class Cause(IntEnum):
    """What put the water there; the codes in ``LeafWetness.cause``."""

    DRY = 0
    RAIN = 1
    IRRIGATION = 2
    DEW = 3
    FROST = 4
    """The film is frozen, whatever it came from."""


@dataclass(frozen=True)
class SurfaceHours:
    """What wets and dries a surface; arrays of shape (hour,) or (hour, column) that broadcast against each other.

    Amounts cover the hour: net radiation [MJ/m²/h], rain and irrigation [mm/h].
    """

    air_temperature_c: Floats
    vapour_pressure_kpa: Floats
    wind_speed_2m_ms: Floats
    net_radiation_mj: Floats
    rain_mm: Floats
    irrigation_mm: Floats
    elevation_m: float


@dataclass(frozen=True)
class LeafWetness:
    """The film hour by hour; every array has shape (hour, column).

    ``water_mm`` at the end of the hour; the change over an hour is rain + irrigation + ``dew_mm`` − ``evaporation_mm`` − ``drip_mm``.
    ``wet``: at some time in the hour; ``wet_share``: how much of it [0-1]. ``known``: False where an input was NaN: the film is then held
    as it was and nothing flows. ``hours_until_dry``: from the hour's start; 0 where dry, NaN where the hours at hand do not tell.
    ``surface_temperature_c``: of the surface where it is wet; a dry one is warmer by day.
    """

    water_mm: Floats
    dew_mm: Floats
    evaporation_mm: Floats
    drip_mm: Floats
    surface_temperature_c: Floats
    wet: Flags
    wet_share: Floats
    cause: npt.NDArray[np.int8]
    known: Flags
    hours_until_dry: Floats


def film_capacity(turf_height_m: Values) -> Floats:
    """Most water that leaf and thatch surface hold [mm] at a mown height [m]; NaN in, NaN out.

    Raises ValueError for a height outside 0-1 m. Source: 0.2 mm on each unit of leaf area (Dickinson 1984, memory), leaf area 24 h
    (FAO-56 box 5), and an own number for thatch. Status: assumption.
    """
    height = np.asarray(turf_height_m, dtype=np.float64)[()]
    if np.any((height < 0.0) | (height > 1.0)):
        raise ValueError(f"turf height must be 0-1 m, got {height}")
    return FILM_PER_LEAF_AREA_MM * LEAF_AREA_PER_METRE * height + THATCH_FILM_MM


def wet_surface_flux(hours: SurfaceHours) -> tuple[Floats, Floats]:
    """Potential evaporation of a wet surface [mm/h], negative where dew forms on it, and that surface's temperature [°C].

    Shape of the broadcast inputs; NaN in, NaN out. Dew forms exactly where the wet surface is colder than the dew point.
    Air above saturation counts as saturated, so that dew never exceeds what the surface can radiate away.
    Source: Penman-Monteith with no surface resistance, constants of FAO-56 eq. 53 (aerodynamic resistance 208/u2), day and night by the
    sign of net radiation; potential condensation by the same equation as in Monteith 1957 and Garratt & Segal 1988 (memory). The surface
    also radiates less as it cools, 4 ε σ T³ beside the aerodynamic conductance (Monteith & Unsworth, Principles of Environmental Physics,
    memory): without it still air would give dew at 40 % humidity. Status: published; neutral air over the turf: assumption.
    """
    t = np.asarray(hours.air_temperature_c, dtype=np.float64)
    u2 = np.maximum(hours.wind_speed_2m_ms, WIND_FLOOR_MS)
    rn = np.asarray(hours.net_radiation_mj, dtype=np.float64)
    ground = np.where(rn >= 0.0, GROUND_HEAT_BY_DAY, GROUND_HEAT_BY_NIGHT) * rn
    available = MILLIMETRES_PER_MEGAJOULE * (rn - ground)  # mm/h
    delta, gamma = slope_of_saturation(t), psychrometric_constant(atmospheric_pressure(hours.elevation_m))
    deficit = np.maximum(saturation_vapour_pressure(t) - hours.vapour_pressure_kpa, 0.0)
    transfer = 37.0 / (t + 273.0) * u2  # mm/h per kPa of vapour pressure, eq. 53
    radiative = MILLIMETRES_PER_MEGAJOULE * 4.0 * STEFAN_BOLTZMANN_MJ_PER_DAY / 24.0 * (t + KELVIN_OFFSET_FAO56) ** 3  # mm/h per K
    warmer = (available - transfer * deficit) / (transfer * (delta + gamma) + radiative)
    return transfer * (deficit + delta * warmer), t + warmer


def leaf_wetness(hours: SurfaceHours, capacity_mm: Floats, *, start_mm: Values = 0.0, start_cause: Cause = Cause.DEW) -> LeafWetness:
    """Follow the film of every column through the hours.

    ``capacity_mm``: shape (column,). ``start_mm``: film before the first hour, shape (column,) or a number, at most the capacity, and what
    it came from. Rain, irrigation and dew fill the film, what is above the capacity drips into the soil, then evaporation takes at most
    the potential. Wind shakes nothing off; frost evaporates as water does; snow that stays lying is not known of.
    An hour with NaN in any input is held. Raises ValueError for a capacity not above 0, negative amounts, or too much water at the start.
    Source: wet_surface_flux; the single film at the full potential rate until it is gone: assumption.
    """
    capacity = np.atleast_1d(np.asarray(capacity_mm, dtype=np.float64))
    potential, surface = (_by_column(found) for found in wet_surface_flux(hours))
    rain, irrigation = _by_column(hours.rain_mm), _by_column(hours.irrigation_mm)
    for name, amounts in (("rain", rain), ("irrigation", irrigation)):
        if np.any(amounts < 0.0):
            raise ValueError(f"{name} must be at least 0 mm/h, got {np.nanmin(amounts)}")
    if not np.all((capacity > 0.0) & (start_mm >= 0.0) & (start_mm <= capacity)):
        raise ValueError(f"the film needs a capacity above 0 mm and a start between 0 and it, got {capacity} and {start_mm}")

    known = np.isfinite(potential) & np.isfinite(rain) & np.isfinite(irrigation)
    # An unknown hour has no flux at all; that holds the film without a word in the loop.
    potential, rain, irrigation = (np.where(known, flux, 0.0) for flux in (potential, rain, irrigation))
    dew, demand = np.maximum(-potential, 0.0), np.maximum(potential, 0.0)
    shape = (len(known), *np.broadcast_shapes(known.shape[1:], capacity.shape))
    rainy = (rain >= WET_FROM_MM) | ((rain > 0.0) & (rain >= dew))
    added = rain + irrigation + dew
    given = np.where(irrigation >= WET_FROM_MM, Cause.IRRIGATION, np.where(rainy, Cause.RAIN, 0)).astype(np.int8)

    start: Floats = np.broadcast_to(np.asarray(start_mm, dtype=np.float64), shape[1:])
    highest, water, film = np.empty(shape), np.empty(shape), start
    for hour in range(shape[0]):
        full = np.minimum(film + added[hour], capacity, out=highest[hour])
        film = np.maximum(full - demand[hour], 0.0, out=water[hour])

    before = np.concatenate([start[None], water[:-1]])
    wet = highest >= WET_FROM_MM
    origin = np.where(wet, _last_cause(given, before >= WET_FROM_MM, start_cause), np.int8(Cause.DRY))
    ends = wet & (water < WET_FROM_MM)
    share = wet.astype(np.float64)
    np.divide(highest - WET_FROM_MM, np.broadcast_to(demand, shape), out=share, where=ends)
    return LeafWetness(
        water_mm=water,
        dew_mm=np.broadcast_to(dew, shape),
        evaporation_mm=highest - water,
        drip_mm=np.maximum(before + added - highest, 0.0),
        surface_temperature_c=np.broadcast_to(surface, shape),
        wet=wet,
        wet_share=share,
        cause=np.where(wet & (surface < 0.0), np.int8(Cause.FROST), origin),
        known=np.broadcast_to(known, shape),
        hours_until_dry=_hours_until_dry(wet, ends, share, known),
    )


def _last_cause(given: npt.NDArray[np.int8], wet_before: Flags, start_cause: Cause) -> npt.NDArray[np.int8]:
    """What the film of each hour came from, if it is wet: the last rain or watering since it was dry, or else dew."""
    event = np.where(given > 0, given, np.where(wet_before, np.int8(0), np.int8(Cause.DEW)))
    event[0] = np.where(event[0] > 0, event[0], np.int8(start_cause))
    hours = np.arange(len(event), dtype=np.int32)[:, None]
    last = np.maximum.accumulate(np.where(event > 0, hours, np.int32(0)), axis=0)
    return np.take_along_axis(event, last, axis=0)


def _by_column(values: Floats) -> Floats:
    """Hours down, columns across: a series without columns gets one."""
    found = np.asarray(values, dtype=np.float64)
    return found[:, None] if found.ndim == 1 else found


def _hours_until_dry(wet: Flags, ends: Flags, share: Floats, known: Flags) -> Floats:
    """From each hour's start to the moment when the film is gone [h]; NaN where an unknown hour or the end comes first."""
    result = np.empty(wet.shape)
    later: Floats = np.full(wet.shape[1:], np.nan)
    for hour in range(len(wet) - 1, -1, -1):
        later = np.where(wet[hour], np.where(ends[hour], share[hour], 1.0 + later), 0.0)
        later = np.where(known[hour], later, np.nan)
        result[hour] = later
    return result
