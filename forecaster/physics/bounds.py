"""Within which bounds a place, a day or an instrument can lie at all: declared once, checked wherever a kernel takes a scalar."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Values = float | npt.NDArray[np.float64]


@dataclass(frozen=True)
class Bounds:
    """A quantity with its unit and the values it can have, both ends included."""

    quantity: str
    unit: str
    lowest: float
    highest: float

    def __str__(self) -> str:
        return f"from {self.lowest:g} to {self.highest:g} {self.unit}".rstrip()

    def hold(self, value: float) -> bool:
        """Say whether a number lies within; NaN and infinity do not."""
        return bool(self.lowest <= value <= self.highest)

    def require(self, value: Values) -> None:
        """Raise ValueError for a scalar outside. Arrays pass: they are weather or places by the thousand, checked where they are made."""
        if np.ndim(value) == 0 and not self.lowest <= value <= self.highest:
            raise ValueError(f"{self.quantity} must be {self}, got {value}")

    def require_unless_missing(self, value: Values) -> None:
        """The same for weather, where a scalar NaN is a missing value and passes."""
        if np.ndim(value) == 0 and not np.isnan(value):
            self.require(value)


LATITUDE = Bounds("latitude", "°", -90.0, 90.0)
LONGITUDE = Bounds("longitude", "°", -180.0, 180.0)
# From the shore of the Dead Sea to just above the highest mountain.
ELEVATION = Bounds("elevation", "m", -430.0, 9000.0)
# Below it the logarithm of FAO-56 eq. 47 has no meaning (the grass itself is 0.12 m high); above it no mast stands.
WIND_HEIGHT = Bounds("wind height", "m", 0.5, 200.0)
DAY_OF_YEAR = Bounds("day of the year", "", 1.0, 366.0)
ALBEDO = Bounds("albedo", "", 0.0, 1.0)
# FAO-56 below eq. 50: kRs runs from about 0.16 inland to 0.19 at coasts; twice and half of that are no longer that equation.
TEMPERATURE_RANGE_ADJUSTMENT = Bounds("adjustment kRs", "°C^-0.5", 0.08, 0.4)

# Weather as single numbers: wider than any place has seen, narrow enough to tell kelvin, fractions, hPa or W/m² from what is asked for.
TEMPERATURE = Bounds("temperature", "°C", -100.0, 100.0)
RELATIVE_HUMIDITY = Bounds("relative humidity", "%", 0.0, 100.0)
VAPOUR_PRESSURE = Bounds("vapour pressure", "kPa", 0.0, 12.0)
WIND_SPEED = Bounds("wind speed", "m/s", 0.0, 120.0)
SHORTWAVE = Bounds("solar radiation", "MJ/m²", -1.0, 50.0)
SUNSHINE = Bounds("sunshine", "h", 0.0, 24.0)
