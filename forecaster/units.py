"""Unit conversions, done once, at the door.

Inside the program: °C, mm, m, m/s, W/m² (hourly), MJ/m²/d (daily), kPa, m³/m³, seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True)
class Conversion:
    """A unit of someone else's as ours: ``factor`` times the value, plus ``offset``."""

    factor: float
    offset: float = 0.0

    def __call__(self, value: float) -> float:
        """Convert one value; NaN stays NaN."""
        return self.factor * value + self.offset


_SAME = Conversion(1.0)
# All factors below are exact by definition: the inch is 25.4 mm, the mile 1609.344 m, the nautical mile 1852 m (international
# yard and pound 1959; SI brochure).
LENGTHS_IN_MM = {"mm": _SAME, "cm": Conversion(10.0), "inch": Conversion(25.4), "l/m²": _SAME}
TEMPERATURES_IN_C = {"°C": _SAME, "°F": Conversion(5.0 / 9.0, -160.0 / 9.0), "K": Conversion(1.0, -273.15)}
SPEEDS_IN_MS = {"m/s": _SAME, "km/h": Conversion(1.0 / 3.6), "mph": Conversion(1609.344 / 3600.0), "kn": Conversion(1852.0 / 3600.0)}
PERCENTAGES = {"%": _SAME, "1": Conversion(100.0)}
FRACTIONS = {"m³/m³": _SAME, "%": Conversion(0.01)}
POWERS_IN_WM2 = {"W/m²": _SAME, "kW/m²": Conversion(1000.0)}
# Radiation that was summed over an interval, in watt hours per square metre: divided by the interval's hours it is a mean in W/m².
ENERGIES_IN_WHM2 = {
    "Wh/m²": _SAME,
    "kWh/m²": Conversion(1000.0),
    "kJ/m²": Conversion(1e-3 / MEGAJOULES_PER_WATT_HOUR),
    "MJ/m²": Conversion(1.0 / MEGAJOULES_PER_WATT_HOUR),
    "J/cm²": Conversion(1e-2 / MEGAJOULES_PER_WATT_HOUR),
}
