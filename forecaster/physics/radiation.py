"""Sun and longwave radiation at the surface, daily and hourly (FAO-56 chapter 3).

Source of every equation here: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, unless a docstring says otherwise.
Status: published. All arguments are numbers or arrays that broadcast against each other; NaN in, NaN out. Amounts are MJ/m² per day, in the
functions named hourly per hour. South and west are negative in degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.units import KELVIN_OFFSET_FAO56

Floats = npt.NDArray[np.float64]
Values = float | Floats

SOLAR_CONSTANT_MJ_PER_MIN = 0.0820  # Gsc [MJ/m²/min], eq. 21
STEFAN_BOLTZMANN_MJ_PER_DAY = 4.903e-9  # σ [MJ/m²/d/K⁴], eq. 39
ALBEDO = 0.23  # of the grass reference, eq. 38
ANGSTROM_A, ANGSTROM_B = 0.25, 0.50  # as and bs where nothing was calibrated, eq. 35
MILLIMETRES_PER_MEGAJOULE = 0.408  # 1/λ at about 20 °C, eq. 20
# kRs of eq. 50: where land masses dominate, and on or near the coast of a large water body.
TEMPERATURE_RANGE_INLAND, TEMPERATURE_RANGE_COAST = 0.16, 0.19


@dataclass(frozen=True)
class CloudRatioLimits:
    """Between which values Rs/Rso is kept in the net longwave term, and what it is where the sun does not rise.

    ``without_sun`` 0.6: the humid end of what FAO-56 suggests for nights without a late-afternoon value (0.4-0.6 humid, 0.7-0.8 arid).
    """

    lowest: float
    highest: float
    without_sun: float = 0.6


# The choice is worth up to 0.6 mm/d of ET0 on dark winter days. ASCE-EWRI 2005 keeps [0.3, 1], FAO-56 itself only caps at 1.
ASCE_2005_LIMITS = CloudRatioLimits(0.3, 1.0)
FAO56_LIMITS = CloudRatioLimits(0.0, 1.0)


def inverse_relative_distance(day_of_year: Values) -> Floats:
    """Inverse relative distance Earth-Sun [1] on a day of the year [1-366]. Source: FAO-56 eq. 23. Status: published."""
    return 1.0 + 0.033 * np.cos(2.0 * np.pi / 365.0 * np.asarray(day_of_year))


def solar_declination(day_of_year: Values) -> Floats:
    """Declination of the sun [rad] on a day of the year [1-366]. Source: FAO-56 eq. 24. Status: published."""
    return 0.409 * np.sin(2.0 * np.pi / 365.0 * np.asarray(day_of_year) - 1.39)


def sunset_hour_angle(latitude_deg: Values, day_of_year: Values) -> Floats:
    """Hour angle of the sunset [rad]: 0 in polar night, π in polar day.

    ``latitude_deg`` [°], ``day_of_year`` [1-366]; NaN in, NaN out. Source: FAO-56 eq. 25; the argument of the arc cosine is clamped to
    [-1, 1] because the equation has no solution beyond the polar circles. Status: published.
    """
    argument = -np.tan(np.radians(latitude_deg)) * np.tan(solar_declination(day_of_year))
    return np.arccos(np.clip(argument, -1.0, 1.0))


def extraterrestrial_radiation(latitude_deg: Values, day_of_year: Values) -> Floats:
    """Radiation at the top of the atmosphere on a horizontal plane, Ra [MJ/m²/d].

    ``latitude_deg`` [°], ``day_of_year`` [1-366]; NaN in, NaN out. Source: FAO-56 eq. 21. Status: published.
    """
    phi, delta, ws = np.radians(latitude_deg), solar_declination(day_of_year), sunset_hour_angle(latitude_deg, day_of_year)
    path = ws * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(ws)
    return 24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_PER_MIN * inverse_relative_distance(day_of_year) * path


def daylight_hours(latitude_deg: Values, day_of_year: Values) -> Floats:
    """Time between sunrise and sunset, N [h]. Arguments as sunset_hour_angle. Source: FAO-56 eq. 34. Status: published."""
    return 24.0 / np.pi * sunset_hour_angle(latitude_deg, day_of_year)


def seasonal_correction_h(day_of_year: Values) -> Floats:
    """Seasonal correction of solar time, Sc [h], on a day of the year [1-366]. Source: FAO-56 eqs 32 and 33. Status: published."""
    b = 2.0 * np.pi * (np.asarray(day_of_year) - 81.0) / 364.0
    return 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)


def solar_time_angle(clock_h: Values, longitude_deg: Values, zone_meridian_deg: Values, day_of_year: Values) -> Floats:
    """Angle of the sun from noon [rad], in (-π, π], at a standard clock time [h]: the middle of the period.

    ``longitude_deg`` of the place and ``zone_meridian_deg`` of the clock [° east; the paper counts west]; 0 for UTC. NaN in, NaN out.
    Source: FAO-56 eq. 31. Status: published.
    """
    clock = np.asarray(clock_h) + (np.asarray(longitude_deg) - zone_meridian_deg) / 15.0 + seasonal_correction_h(day_of_year)
    return np.pi / 12.0 * (np.mod(clock, 24.0) - 12.0)


def extraterrestrial_radiation_hourly(latitude_deg: Values, day_of_year: Values, solar_angle: Values) -> Floats:
    """Radiation at the top of the atmosphere in the hour around a solar time angle, Ra [MJ/m²/h]; 0 at night.

    ``latitude_deg`` [°], ``day_of_year`` [1-366], ``solar_angle`` [rad] at the middle of the hour; NaN in, NaN out. Source: FAO-56 eqs
    28-30; the hour is cut off at sunrise and sunset as in ASCE-EWRI 2005. Status: published.
    """
    phi, delta, ws = np.radians(latitude_deg), solar_declination(day_of_year), sunset_hour_angle(latitude_deg, day_of_year)
    half = np.pi / 24.0
    starts = np.clip(np.asarray(solar_angle) - half, -ws, ws)
    ends = np.clip(np.asarray(solar_angle) + half, -ws, ws)
    path = (ends - starts) * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * (np.sin(ends) - np.sin(starts))
    return 12.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_PER_MIN * inverse_relative_distance(day_of_year) * path


def shortwave_from_sunshine(sunshine_h: Values, daylight_h: Values, extraterrestrial_mj: Values) -> Floats:
    """Solar radiation Rs [MJ/m²/d] from hours of bright sunshine and of daylight [h] and Ra [MJ/m²/d].

    NaN in, NaN out; daylight must be above 0. Source: FAO-56 eq. 35. Status: published.
    """
    return (ANGSTROM_A + ANGSTROM_B * np.asarray(sunshine_h) / daylight_h) * extraterrestrial_mj


def shortwave_from_temperature_range(
    air_temperature_max_c: Values,
    air_temperature_min_c: Values,
    extraterrestrial_mj: Values,
    *,
    adjustment: float = TEMPERATURE_RANGE_INLAND,
) -> Floats:
    """Solar radiation Rs [MJ/m²/d] from the day's temperature range [°C] and Ra [MJ/m²/d]: clear days have cold nights.

    NaN in, NaN out. Source: FAO-56 eq. 50, kRs 0.16 inland, 0.19 at coasts. Status: published.
    """
    return adjustment * np.sqrt(np.asarray(air_temperature_max_c) - air_temperature_min_c) * extraterrestrial_mj


def clear_sky_radiation(extraterrestrial_mj: Values, elevation_m: Values) -> Floats:
    """Solar radiation of a clear sky, Rso, in the unit of Ra, at an elevation [m]. Source: FAO-56 eq. 37. Status: published."""
    return (0.75 + 2e-5 * np.asarray(elevation_m)) * extraterrestrial_mj


def clear_sky_radiation_angstrom(extraterrestrial_mj: Values, *, a: float = ANGSTROM_A, b: float = ANGSTROM_B) -> Floats:
    """Solar radiation of a clear sky, Rso, where as and bs were calibrated. Source: FAO-56 eq. 36. Status: published."""
    return (a + b) * np.asarray(extraterrestrial_mj, dtype=np.float64)[()]


def net_shortwave(shortwave_mj: Values, *, albedo: float = ALBEDO) -> Floats:
    """Solar radiation that stays, Rns, in the unit of Rs. Source: FAO-56 eq. 38. Status: published."""
    return (1.0 - albedo) * np.asarray(shortwave_mj, dtype=np.float64)[()]


def cloud_ratio(shortwave_mj: Values, clear_sky_mj: Values, *, limits: CloudRatioLimits = ASCE_2005_LIMITS) -> Floats:
    """Relative shortwave radiation Rs/Rso [1], kept within limits: the measure of cloud in the longwave term.

    Both arguments in one unit; NaN in, NaN out; ``limits.without_sun`` where Rso is 0. Source: FAO-56 eq. 39 and its text; ASCE-EWRI 2005
    for the lower limit. Status: published; without sun: assumption.
    """
    rs, rso = np.broadcast_arrays(np.asarray(shortwave_mj, dtype=np.float64), np.asarray(clear_sky_mj, dtype=np.float64))
    dark = rso <= 0.0
    ratio: Floats = np.full(rs.shape, limits.without_sun)
    np.divide(rs, rso, out=ratio, where=~dark)
    return np.where(dark & np.isnan(rs), np.nan, np.clip(ratio, limits.lowest, limits.highest))[()]


def net_longwave(air_temperature_max_c: Values, air_temperature_min_c: Values, vapour_pressure_kpa: Values, cloud_ratio: Values) -> Floats:
    """Longwave radiation lost by the surface in a day, Rnl [MJ/m²/d].

    Temperatures [°C], vapour pressure [kPa], cloud_ratio Rs/Rso [1]; NaN in, NaN out. Source: FAO-56 eq. 39. Status: published.
    """
    warm, cold = np.asarray(air_temperature_max_c) + KELVIN_OFFSET_FAO56, np.asarray(air_temperature_min_c) + KELVIN_OFFSET_FAO56
    black_body = STEFAN_BOLTZMANN_MJ_PER_DAY * (warm**4 + cold**4) / 2.0
    return black_body * (0.34 - 0.14 * np.sqrt(vapour_pressure_kpa)) * (1.35 * np.asarray(cloud_ratio) - 0.35)


def net_longwave_hourly(air_temperature_c: Values, vapour_pressure_kpa: Values, cloud_ratio: Values) -> Floats:
    """Longwave radiation lost by the surface in an hour, Rnl [MJ/m²/h]; at night the ratio of the late afternoon is carried.

    Temperature [°C], vapour pressure [kPa], cloud_ratio Rs/Rso [1]; NaN in, NaN out. Source: FAO-56 eq. 39, σ/24. Status: published.
    """
    return net_longwave(air_temperature_c, air_temperature_c, vapour_pressure_kpa, cloud_ratio) / 24.0


def net_radiation(net_shortwave_mj: Values, net_longwave_mj: Values) -> Floats:
    """Net radiation Rn in the unit of its terms. Source: FAO-56 eq. 40. Status: published."""
    return np.asarray(net_shortwave_mj, dtype=np.float64)[()] - net_longwave_mj
