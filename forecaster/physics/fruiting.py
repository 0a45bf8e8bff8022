"""Fruiting hazard of ring fungi: chance per day that one given ring comes into fruit.

A hazard, not a yes or no: neighbouring rings may or may not fruit. About ten days after substantial rain: Imreh 1969 in Bohus 1981,
Studia Bot. Hung. 15, the only published lag for a grassland agaric that we know. There are no published coefficients for sports turf:
every other number here is a prior of ours.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

RAIN_WINDOW_DAYS = 7
RISE_WINDOW_DAYS = 14
PRIMING_WINDOW_DAYS = 90
PRIMING_FULL_DAYS = 20.0
PRIMING_STRESS = 0.7
KERNEL_DAYS = 40
COLD_NIGHT_C = 5.5  # one woodland species: willow carr study of Dermocybe uliginosa
COLD_NIGHTS_ALLOWED = 3
# A day's hazard depends on triggers KERNEL_DAYS back, each primed PRIMING_WINDOW_DAYS back.
LOOK_BACK_DAYS = KERNEL_DAYS + PRIMING_WINDOW_DAYS


@dataclass(frozen=True)
class FruitingDrivers:
    """What fruiting depends on, shape (day, column), oldest first, from the *sound* column.

    ``water_in_mm``: rain and irrigation; ``available_fraction``: available water of the surface layer [1]; ``stress_coefficient``: Ks.
    NaN marks days before the simulation began: nothing is known of them, and nothing can be triggered across them.
    """

    water_in_mm: Floats
    available_fraction: Floats
    stress_coefficient: Floats
    soil_temperature_c: Floats
    air_temperature_min_c: Floats


@dataclass(frozen=True)
class FruitingRates:
    """Priors: hazard of a full trigger, share left without drought priming, delay [d], and the factor of cold nights."""

    base_hazard: float
    unprimed_share: float
    delay_mean_days: float
    delay_sd_days: float
    cold_night_factor: float


def delay_weights(mean_days: float, sd_days: float) -> Floats:
    """Gamma density of the delay from trigger to fruit bodies, at 1 to KERNEL_DAYS days, scaled to sum to one; shape (lag,).

    Raises ValueError where mean or spread is not positive.
    """
    if mean_days <= 0.0 or sd_days <= 0.0:
        raise ValueError(f"the delay needs a positive mean and spread, got {mean_days} and {sd_days}")
    shape = (mean_days / sd_days) ** 2
    scale = sd_days**2 / mean_days
    lags = np.arange(1, KERNEL_DAYS + 1, dtype=np.float64)
    log_density = (shape - 1.0) * np.log(lags) - lags / scale - math.lgamma(shape) - shape * math.log(scale)
    density = np.exp(log_density)
    return np.asarray(density / density.sum())


def flush_trigger(water_in_mm: Floats, available_fraction: Floats) -> Floats:
    """How far wetness rises above all it was in the two weeks before [0-1], shape (day, column).

    Wetness is a ramp of 7-day water from 10 to 20 mm times a ramp of available surface water from 50 to 70 %. Where any of the days
    needed is unknown (NaN) there is no trigger. Status: assumption.
    """
    week = _trailing(np.nansum, water_in_mm, RAIN_WINDOW_DAYS)
    known = _trailing(np.all, ~np.isnan(water_in_mm), RAIN_WINDOW_DAYS).astype(bool) & ~np.isnan(available_fraction)
    wetness = np.where(known, np.clip((week - 10.0) / 10.0, 0.0, 1.0) * np.clip((available_fraction - 0.5) / 0.2, 0.0, 1.0), 1.0)
    # Days before the first row are unknown: they may have been as wet as can be.
    padded = np.concatenate([np.ones((RISE_WINDOW_DAYS, wetness.shape[1])), wetness])
    before = np.lib.stride_tricks.sliding_window_view(padded, RISE_WINDOW_DAYS, axis=0).max(axis=-1)[: wetness.shape[0]]
    return np.where(known, np.maximum(wetness - before, 0.0), 0.0)


def drought_priming(stress_coefficient: Floats) -> Floats:
    """Share of full priming [0-1]: days with Ks < 0.7 among the last 90, over 20; unknown days do not count. Status: assumption."""
    dry = np.where(np.isnan(stress_coefficient), False, stress_coefficient < PRIMING_STRESS)
    return np.minimum(_trailing(np.sum, dry, PRIMING_WINDOW_DAYS) / PRIMING_FULL_DAYS, 1.0)


def temperature_response(soil_temperature_c: Floats, air_temperature_min_c: Floats, *, cold_night_factor: float) -> Floats:
    """Share of the hazard that the temperature allows [0-1], shape (day, column).

    Ramps 5 to 8 °C and 22 to 19 °C on the 5-day mean soil temperature; more than three nights in a row below 5.5 °C multiply it by
    ``cold_night_factor``. Status: assumption (the night limit: one woodland species).
    """
    sums = _trailing(np.nansum, soil_temperature_c, 5)
    counts = _trailing(np.sum, ~np.isnan(soil_temperature_c), 5)
    mean = np.divide(sums, counts, out=np.full_like(sums, np.nan), where=counts > 0)
    ramps = np.clip((mean - 5.0) / 3.0, 0.0, 1.0) * np.clip((22.0 - mean) / 3.0, 0.0, 1.0)
    nights = COLD_NIGHTS_ALLOWED + 1
    cold = _trailing(np.sum, np.where(np.isnan(air_temperature_min_c), False, air_temperature_min_c < COLD_NIGHT_C), nights) >= nights
    return np.where(np.isnan(ramps), 0.0, ramps) * np.where(cold, cold_night_factor, 1.0)


def flush_hazard(drivers: FruitingDrivers, rates: FruitingRates) -> Floats:
    """Hazard per day that one ring comes into fruit [1/d], shape (day, column).

    h(t) = h0 Σ trigger(t − lag) (w + (1 − w) prime(t − lag)) weight(lag) g_f(t). The first LOOK_BACK_DAYS rows lack part of their past.
    Chance over days: 1 − exp(−Σ h). Status: assumption, except the mean delay.
    """
    primed = rates.unprimed_share + (1.0 - rates.unprimed_share) * drought_priming(drivers.stress_coefficient)
    impulse = flush_trigger(drivers.water_in_mm, drivers.available_fraction) * primed
    weights = delay_weights(rates.delay_mean_days, rates.delay_sd_days)
    padded = np.concatenate([np.zeros((KERNEL_DAYS, impulse.shape[1])), impulse])
    windows = np.lib.stride_tricks.sliding_window_view(padded, KERNEL_DAYS, axis=0)[: impulse.shape[0]]
    # Window t holds the impulses of days t-40 to t-1, oldest first; summed in a fixed order so that a split run gives the same bits.
    arriving = np.zeros_like(impulse)
    for lag in range(KERNEL_DAYS, 0, -1):
        arriving = arriving + weights[lag - 1] * windows[:, :, KERNEL_DAYS - lag]
    gate = temperature_response(drivers.soil_temperature_c, drivers.air_temperature_min_c, cold_night_factor=rates.cold_night_factor)
    return rates.base_hazard * arriving * gate


def _trailing(reduce: Callable[..., Any], values: npt.NDArray[Any], days: int) -> Floats:
    """Reduce over each day and the ones before it, ``days`` in all; days before the first row are NaN (or False)."""
    unknown = False if values.dtype == bool else np.nan
    filler = np.full((days - 1, values.shape[1]), unknown, dtype=values.dtype)
    windows = np.lib.stride_tricks.sliding_window_view(np.concatenate([filler, values]), days, axis=0)
    return np.asarray(reduce(windows, axis=-1), dtype=np.float64)
