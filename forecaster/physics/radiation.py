"""Sun and longwave radiation at the surface, daily and hourly (FAO-56 chapter 3).

Source of every equation here: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, unless a docstring says otherwise.
Status: published. All arguments are numbers or arrays that broadcast against each other; NaN in, NaN out; a number (not an array) outside
its bounds raises ValueError: see bounds. Amounts are MJ/m² per day, in the
functions named hourly per hour. South and west are negative in degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.physics import bounds
from forecaster.units import KELVIN_OFFSET_FAO56

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Values = float | Floats

SOLAR_CONSTANT_MJ_PER_MIN = 0.0820  # Gsc [MJ/m²/min], eq. 21
STEFAN_BOLTZMANN_MJ_PER_DAY = 4.903e-9  # σ [MJ/m²/d/K⁴], eq. 39
ALBEDO = 0.23  # of the grass reference, eq. 38
ANGSTROM_A, ANGSTROM_B = 0.25, 0.50  # as and bs where nothing was calibrated, eq. 35
MILLIMETRES_PER_MEGAJOULE = 0.408  # 1/λ at about 20 °C, eq. 20
# kRs of eq. 50: where land masses dominate, and on or near the coast of a large water body.
TEMPERATURE_RANGE_INLAND, TEMPERATURE_RANGE_COAST = 0.16, 0.19


# Rs/Rso of a night whose afternoon is not known. FAO-56 below eq. 39: 0.4-0.6 in humid and 0.7-0.8 in arid places.
NIGHT_CLOUD_RATIO_HUMID, NIGHT_CLOUD_RATIO_ARID = 0.6, 0.75
# Hour angles before sunset [rad] between which lies the late afternoon whose Rs/Rso stands for the night: two to three hours before
# sunset, "before the sun angle becomes small". FAO-56 below eq. 39.
AFTERNOON_STARTS_RAD, AFTERNOON_ENDS_RAD = 0.79, 0.52


@dataclass(frozen=True)
class CloudRatioLimits:
    """Between which values Rs/Rso is kept in the net longwave term, and what it is where the sun does not rise.

    ``without_sun``: also for nights without a late-afternoon value.
    """

    lowest: float
    highest: float
    without_sun: float = NIGHT_CLOUD_RATIO_HUMID


# The choice is worth up to 0.6 mm/d of ET0 on dark winter days. ASCE-EWRI 2005 keeps [0.3, 1], FAO-56 itself only caps at 1.
ASCE_2005_LIMITS = CloudRatioLimits(0.3, 1.0)
FAO56_LIMITS = CloudRatioLimits(0.0, 1.0)


def inverse_relative_distance(day_of_year: Values) -> Floats:
    """Inverse relative distance Earth-Sun [1] on a day of the year [1-366]. Source: FAO-56 eq. 23. Status: published."""
    bounds.DAY_OF_YEAR.require(day_of_year)
    return 1.0 + 0.033 * np.cos(2.0 * np.pi / 365.0 * np.asarray(day_of_year))


def solar_declination(day_of_year: Values) -> Floats:
    """Declination of the sun [rad] on a day of the year [1-366]. Source: FAO-56 eq. 24. Status: published."""
    bounds.DAY_OF_YEAR.require(day_of_year)
    return 0.409 * np.sin(2.0 * np.pi / 365.0 * np.asarray(day_of_year) - 1.39)


def _minus_tangents(latitude_deg: Values, day_of_year: Values) -> Floats:
    """-tan(φ) tan(δ), whose arc cosine is the hour angle of the sunset: above 1 in polar night, below -1 in polar day."""
    bounds.LATITUDE.require(latitude_deg)
    return -np.tan(np.radians(latitude_deg)) * np.tan(solar_declination(day_of_year))


def sunset_hour_angle(latitude_deg: Values, day_of_year: Values) -> Floats:
    """Hour angle of the sunset [rad]: 0 in polar night, π in polar day.

    ``latitude_deg`` [°], ``day_of_year`` [1-366]; NaN in, NaN out. Raises ValueError for a scalar outside its bounds. Source: FAO-56
    eq. 25; the argument of the arc cosine is clamped to [-1, 1] because the equation has no solution beyond the polar circles. Status:
    published.
    """
    return np.arccos(np.clip(_minus_tangents(latitude_deg, day_of_year), -1.0, 1.0))


def extraterrestrial_radiation(latitude_deg: Values, day_of_year: Values) -> Floats:
    """Radiation at the top of the atmosphere on a horizontal plane, Ra [MJ/m²/d].

    ``latitude_deg`` [°], ``day_of_year`` [1-366]; NaN in, NaN out. Raises ValueError for a scalar outside its bounds. Source: FAO-56
    eq. 21. Status: published.
    """
    # Eq. 21 with cos(φ) cos(δ) taken out of the bracket, and no sine or cosine of a whole array: those are ten times as dear as a tangent.
    days = np.asarray(day_of_year)
    if days.ndim and np.issubdtype(days.dtype, np.integer) and days.size:
        if not (bounds.DAY_OF_YEAR.hold(days.min()) and bounds.DAY_OF_YEAR.hold(days.max())):
            raise ValueError(f"{bounds.DAY_OF_YEAR.quantity} must be {bounds.DAY_OF_YEAR}, got {days.min()} to {days.max()}")
        tan_delta, sun = _TAN_DECLINATION_OF_DAY[days], _SUN_OF_DAY[days]
    else:
        tan_delta, sun = np.tan(solar_declination(day_of_year)), _sun_of_day(day_of_year)
    bounds.LATITUDE.require(latitude_deg)
    tan_phi = np.tan(np.radians(latitude_deg))
    x = -tan_phi * tan_delta
    cos_ws = np.clip(x, -1.0, 1.0)
    sin_ws = np.sqrt((1.0 - cos_ws) * (1.0 + cos_ws))
    return sun / np.sqrt(1.0 + tan_phi * tan_phi) * (sin_ws - np.arccos(cos_ws) * x)


def _sun_of_day(day_of_year: Values) -> Floats:
    """Gsc dr cos(δ) with the factors of time in eq. 21 [MJ/m²/d]."""
    scale = 24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_PER_MIN
    return scale * inverse_relative_distance(day_of_year) * np.cos(solar_declination(day_of_year))


_TAN_DECLINATION_OF_DAY = np.tan(solar_declination(np.arange(367.0)))
_SUN_OF_DAY = _sun_of_day(np.arange(367.0))


def daylight_hours(latitude_deg: Values, day_of_year: Values) -> Floats:
    """Time between sunrise and sunset, N [h]. Arguments as sunset_hour_angle. Source: FAO-56 eq. 34. Status: published."""
    return 24.0 / np.pi * sunset_hour_angle(latitude_deg, day_of_year)


def seasonal_correction_h(day_of_year: Values) -> Floats:
    """Seasonal correction of solar time, Sc [h], on a day of the year [1-366]. Source: FAO-56 eqs 32 and 33. Status: published."""
    b = 2.0 * np.pi * (np.asarray(day_of_year) - 81.0) / 364.0
    return 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)


def solar_time_angle(clock_h: Values, longitude_deg: Values, zone_meridian_deg: Values, day_of_year: Values) -> Floats:
    """Angle of the sun from noon [rad], in [-π, π), at a standard clock time [h]: the middle of the period.

    ``longitude_deg`` of the place and ``zone_meridian_deg`` of the clock [° east; the paper counts west]; 0 for UTC. NaN in, NaN out.
    Raises ValueError for a scalar longitude outside -180 to 180. Source: FAO-56 eq. 31. Status: published.
    """
    bounds.LONGITUDE.require(longitude_deg)
    clock = np.asarray(clock_h) + (np.asarray(longitude_deg) - zone_meridian_deg) / 15.0 + seasonal_correction_h(day_of_year)
    return np.pi / 12.0 * (np.mod(clock, 24.0) - 12.0)


def extraterrestrial_radiation_hourly(latitude_deg: Values, day_of_year: Values, solar_angle: Values) -> Floats:
    """Radiation at the top of the atmosphere in the hour around a solar time angle, Ra [MJ/m²/h]; 0 at night.

    ``latitude_deg`` [°], ``day_of_year`` [1-366], ``solar_angle`` [rad] at the middle of the hour; NaN in, NaN out. Source: FAO-56 eqs
    28-30; the hour is cut off at sunrise and sunset as in ASCE-EWRI 2005. Status: published.
    """
    phi, delta, ws = np.radians(latitude_deg), solar_declination(day_of_year), sunset_hour_angle(latitude_deg, day_of_year)
    half = np.pi / 24.0
    # In polar day nothing is cut off: the hour around midnight reaches beyond ±π.
    last = np.where(ws < np.pi, ws, np.inf)
    starts = np.clip(np.asarray(solar_angle) - half, -last, last)
    ends = np.clip(np.asarray(solar_angle) + half, -last, last)
    path = (ends - starts) * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * (np.sin(ends) - np.sin(starts))
    return 12.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_PER_MIN * inverse_relative_distance(day_of_year) * path


def shortwave_from_sunshine(sunshine_h: Values, daylight_h: Values, extraterrestrial_mj: Values) -> Floats:
    """Solar radiation Rs [MJ/m²/d] from hours of bright sunshine and of daylight [h] and Ra [MJ/m²/d].

    NaN in, NaN out; daylight must be above 0. Source: FAO-56 eq. 35. Status: published.
    """
    bounds.SUNSHINE.require_unless_missing(sunshine_h)
    return (ANGSTROM_A + ANGSTROM_B * np.asarray(sunshine_h) / daylight_h) * extraterrestrial_mj


def shortwave_from_temperature_range(
    air_temperature_max_c: Values,
    air_temperature_min_c: Values,
    extraterrestrial_mj: Values,
    *,
    adjustment: float = TEMPERATURE_RANGE_INLAND,
) -> Floats:
    """Solar radiation Rs [MJ/m²/d] from the day's temperature range [°C] and Ra [MJ/m²/d]: clear days have cold nights.

    NaN in, NaN out, and NaN where the lowest temperature is above the highest. Raises ValueError for an adjustment outside 0.08 to 0.4.
    Source: FAO-56 eq. 50, kRs 0.16 inland, 0.19 at coasts. Status: published.
    """
    bounds.TEMPERATURE_RANGE_ADJUSTMENT.require(adjustment)
    bounds.TEMPERATURE.require_unless_missing(air_temperature_max_c)
    bounds.TEMPERATURE.require_unless_missing(air_temperature_min_c)
    spread = np.asarray(air_temperature_max_c) - air_temperature_min_c
    return adjustment * np.sqrt(np.where(spread < 0.0, np.nan, spread)) * extraterrestrial_mj


def shortwave_on_island(extraterrestrial_mj: Values) -> Floats:
    """Solar radiation Rs [MJ/m²/d] on an island below 100 m from Ra [MJ/m²/d] alone: the sea hides the temperature range.

    Meant for months rather than days; not below 0. NaN in, NaN out. Source: FAO-56 eq. 51, b 4 MJ/m²/d. Status: published; floor: own.
    """
    return np.maximum(0.7 * np.asarray(extraterrestrial_mj, dtype=np.float64)[()] - 4.0, 0.0)


def clear_sky_radiation(extraterrestrial_mj: Values, elevation_m: Values) -> Floats:
    """Solar radiation of a clear sky, Rso, in the unit of Ra, at an elevation [m]. Source: FAO-56 eq. 37. Status: published."""
    bounds.ELEVATION.require(elevation_m)
    return (0.75 + 2e-5 * np.asarray(elevation_m)) * extraterrestrial_mj


def clear_sky_radiation_angstrom(extraterrestrial_mj: Values, *, a: float = ANGSTROM_A, b: float = ANGSTROM_B) -> Floats:
    """Solar radiation of a clear sky, Rso, where as and bs were calibrated. Source: FAO-56 eq. 36. Status: published."""
    return (a + b) * np.asarray(extraterrestrial_mj, dtype=np.float64)[()]


def net_shortwave(shortwave_mj: Values, *, albedo: float = ALBEDO) -> Floats:
    """Solar radiation that stays, Rns, in the unit of Rs. Source: FAO-56 eq. 38. Status: published."""
    bounds.ALBEDO.require(albedo)
    bounds.SHORTWAVE.require_unless_missing(shortwave_mj)
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


def cloud_ratio_of_hours(
    shortwave_mj: Floats,
    clear_sky_mj: Floats,
    solar_angle: Floats,
    sunset_angle: Floats,
    *,
    limits: CloudRatioLimits = ASCE_2005_LIMITS,
) -> tuple[Floats, Flags]:
    """Relative shortwave radiation Rs/Rso [1] of consecutive hours, carried through the night; and where it had to be assumed.

    Rs and Rso in one unit, angles [rad] of the middle of each hour; shape (hour,) or (hour, place), broadcastable. While the sun is high
    the hour's own ratio counts. From 0.52 rad (two hours) before sunset until as long after sunrise Rs and Rso are small and their ratio
    means nothing: there the last ratio of the late afternoon (ws-0.79 ≤ ω ≤ ws-0.52) stands, or ``limits.without_sun`` where that
    afternoon is not known or has no such hour. NaN in a high hour gives NaN. Source: FAO-56 below eq. 39; the morning: ASCE-EWRI 2005
    eq. 45 (memory). Status: published.
    """
    ratio = np.atleast_1d(cloud_ratio(shortwave_mj, clear_sky_mj, limits=limits))
    angle, sunset = np.broadcast_to(solar_angle, ratio.shape), np.broadcast_to(sunset_angle, ratio.shape)
    high = np.abs(angle) <= sunset - AFTERNOON_ENDS_RAD
    late = high & (angle >= sunset - AFTERNOON_STARTS_RAD) & np.isfinite(ratio)
    hour = np.arange(len(ratio)).reshape(-1, *([1] * (ratio.ndim - 1)))
    last_late = np.maximum.accumulate(np.where(late, hour, -1), axis=0)
    # A day later the next afternoon has been: its own night must not take the one before.
    known = (last_late >= 0) & (hour - last_late < 24)
    carried = np.take_along_axis(ratio, np.maximum(last_late, 0), axis=0)
    assumed = ~high & ~known
    return np.where(high, ratio, np.where(known, carried, limits.without_sun)), assumed


def net_longwave(
    air_temperature_max_c: Values,
    air_temperature_min_c: Values,
    vapour_pressure_kpa: Values,
    cloud_ratio: Values,
    *,
    stefan_boltzmann_mj: float = STEFAN_BOLTZMANN_MJ_PER_DAY,
) -> Floats:
    """Longwave radiation lost by the surface in a day, Rnl [MJ/m²/d].

    Temperatures [°C], vapour pressure [kPa], cloud_ratio Rs/Rso [1]; NaN in, NaN out. Source: FAO-56 eq. 39. Status: published.
    """
    bounds.TEMPERATURE.require_unless_missing(air_temperature_max_c)
    bounds.TEMPERATURE.require_unless_missing(air_temperature_min_c)
    bounds.VAPOUR_PRESSURE.require_unless_missing(vapour_pressure_kpa)
    warm, cold = np.asarray(air_temperature_max_c) + KELVIN_OFFSET_FAO56, np.asarray(air_temperature_min_c) + KELVIN_OFFSET_FAO56
    # Squares of squares: a general power is ten times as dear.
    black_body = stefan_boltzmann_mj * (np.square(warm * warm) + np.square(cold * cold)) / 2.0
    return black_body * (0.34 - 0.14 * np.sqrt(vapour_pressure_kpa)) * (1.35 * np.asarray(cloud_ratio) - 0.35)


def net_longwave_hourly(
    air_temperature_c: Values,
    vapour_pressure_kpa: Values,
    cloud_ratio: Values,
    *,
    stefan_boltzmann_mj: float = STEFAN_BOLTZMANN_MJ_PER_DAY,
) -> Floats:
    """Longwave radiation lost by the surface in an hour, Rnl [MJ/m²/h]; at night the ratio of the late afternoon is carried.

    Temperature [°C], vapour pressure [kPa], cloud_ratio Rs/Rso [1]; NaN in, NaN out. Source: FAO-56 eq. 39, σ/24. Status: published.
    """
    daily = net_longwave(air_temperature_c, air_temperature_c, vapour_pressure_kpa, cloud_ratio, stefan_boltzmann_mj=stefan_boltzmann_mj)
    return daily / 24.0


def net_radiation(net_shortwave_mj: Values, net_longwave_mj: Values) -> Floats:
    """Net radiation Rn in the unit of its terms. Source: FAO-56 eq. 40. Status: published."""
    return np.asarray(net_shortwave_mj, dtype=np.float64)[()] - net_longwave_mj
