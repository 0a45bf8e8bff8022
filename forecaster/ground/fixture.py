"""A booked use of a surface."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

FixtureOrigin = Literal["configuration", "entered", "calendar"]


@dataclass(frozen=True)
class Fixture:
    """One booking. Times are tz-aware UTC."""

    id: str
    surface_id: str
    title: str
    starts_at: datetime
    ends_at: datetime
    origin: FixtureOrigin = "configuration"
