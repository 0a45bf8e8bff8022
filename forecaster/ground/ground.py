"""A ground: the place, its surfaces, who is told, and where its weather comes from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import time
from typing import Literal
from zoneinfo import ZoneInfo

from forecaster.ground.fixture import Fixture
from forecaster.ground.onsite import OnsiteSource
from forecaster.ground.surface import Surface

MailWish = Literal["daily", "on change", "severe only"]


@dataclass(frozen=True)
class Recipient:
    """Someone who gets mail of a ground. ``daily_at``: local time of day of the daily message.

    ``quiet_from``, ``quiet_until``: local times of day between which no mail is sent, over midnight where the first is the later one;
    both None where mail may come at any hour.
    """

    id: str
    email: str
    daily_at: time
    mail: MailWish = "daily"
    quiet_from: time | None = None
    quiet_until: time | None = None

    def quiet_at(self, at: time) -> bool:
        """Whether a local time of day lies in the quiet hours; their end does not."""
        if self.quiet_from is None or self.quiet_until is None:
            return False
        if self.quiet_from <= self.quiet_until:
            return self.quiet_from <= at < self.quiet_until
        return at >= self.quiet_from or at < self.quiet_until


@dataclass(frozen=True)
class WeatherChoice:
    """Where a ground's weather comes from. ``path`` (absolute) for csv and sample, None for open-meteo."""

    source: Literal["open-meteo", "csv", "sample"]
    path: str | None = None


@dataclass(frozen=True)
class TeamCalendar:
    """A calendar on the internet whose events are the ground's fixtures.

    ``surface_id``: where events are that name no surface; None: they are told and left out. The address is a secret of the team.
    """

    address: str = field(repr=False)
    surface_id: str | None = None


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
    calendar: TeamCalendar | None = None

    @property
    def sample(self) -> bool:
        """True for an invented ground on invented weather: everything shown says so."""
        return self.weather.source == "sample"
