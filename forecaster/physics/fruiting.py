"""Fruiting hazard of ring fungi: chance per day that one given ring comes into fruit.

A hazard, not a yes or no: neighbouring rings may or may not fruit. About ten days after substantial rain: Imreh 1969 in Bohus 1981,
Studia Bot. Hung. 15, the only published lag for a grassland agaric that we know. There are no published coefficients for sports turf:
every other number here is a prior of ours. Everything is driven by the *sound* column.

    h(t) = h0 Σ trigger(t − lag) (w + (1 − w) prime(t − lag)) weight(lag) g_f(t);   chance over days: 1 − exp(−Σ h)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from forecaster.physics.limits import choose, larger, smaller, unit_ramp

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
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


class FruitingRates(NamedTuple):
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


class FruitingDrivers(NamedTuple):
    """What drives fruiting on one day, of the sound column; shape (column,).

    ``water_in_mm``: rain and irrigation; ``available_fraction``: available water of the surface layer [1].
    """

    water_in_mm: Floats
    available_fraction: Floats
    stress_coefficient: Floats
    soil_temperature_c: Floats
    air_temperature_min_c: Floats


class FruitingPast(NamedTuple):
    """What one day needs of the days before it; shape (column,), windows as one entry a day, oldest first.

    ``highest_wetness``: of the last RISE_WINDOW_DAYS days; ``oldest_drought``: the flag that leaves the priming window today;
    ``arriving``: what earlier triggers bring today. The rest as in ``FruitingMemory``.
    """

    water_mm: tuple[Floats, ...]
    soil_temperature_c: tuple[Floats, ...]
    highest_wetness: Floats
    oldest_drought: npt.NDArray[np.uint8]
    yesterday_drought: npt.NDArray[np.uint8]
    drought_days: Floats
    cold_nights: Floats
    arriving: Floats


class FruitingDay(NamedTuple):
    """What one day leaves behind, shape (column,). ``trigger`` above 0 brings hazard to later days: see ``impulse``."""

    wetness: Floats
    trigger: Floats
    dry: Flags
    drought_days: Floats
    cold_nights: Floats
    hazard: Floats


def held_drivers(today: FruitingDrivers, past: FruitingPast, known: Flags) -> FruitingDrivers:
    """The day's numbers with those of unknown columns replaced: no water, and otherwise a day like the one before."""
    return FruitingDrivers(
        water_in_mm=choose(known, today.water_in_mm, 0.0),
        available_fraction=today.available_fraction,
        stress_coefficient=choose(known, today.stress_coefficient, choose(past.yesterday_drought > 0, 0.0, 1.0)),
        soil_temperature_c=choose(known, today.soil_temperature_c, past.soil_temperature_c[-1]),
        air_temperature_min_c=choose(known, today.air_temperature_min_c, choose(past.cold_nights > 0.0, -np.inf, np.inf)),
    )


def fruiting_day(today: FruitingDrivers, past: FruitingPast, *, cold_night_factor: float, unknown_past: bool) -> FruitingDay:
    """Hazard of one day [1/d], and what it leaves behind; no NaN in ``today``: see ``held_drivers``.

    ``unknown_past``: a window may reach back before the simulation began, where water and temperature are NaN.
    """
    water = _sum_onto(past.water_mm, today.water_in_mm)
    wetness = wetness_of_week(water, today.available_fraction)
    if unknown_past:
        wetness = choose(np.isnan(water), 1.0, wetness)
    # Rise above all it was in the two weeks before.
    trigger = wetness - past.highest_wetness
    dry = today.stress_coefficient < PRIMING_STRESS
    drought_days = past.drought_days + dry - past.oldest_drought
    cold_nights = (past.cold_nights + 1.0) * (today.air_temperature_min_c < COLD_NIGHT_C)
    cooled = 1.0 + (cold_night_factor - 1.0) * (cold_nights > COLD_NIGHTS_ALLOWED)
    if unknown_past:
        warmth = _mean_of_known(past.soil_temperature_c, today.soil_temperature_c)
    else:
        warmth = _sum_onto(past.soil_temperature_c, today.soil_temperature_c) * (1.0 / TEMPERATURE_WINDOW_DAYS)
    return FruitingDay(wetness, trigger, dry, drought_days, cold_nights, past.arriving * temperature_response(warmth) * cooled)


def wetness_of_week(water_mm: Floats, available_fraction: Floats) -> Floats:
    """A ramp of 7-day water from 10 to 20 mm times one of available surface water from 50 to 70 % [0-1]; NaN in, NaN out."""
    return unit_ramp(water_mm, 10.0, 20.0) * unit_ramp(available_fraction, 0.5, 0.7)


def impulse(trigger: Floats, drought_days: Floats, *, unprimed_share: float) -> Floats:
    """What a trigger brings in all [1]: more after a drought, all of it after PRIMING_FULL_DAYS dry days of the window."""
    return trigger * (unprimed_share + (1.0 - unprimed_share) * smaller(drought_days / PRIMING_FULL_DAYS, 1.0))


def _sum_onto(window: tuple[Floats, ...], today: Floats) -> Floats:
    """The days of a window and today, added up oldest first: always in one order, so that a run split in two gives the same bits."""
    total = window[0]
    for day in window[1:]:
        total = total + day
    return total + today


def _mean_of_known(window: tuple[Floats, ...], today: Floats) -> Floats:
    """The mean over the known days of a window, and today; added up as in ``_sum_onto``: with all of them known the same bits."""
    total, days = 0.0 * today, 1.0 + 0.0 * today
    for day in window:
        missing = np.isnan(day)
        total = total + choose(missing, 0.0, day)
        days = days + choose(missing, 0.0, 1.0)
    return (total + today) / days


class FruitingRings(NamedTuple):
    """The windows of ``FruitingMemory`` as rings, written over in place: row d % n of a ring of n rows belongs to day d.

    ``drought_days``: days with drought in the window, shape (column,). ``wetness_until_round``: for each row of ``wetness`` the highest of
    it and the rows after it when the ring last was full, and ``wetness_of_round`` the highest since then, shape (column,): together the
    highest of the whole window without looking at all of it.
    """

    coming: Floats
    wetness: Floats
    water: Floats
    drought: npt.NDArray[np.uint8]
    warmth: Floats
    cold_nights: Floats
    drought_days: Floats
    wetness_until_round: Floats
    wetness_of_round: Floats


def fruiting_rings(memory: FruitingMemory) -> FruitingRings:
    """Rings that start in order: the day to come is day 0."""
    return FruitingRings(
        coming=memory.coming_hazard.copy(),
        wetness=memory.recent_wetness.copy(),
        water=memory.recent_water_in_mm.copy(),
        drought=memory.recent_drought.copy(),
        warmth=memory.recent_soil_temperature_c.copy(),
        cold_nights=memory.cold_nights.copy(),
        drought_days=memory.recent_drought.sum(axis=0, dtype=np.float64),
        wetness_until_round=np.empty_like(memory.recent_wetness),
        wetness_of_round=np.zeros_like(memory.cold_nights),
    )


def remembered(rings: FruitingRings, day: int) -> FruitingMemory:
    """What must be remembered before day number ``day``, in order."""

    def ordered(ring: npt.NDArray[AnyNumber]) -> npt.NDArray[AnyNumber]:
        return np.roll(ring, -(day % ring.shape[0]), axis=0)

    return FruitingMemory(
        coming_hazard=ordered(rings.coming),
        recent_wetness=ordered(rings.wetness),
        recent_water_in_mm=ordered(rings.water),
        recent_drought=ordered(rings.drought),
        recent_soil_temperature_c=ordered(rings.warmth),
        cold_nights=rings.cold_nights.copy(),
    )


def delay_lags(rates: FruitingRates) -> tuple[npt.NDArray[np.int64], Floats]:
    """Days after a trigger on which it brings something, and how much; delays of less than a millionth of the likeliest are left out."""
    weights = rates.base_hazard * delay_weights(rates.delay_mean_days, rates.delay_sd_days)
    lags = np.flatnonzero(weights > NEGLIGIBLE * weights.max()) + 1
    return lags, weights[lags - 1]


class FruitingDays:
    """Fruiting of all columns, day after day, by whole arrays; ``memory`` gives what must be remembered."""

    def __init__(self, memory: FruitingMemory, rates: FruitingRates) -> None:
        self._rates = rates
        self._lags, self._weights = delay_lags(rates)
        self._day = 0
        self._rings = fruiting_rings(memory)
        self._unknown = True

    def advance(self, today: FruitingDrivers, known: Flags | None = None) -> Floats:
        """Hazard of the day that one ring comes into fruit [1/d], shape (column,); ``known`` None: known everywhere."""
        rings, day = self._rings, self._day
        self._unknown = self._unknown and bool(np.isnan(rings.water).any() or np.isnan(rings.warmth).any())
        past = self._past()
        if known is not None:
            today = held_drivers(today, past, known)
        found = fruiting_day(today, past, cold_night_factor=self._rates.cold_night_factor, unknown_past=self._unknown)
        rings.water[day % len(rings.water)] = today.water_in_mm
        rings.warmth[day % len(rings.warmth)] = today.soil_temperature_c
        rings.wetness[day % RISE_WINDOW_DAYS] = found.wetness
        np.maximum(rings.wetness_of_round, found.wetness, out=rings.wetness_of_round)
        rings.drought[day % PRIMING_WINDOW_DAYS] = found.dry
        rings.drought_days[:] = found.drought_days
        rings.cold_nights[:] = found.cold_nights
        rings.coming[day % KERNEL_DAYS] = 0.0
        self._spread(found.trigger)
        self._day += 1
        return found.hazard

    def memory(self) -> FruitingMemory:
        """What must be remembered, in order."""
        return remembered(self._rings, self._day)

    def _past(self) -> FruitingPast:
        rings, day = self._rings, self._day
        if day % RISE_WINDOW_DAYS == 0:
            np.maximum.accumulate(rings.wetness[::-1], axis=0, out=rings.wetness_until_round[::-1])
            rings.wetness_of_round[:] = 0.0
        return FruitingPast(
            water_mm=tuple(rings.water[(day + back) % len(rings.water)] for back in range(len(rings.water))),
            soil_temperature_c=tuple(rings.warmth[(day + back) % len(rings.warmth)] for back in range(len(rings.warmth))),
            highest_wetness=larger(rings.wetness_until_round[day % RISE_WINDOW_DAYS], rings.wetness_of_round),
            oldest_drought=rings.drought[day % PRIMING_WINDOW_DAYS],
            yesterday_drought=rings.drought[(day - 1) % PRIMING_WINDOW_DAYS],
            drought_days=rings.drought_days,
            cold_nights=rings.cold_nights,
            arriving=rings.coming[day % KERNEL_DAYS],
        )

    def _spread(self, trigger: Floats) -> None:
        """Let every trigger of the day arrive later, by the delay; few columns have one on the same day."""
        hit = np.flatnonzero(trigger > 0.0)
        if not hit.size:
            return
        brought = impulse(trigger[hit], self._rings.drought_days[hit], unprimed_share=self._rates.unprimed_share)
        rows = (self._day + self._lags) % KERNEL_DAYS
        if hit.size * DENSE_FROM < trigger.size:
            self._rings.coming[np.ix_(rows, hit)] += self._weights[:, None] * brought
            return
        # Many at once: whole rows are faster than picked columns, and a zero changes nothing.
        whole = np.zeros_like(trigger)
        whole[hit] = brought
        for row, weight in zip(rows, self._weights, strict=True):
            self._rings.coming[row] += weight * whole
