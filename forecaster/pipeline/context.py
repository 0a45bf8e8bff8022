"""What a cycle works with: the checked configuration and the edges it may use."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import requests
from sqlalchemy import Engine

from forecaster.delivery.outbox import Mailer
from forecaster.errors import ConfigurationError, Mistake
from forecaster.settings.configuration import Configuration
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.calendar_address import fetch_calendar
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.sources.sample import load_sample


def unbroken(*, patient: bool = False) -> AbstractContextManager[None]:
    """Nothing breaks the work off but an error."""
    return nullcontext()


@dataclass(frozen=True)
class Upkeep:
    """What keeps the program well when nobody looks; each None: not asked for."""

    heartbeat_url: str | None = None
    """Address outside that hears of every run of cycles."""
    backup_folder: Path | None = None
    backup_keep: int = 14
    disk_folder: Path | None = None
    """On the disk that is watched."""
    low_disk_mb: int = 500
    ground_mb: int = 200


@dataclass(frozen=True)
class Context:
    """Configuration, edges and clock of one process that runs cycles. ``clock`` gives tz-aware UTC."""

    configuration: Configuration
    engine: Engine
    mailer: Mailer
    sender: str
    public_url: str | None
    web_session: requests.Session
    open_meteo: OpenMeteo
    contact: str | None
    """How weather services can reach whoever runs this; None: those that ask for it are not asked."""
    operator_email: str | None
    """Who is told of trouble with services and of the program itself; None: nobody is."""
    met_norway_url: str
    nasa_power_url: str
    clock: Callable[[], datetime]
    owner: str
    """Name of this process in claims."""
    real_clock: Callable[[], datetime]
    """tz-aware UTC that goes on also where ``clock`` stands still for invented weather: a claim left behind must run out."""
    fetch_calendar: Callable[[str], bytes] = fetch_calendar
    """Gives the calendar at an address. Raises CalendarError."""
    upkeep: Upkeep = field(default_factory=Upkeep)
    breakable: Callable[..., AbstractContextManager[None]] = unbroken
    """Around work that an orderly stop of the process may break off; ``patient=True``: only some seconds after it was asked for."""


def fixed_now(configuration: Configuration) -> datetime | None:
    """The moment at which invented weather stands still, where all grounds are samples; None for real grounds, which live by the clock.

    Raises: ConfigurationError where sample grounds stand beside real ones: one program has one clock.
    """
    samples = [ground for ground in configuration.grounds if ground.sample]
    if not samples:
        return None
    if len(samples) < len(configuration.grounds):
        allowed = 'a ground of its own: the invented ground cannot stand beside real ones, delete its file or change source = "sample"'
        raise ConfigurationError([Mistake(f"grounds ({ground.id})", "weather.source", '"sample"', allowed) for ground in samples])
    return load_sample(shipped_folder("sample_weather")).now
