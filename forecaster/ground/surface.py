"""A playing surface and what it is made of, as the user described it. Frozen; checked when read from config/."""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.ground.ring import Ring
from forecaster.ground.rootzone import RootZone, TurfType


@dataclass(frozen=True)
class Irrigation:
    """A watering plan: a fixed amount every few days within some months, in local days. Status: assumption until a log says more."""

    amount_mm: float
    every_days: int
    first_month: int
    last_month: int
    """A last month before the first wraps over the year's end."""


@dataclass(frozen=True)
class Surface:
    """One pitch, green or outfield. Local metres have their origin at one corner, x along the length."""

    id: str
    name: str
    use: str
    length_m: float
    width_m: float
    root_zone: RootZone
    turf: TurfType
    irrigation: Irrigation | None
    rings: tuple[Ring, ...] = ()

    @property
    def area_m2(self) -> float:
        """Length times width [m²]."""
        return self.length_m * self.width_m
