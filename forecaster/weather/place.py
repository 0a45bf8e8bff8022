"""Where the weather is."""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.physics import bounds


@dataclass(frozen=True)
class Place:
    """Degrees north and east, metres above the sea. Raises ValueError where no such place can be."""

    latitude: float
    longitude: float
    elevation_m: float

    def __post_init__(self) -> None:
        bounds.LATITUDE.require(self.latitude)
        bounds.LONGITUDE.require(self.longitude)
        bounds.ELEVATION.require(self.elevation_m)
