"""Water vapour in air: saturation, actual vapour pressure, pressure of the air (FAO-56 chapter 3).

Source of every equation here: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56. Status: published.
All arguments are numbers or arrays that broadcast against each other; the result has the broadcast shape; NaN in, NaN out. A number (not
an array) outside its bounds raises ValueError: see bounds.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from forecaster.physics import bounds

Floats = npt.NDArray[np.float64]
Values = float | Floats

# Psychrometer coefficients [per °C], FAO-56 below eq. 16.
VENTILATED_PSYCHROMETER = 0.000662
NATURALLY_VENTILATED_PSYCHROMETER = 0.000800
INDOOR_PSYCHROMETER = 0.001200
# The factors before the exponential of eq. 13 in one; ASCE-EWRI 2005 rounds it to 2503 (eq. 5, memory).
SLOPE_CONSTANT_KPA_C = 4098.0 * 0.6108
# FAO-56 below eq. 48: in dry places the air is not cooled down to its dew point at night; take 2-3 °C off the minimum.
ARID_DEW_POINT_BELOW_MINIMUM_C = 2.0


def saturation_vapour_pressure(air_temperature_c: Values) -> Floats:
    """Saturation vapour pressure [kPa] at a temperature [°C]; of the dew point it is the actual one (eqs 11 and 14).

    NaN in, NaN out. Source: FAO-56 eq. 11. Status: published.
    """
    bounds.TEMPERATURE.require_unless_missing(air_temperature_c)
    t = np.asarray(air_temperature_c, dtype=np.float64)[()]
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


def mean_saturation_vapour_pressure(air_temperature_max_c: Values, air_temperature_min_c: Values) -> Floats:
    """Mean saturation vapour pressure of a day [kPa] from its highest and lowest temperature [°C].

    Not the pressure at the mean temperature, which is too low because the curve bends. NaN in, NaN out. Source: FAO-56 eq. 12.
    Status: published.
    """
    return (saturation_vapour_pressure(air_temperature_max_c) + saturation_vapour_pressure(air_temperature_min_c)) / 2.0


def slope_of_saturation(air_temperature_c: Values, *, constant_kpa_c: float = SLOPE_CONSTANT_KPA_C) -> Floats:
    """Slope of the saturation vapour pressure curve [kPa/°C] at a temperature [°C].

    NaN in, NaN out. Source: FAO-56 eq. 13. Status: published.
    """
    bounds.TEMPERATURE.require_unless_missing(air_temperature_c)
    t = np.asarray(air_temperature_c, dtype=np.float64)[()]
    above = t + 237.3
    return constant_kpa_c * np.exp(17.27 * t / above) / (above * above)


def atmospheric_pressure(elevation_m: Values) -> Floats:
    """Mean pressure of the air [kPa] at an elevation [m].

    NaN in, NaN out. Raises ValueError for a scalar outside -430 to 9000 m. Source: FAO-56 eq. 7 (20 °C standard atmosphere). Status:
    published.
    """
    bounds.ELEVATION.require(elevation_m)
    z = np.asarray(elevation_m, dtype=np.float64)[()]
    return 101.3 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26


def psychrometric_constant(pressure_kpa: Values) -> Floats:
    """Psychrometric constant [kPa/°C] at a pressure of the air [kPa].

    NaN in, NaN out. Source: FAO-56 eq. 8. Status: published.
    """
    return 0.000665 * np.asarray(pressure_kpa, dtype=np.float64)[()]


def vapour_pressure_from_dew_point(dew_point_c: Values) -> Floats:
    """Actual vapour pressure [kPa] from the dew point [°C].

    NaN in, NaN out. Source: FAO-56 eq. 14. Status: published.
    """
    return saturation_vapour_pressure(dew_point_c)


def dew_point_from_minimum(air_temperature_min_c: Values, *, arid: bool = False) -> Floats:
    """Dew point [°C] where humidity is not known: the lowest temperature of the day [°C], in dry places 2 °C below it.

    Holds where the air is cooled down to saturation before dawn: over well-watered ground. NaN in, NaN out. Source: FAO-56 eq. 48 and its
    note on arid regions. Status: published.
    """
    return np.asarray(air_temperature_min_c, dtype=np.float64)[()] - (ARID_DEW_POINT_BELOW_MINIMUM_C if arid else 0.0)


def vapour_pressure_from_psychrometer(
    dry_bulb_c: Values, wet_bulb_c: Values, pressure_kpa: Values, *, coefficient_per_c: float = VENTILATED_PSYCHROMETER
) -> Floats:
    """Actual vapour pressure [kPa] from dry and wet bulb [°C] and the pressure of the air [kPa].

    NaN in, NaN out. Source: FAO-56 eqs 15 and 16. Status: published.
    """
    return saturation_vapour_pressure(wet_bulb_c) - coefficient_per_c * np.asarray(pressure_kpa)[()] * (np.asarray(dry_bulb_c) - wet_bulb_c)


def vapour_pressure_from_humidity_extremes(
    air_temperature_max_c: Values,
    air_temperature_min_c: Values,
    relative_humidity_max_percent: Values,
    relative_humidity_min_percent: Values,
) -> Floats:
    """Actual vapour pressure of a day [kPa] from the extremes of temperature [°C] and relative humidity [%].

    NaN in, NaN out. Source: FAO-56 eq. 17. Status: published.
    """
    bounds.RELATIVE_HUMIDITY.require_unless_missing(relative_humidity_max_percent)
    bounds.RELATIVE_HUMIDITY.require_unless_missing(relative_humidity_min_percent)
    morning = saturation_vapour_pressure(air_temperature_min_c) * relative_humidity_max_percent / 100.0
    afternoon = saturation_vapour_pressure(air_temperature_max_c) * relative_humidity_min_percent / 100.0
    return (morning + afternoon) / 2.0


def vapour_pressure_from_highest_humidity(air_temperature_min_c: Values, relative_humidity_max_percent: Values) -> Floats:
    """Actual vapour pressure of a day [kPa] where only the highest relative humidity [%] can be trusted.

    NaN in, NaN out. Source: FAO-56 eq. 18. Status: published.
    """
    bounds.RELATIVE_HUMIDITY.require_unless_missing(relative_humidity_max_percent)
    return saturation_vapour_pressure(air_temperature_min_c) * relative_humidity_max_percent / 100.0


def vapour_pressure_from_mean_humidity(
    air_temperature_max_c: Values, air_temperature_min_c: Values, relative_humidity_mean_percent: Values
) -> Floats:
    """Actual vapour pressure of a day [kPa] from the mean relative humidity [%]; less good than the other ways.

    NaN in, NaN out. Source: FAO-56 eq. 19. Status: published.
    """
    bounds.RELATIVE_HUMIDITY.require_unless_missing(relative_humidity_mean_percent)
    return mean_saturation_vapour_pressure(air_temperature_max_c, air_temperature_min_c) * relative_humidity_mean_percent / 100.0
