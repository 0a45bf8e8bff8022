"""Fruiting hazard of ring fungi: chance per day that one given ring comes into fruit.

A hazard, not a yes or no: neighbouring rings may or may not fruit. About ten days after substantial rain: Imreh 1969 in Bohus 1981,
Studia Bot. Hung. 15, the only published lag for a grassland agaric that we know. There are no published coefficients for sports turf:
every other number here is a prior of ours. Everything is driven by the *sound* column.

    h(t) = h0 Σ trigger(t − lag) (w + (1 − w) prime(t − lag)) weight(lag) g_f(t);   chance over days: 1 − exp(−Σ h)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from forecaster.physics.limits import unit_ramp

Floats = npt.NDArray[np.float64]
AnyNumber = TypeVar("AnyNumber", bound=np.generic)

RAIN_WINDOW_DAYS = 7
RISE_WINDOW_DAYS = 14
TEMPERATURE_WINDOW_DAYS = 5
PRIMING_WINDOW_DAYS = 90
PRIMING_FULL_DAYS = 20.0
PRIMING_STRESS = 0.7
KERNEL_DAYS = 40
NEGLIGIBLE = 1e-6
DENSE_FROM = 20  # a trigger in more than one column of so many
COLD_NIGHT_C = 5.5  # one woodland species: willow carr study of Dermocybe uliginosa
COLD_NIGHTS_ALLOWED = 3


@dataclass(frozen=True)
class FruitingRates:
    """Priors: hazard of a full trigger, share left without drought priming, delay [d], and the factor of cold nights."""

    base_hazard: float
    unprimed_share: float
    delay_mean_days: float
    delay_sd_days: float
    cold_night_factor: float


@dataclass(frozen=True)
class FruitingMemory:
    """What fruiting must remember at the end of a day; shape (row, column), rows oldest first, or (column,).

    ``coming_hazard``: what earlier triggers bring on each of the next KERNEL_DAYS days, before temperature (row 0: tomorrow).
    ``recent_wetness``: wetness of the last RISE_WINDOW_DAYS days, 1 where unknown. ``recent_water_in_mm``: rain and irrigation of the last
    six days. ``recent_drought``: 1 for a day with Ks < PRIMING_STRESS. ``recent_soil_temperature_c``: last four days. ``cold_nights``: in a
    row up to now. NaN marks days before the simulation began: nothing is known of them, and nothing can be triggered across them.
    """

    coming_hazard: Floats
    recent_wetness: Floats
    recent_water_in_mm: Floats
    recent_drought: npt.NDArray[np.uint8]
    recent_soil_temperature_c: Floats
    cold_nights: Floats


def nothing_remembered(columns: int) -> FruitingMemory:
    """The memory of a simulation that begins: no day before it is known."""
    return FruitingMemory(
        coming_hazard=np.zeros((KERNEL_DAYS, columns)),
        recent_wetness=np.ones((RISE_WINDOW_DAYS, columns)),
        recent_water_in_mm=np.full((RAIN_WINDOW_DAYS - 1, columns), np.nan),
        recent_drought=np.zeros((PRIMING_WINDOW_DAYS, columns), dtype=np.uint8),
        recent_soil_temperature_c=np.full((TEMPERATURE_WINDOW_DAYS - 1, columns), np.nan),
        cold_nights=np.zeros(columns),
    )


def delay_weights(mean_days: float, sd_days: float) -> Floats:
    """Gamma density of the delay from trigger to fruit bodies, at 1 to KERNEL_DAYS days, scaled to sum to one; shape (lag,).

    Raises ValueError where mean or spread is not positive.
    """
    if mean_days <= 0.0 or sd_days <= 0.0:
        raise ValueError(f"the delay needs a positive mean and spread in days, got {mean_days} and {sd_days}")
    shape = (mean_days / sd_days) ** 2
    scale = sd_days**2 / mean_days
    lags = np.arange(1, KERNEL_DAYS + 1, dtype=np.float64)
    log_density = (shape - 1.0) * np.log(lags) - lags / scale - math.lgamma(shape) - shape * math.log(scale)
    density = np.exp(log_density)
    return np.asarray(density / density.sum())


def temperature_response(soil_temperature_c: Floats) -> Floats:
    """Share of the hazard that a 5-day mean soil temperature allows [0-1]: ramps 5 to 8 °C and 22 to 19 °C; broadcasts.

    Status: assumption.
    """
    return unit_ramp(soil_temperature_c, 5.0, 8.0) * unit_ramp(soil_temperature_c, 22.0, 19.0)


class FruitingDays:
    """Fruiting of all columns, day after day. It keeps its windows as rings, written over in place; ``memory`` gives them in order."""

    def __init__(self, memory: FruitingMemory, rates: FruitingRates) -> None:
        self._rates = rates
        weights = rates.base_hazard * delay_weights(rates.delay_mean_days, rates.delay_sd_days)
        # Delays that bring less than a millionth of the most likely one are left out.
        self._lags = np.flatnonzero(weights > NEGLIGIBLE * weights.max()) + 1
        self._weights = weights[self._lags - 1]
        # Day number of the day to come; row d % n of a ring belongs to day d, so rings that start in order start at day 0.
        self._day = 0
        self._coming = memory.coming_hazard.copy()
        self._wetness = memory.recent_wetness.copy()
        self._water = memory.recent_water_in_mm.copy()
        self._drought = memory.recent_drought.copy()
        self._warmth = memory.recent_soil_temperature_c.copy()
        self._cold_nights = memory.cold_nights.copy()
        self._drought_days = self._drought.sum(axis=0, dtype=np.float64)
        self._unknown = True

    def advance(
        self,
        *,
        water_in_mm: Floats,
        available_fraction: Floats,
        stress_coefficient: Floats,
        soil_temperature_c: Floats,
        air_temperature_min_c: Floats,
    ) -> Floats:
        """Hazard of the day that one ring comes into fruit [1/d], shape (column,), from the day's numbers of the sound column.

        ``water_in_mm``: rain and irrigation; ``available_fraction``: available water of the surface layer [1]. No NaN: see ``hold``.
        """
        day = self._day
        self._unknown = self._unknown and bool(np.isnan(self._water).any() or np.isnan(self._warmth).any())
        wetness = self._wetness_of_day(water_in_mm, available_fraction)
        # Rise above all it was in the two weeks before; the ring's row of the fifteenth day back is written over below.
        trigger = wetness - np.maximum.reduce(self._wetness, axis=0)
        self._wetness[day % RISE_WINDOW_DAYS] = wetness

        dry = stress_coefficient < PRIMING_STRESS
        oldest = self._drought[day % PRIMING_WINDOW_DAYS]
        self._drought_days += dry
        self._drought_days -= oldest
        self._drought[day % PRIMING_WINDOW_DAYS] = dry

        row = day % KERNEL_DAYS
        arriving = self._coming[row].copy()
        self._coming[row] = 0.0
        self._spread(trigger)

        self._cold_nights = (self._cold_nights + 1.0) * (air_temperature_min_c < COLD_NIGHT_C)
        cooled = 1.0 + (self._rates.cold_night_factor - 1.0) * (self._cold_nights > COLD_NIGHTS_ALLOWED)
        hazard = arriving * temperature_response(self._mean_soil_temperature(soil_temperature_c)) * cooled
        self._day += 1
        return hazard

    def hold(self, numbers: dict[str, Floats], known: npt.NDArray[np.bool_]) -> dict[str, Floats]:
        """The day's numbers with those of unknown columns replaced: no water, and otherwise a day like the one before."""
        day = self._day
        yesterday_dry = self._drought[(day - 1) % PRIMING_WINDOW_DAYS].astype(np.bool_)
        instead = {
            "water_in_mm": 0.0,
            "available_fraction": numbers["available_fraction"],
            "stress_coefficient": np.where(yesterday_dry, 0.0, 1.0),
            "soil_temperature_c": self._warmth[(day - 1) % (TEMPERATURE_WINDOW_DAYS - 1)],
            "air_temperature_min_c": np.where(self._cold_nights > 0.0, -np.inf, np.inf),
        }
        return {name: np.where(known, values, instead[name]) for name, values in numbers.items()}

    def memory(self) -> FruitingMemory:
        """What must be remembered, in order."""

        def ordered(ring: npt.NDArray[AnyNumber]) -> npt.NDArray[AnyNumber]:
            return np.roll(ring, -(self._day % ring.shape[0]), axis=0)

        return FruitingMemory(
            coming_hazard=ordered(self._coming),
            recent_wetness=ordered(self._wetness),
            recent_water_in_mm=ordered(self._water),
            recent_drought=ordered(self._drought),
            recent_soil_temperature_c=ordered(self._warmth),
            cold_nights=self._cold_nights.copy(),
        )

    def _wetness_of_day(self, water_in_mm: Floats, available_fraction: Floats) -> Floats:
        """A ramp of 7-day water from 10 to 20 mm times one of available surface water from 50 to 70 %; 1 where a day is unknown."""
        days, length = self._day, RAIN_WINDOW_DAYS - 1
        # Oldest first, always in the same order: a run split in two must add up to the same bits.
        week = self._water[days % length] + self._water[(days + 1) % length]
        for back in range(2, length):
            week += self._water[(days + back) % length]
        week += water_in_mm
        self._water[days % length] = water_in_mm
        wetness = unit_ramp(week, 10.0, 20.0) * unit_ramp(available_fraction, 0.5, 0.7)
        if self._unknown:
            wetness = np.where(np.isnan(wetness), 1.0, wetness)
        return wetness

    def _spread(self, trigger: Floats) -> None:
        """Let every trigger of the day arrive later, by the delay; few columns have one on the same day."""
        hit = np.flatnonzero(trigger > 0.0)
        if hit.size:
            share = self._rates.unprimed_share
            primed = share + (1.0 - share) * np.minimum(self._drought_days[hit] / PRIMING_FULL_DAYS, 1.0)
            impulse = trigger[hit] * primed
            rows = (self._day + self._lags) % KERNEL_DAYS
            if hit.size * DENSE_FROM < trigger.size:
                self._coming[np.ix_(rows, hit)] += self._weights[:, None] * impulse
                return
            # Many at once: whole rows are faster than picked columns, and a zero changes nothing.
            whole = np.zeros_like(trigger)
            whole[hit] = impulse
            for row, weight in zip(rows, self._weights, strict=True):
                self._coming[row] += weight * whole

    def _mean_soil_temperature(self, soil_temperature_c: Floats) -> Floats:
        days, length = self._day, TEMPERATURE_WINDOW_DAYS - 1
        if self._unknown:
            window = np.stack([*(self._warmth[(days + back) % length] for back in range(length)), soil_temperature_c])
            mean = np.nansum(window, axis=0) / np.maximum((~np.isnan(window)).sum(axis=0), 1)
        else:
            mean = self._warmth[days % length] + self._warmth[(days + 1) % length]
            for back in range(2, length):
                mean += self._warmth[(days + back) % length]
            mean += soil_temperature_c
            mean /= TEMPERATURE_WINDOW_DAYS
        self._warmth[days % length] = soil_temperature_c
        return mean
