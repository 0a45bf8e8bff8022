"""Unit conversions, done once, at the door.

Inside the program: °C, mm, m, m/s, W/m² (hourly), MJ/m²/d (daily), kPa, m³/m³, seconds.
"""

from __future__ import annotations

# One hour of one watt per square metre is 3600 J/m² = 0.0036 MJ/m² (definition).
MEGAJOULES_PER_WATT_HOUR = 0.0036
# Kelvin offset as FAO-56 uses it in eq. 39 (Stefan-Boltzmann term); eq. 6 itself uses 273.
KELVIN_OFFSET_FAO56 = 273.16


def watts_hours_to_megajoules(watt_hours_per_m2: float) -> float:
    """Convert a sum of hourly mean W/m² (that is, Wh/m²) to MJ/m²."""
    return watt_hours_per_m2 * MEGAJOULES_PER_WATT_HOUR


def hectopascal_to_kilopascal(pressure_hpa: float) -> float:
    """Convert hPa to kPa."""
    return pressure_hpa / 10.0
