"""A ground: the place, its surfaces, who is told, and where its weather comes from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import time
from typing import Literal
from zoneinfo import ZoneInfo

from forecaster.ground.fixture import Fixture
from forecaster.ground.onsite import OnsiteSource
from forecaster.ground.surface import Surface


@dataclass(frozen=True)
class Recipient:
    """Someone who gets the daily message of a ground, at a local time of day."""

    id: str
    email: str
    daily_at: time


@dataclass(frozen=True)
class WeatherChoice:
    """Where a ground's weather comes from. ``path`` (absolute) for csv and sample, None for open-meteo."""

    source: Literal["open-meteo", "csv", "sample"]
    path: str | None = None


@dataclass(frozen=True)
class Ground:
    """One place with its surfaces."""

    id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    time_zone: ZoneInfo
    weather: WeatherChoice
    surfaces: tuple[Surface, ...]
    recipients: tuple[Recipient, ...] = ()
    fixtures: tuple[Fixture, ...] = field(default=())
    onsite: tuple[OnsiteSource, ...] = ()
    """The ground's own instruments and logs."""

    @property
    def sample(self) -> bool:
        """True for an invented ground on invented weather: everything shown says so."""
        return self.weather.source == "sample"
