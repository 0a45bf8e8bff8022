"""From the soil simulation to the numbers that rules look at: one value per surface and local day, each under its shared name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.quantities import RISK_QUANTITIES
from forecaster.soil.simulate import Simulation
from forecaster.soil.spells import coming_sum, days_since_rising_through, dry_days, trailing_mean, trailing_sum
from forecaster.weather.daily import DailyWeather

Floats = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.intp]

# 55 °F, the lower end of 55-60 °F, as the mean of five days at 5 cm. Source: NC State turf alert, 10 March 2011; Univ. of Missouri
# update, 13 April 2011. Status: published (built for spring work on sand greens in the south-east of the US).
PREVENTIVE_THRESHOLD_C = 12.8
PREVENTIVE_MEAN_DAYS = 5
# So long below the threshold counts as a cold season. Status: assumption.
COLD_SEASON_DAYS = 14
# First treatment within a fortnight of the opening, the second 28 days later (28 d: Univ. of Missouri 2011). Status: assumption.
PREVENTIVE_WINDOW_DAYS = 42
FLUSH_DAYS = 7
RAIN_SUM_DAYS = 7


@dataclass(frozen=True)
class SurfaceColumns:
    """Where the two turf states of a surface stand in a simulation, with the numbers of the surface that do not change by day.

    ``sound``, ``band``: column numbers, or one for each member, shape (member,). ``irrigation_mm``: shape (day,), or (day, 1) with members
    [mm/d], as the simulation was given it. ``ring_count``: surveyed rings, all types.
    """

    sound: int | Numbers
    band: int | Numbers
    irrigation_mm: Floats
    critical_water_sound_m3m3: float
    critical_water_band_m3m3: float
    potential_repellency_band_log10_s: float
    ring_count: int


def chance_of_any(chance_of_one: Floats, *, count: int) -> Floats:
    """Chance that at least one of ``count`` things happens, each with the chance given, independently of the others.

    ``chance_of_one``: any shape [1]. None at all gives 0; NaN stays NaN. Rings of one surface share weather and soil, so independence
    overstates the chance of "at least one". Source: elementary probability; the independence is an assumption.
    """
    return np.where(np.isnan(chance_of_one), np.nan, 1.0 - (1.0 - chance_of_one) ** count)


def flush_chance(hazard_per_day: Floats, *, days: int = FLUSH_DAYS) -> Floats:
    """Chance that one given ring fruits on this day or the ``days`` - 1 after it: 1 - exp(-Σ h).

    ``hazard_per_day``: shape (day,) [1/d]. Days without a hazard, and days past the end of the series, are left out: on its last six
    days the result covers fewer days and is a lower bound. NaN on a day that is itself missing. Source: definition of a hazard rate.
    """
    return -np.expm1(-coming_sum(hazard_per_day, days=days))


def lost_percent(lost_mm: Floats, supplied_mm: Floats) -> Floats:
    """Share of the day's water that did not enter the soil [%]; 0 on a day without water. Arrays of shape (day,) [mm]; NaN stays NaN."""
    some = np.where(supplied_mm > 0.0, supplied_mm, 1.0)
    return np.where(supplied_mm > 0.0, 100.0 * lost_mm / some, 0.0 * (lost_mm + supplied_mm))


def risk_quantities(daily: DailyWeather, simulation: Simulation, columns: SurfaceColumns) -> dict[str, Floats]:
    """Fill every name of ``quantities.RISK_QUANTITIES`` for one surface.

    Returns arrays of shape (day,), or (day, member) where weather and columns are those of members, in the units of the registry. What
    rests on the soil is NaN on days that are not ``complete``; a weather value is NaN where it is itself missing, a sum or mean where any
    of its days is. Raises ValueError when the shapes do not fit.
    Source: definitions in the registry; thresholds named at the constants above.
    """
    count = len(daily.days)
    if simulation.depletion_mm.shape[0] != count or columns.irrigation_mm.shape[0] != count:
        raise ValueError(f"simulation and irrigation must cover the {count} days of the weather")
    sound, band = columns.sound, columns.band

    def state(series: Floats, column: int | Numbers) -> Floats:
        return np.where(daily.complete, series[:, column], np.nan)

    water_in = daily.rain_mm + columns.irrigation_mm
    band_lost = state(simulation.water_lost_mm, band)
    hazard = state(simulation.flush_hazard_per_day, sound)
    chance = flush_chance(hazard)
    cover_sound, cover_band = state(simulation.green_cover, sound), state(simulation.green_cover, band)
    soil_mean = trailing_mean(daily.soil_temperature_c, days=PREVENTIVE_MEAN_DAYS)
    quantities = {
        "sound_transpiration_deficit": 1.0 - state(simulation.stress_coefficient, sound),
        "band_transpiration_deficit": 1.0 - state(simulation.stress_coefficient, band),
        "sound_available_water_fraction": state(simulation.available_water_fraction, sound),
        "band_available_water_fraction": state(simulation.available_water_fraction, band),
        "sound_repellency_log10_s": state(simulation.repellency_log10_s, sound),
        "band_repellency_log10_s": state(simulation.repellency_log10_s, band),
        "band_potential_repellency_log10_s": np.where(daily.complete, columns.potential_repellency_band_log10_s, np.nan),
        "sound_margin_to_critical_m3m3": state(simulation.surface_water_m3m3, sound) - columns.critical_water_sound_m3m3,
        "band_margin_to_critical_m3m3": state(simulation.surface_water_m3m3, band) - columns.critical_water_band_m3m3,
        "band_water_lost_mm": band_lost,
        "sound_water_lost_mm": state(simulation.water_lost_mm, sound),
        "band_water_lost_percent": lost_percent(band_lost, water_in),
        "rain_mm": daily.rain_mm,
        "rain_7_days_mm": trailing_sum(daily.rain_mm, days=RAIN_SUM_DAYS),
        "dry_days": dry_days(daily.rain_mm),
        "et0_mm": daily.et0_mm,
        "sound_green_cover": cover_sound,
        "band_green_cover": cover_band,
        "sound_live_crowns": state(simulation.live_crowns, sound),
        "band_live_crowns": state(simulation.live_crowns, band),
        "ring_contrast": cover_sound - cover_band,
        "flush_chance_7_days": chance,
        "flush_chance_any_7_days": chance_of_any(chance, count=columns.ring_count),
        "flush_hazard_per_day": hazard,
        "soil_temperature_c": daily.soil_temperature_c,
        "soil_temperature_5_days_c": soil_mean,
        "air_temperature_max_c": daily.air_temperature_max_c,
        "air_temperature_min_c": daily.air_temperature_min_c,
        "preventive_season_day": days_since_rising_through(
            soil_mean,
            threshold=PREVENTIVE_THRESHOLD_C,
            below_for_days=COLD_SEASON_DAYS,
            closes_after_days=PREVENTIVE_WINDOW_DAYS,
        ),
    }
    if quantities.keys() != RISK_QUANTITIES.keys():
        raise ValueError(f"quantities and their registry differ: {sorted(quantities.keys() ^ RISK_QUANTITIES.keys())}")
    return quantities
