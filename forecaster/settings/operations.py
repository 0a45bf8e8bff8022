"""operations.toml: where advice on using a surface draws its lines."""

from __future__ import annotations

from datetime import time
from typing import Annotated

from pydantic import Field

from forecaster.advice.limits import BookingLimits
from forecaster.quantities import Severity
from forecaster.settings.mistakes import Note
from forecaster.settings.reading import Entry

LocalTime = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$", description='a local time of day from "00:00" to "23:59"')]
Share = Annotated[float, Field(ge=0.0, le=1.0)]


class BookingEntry(Entry):
    """[booking]. Ranges: what could still be meant; a share of water of 1 is field capacity."""

    rain_look_first_mm: float = Field(ge=0.0, le=100.0)
    rain_keep_off_mm: float = Field(ge=0.0, le=200.0)
    full_soil_share: Share
    hard_ground_share: Share
    frost_air_c: float = Field(ge=-10.0, le=5.0)
    frost_until: LocalTime
    frozen_soil_c: float = Field(ge=-10.0, le=2.0)
    dormant_stress: Share
    dormant_look_first_cover: Share
    dormant_keep_off_cover: Share
    flush_chance: Share
    fruit_bodies_days: int = Field(ge=0, le=60)
    treatment_hours: float = Field(ge=0.0, le=240.0)
    alert_severity: str = Field(pattern="^(Minor|Moderate|Severe|Extreme)$", description="one of Minor, Moderate, Severe, Extreme")
    earliest_start: LocalTime
    latest_end: LocalTime

    def limits(self) -> BookingLimits:
        """The limits that the check works with."""
        times = {name: time.fromisoformat(getattr(self, name)) for name in ("frost_until", "earliest_start", "latest_end")}
        return BookingLimits(**(self.model_dump() | times | {"alert_severity": Severity(self.alert_severity)}))


class OperationsFile(Entry):
    """operations.toml."""

    booking: BookingEntry


def check_booking(entry: BookingEntry, note: Note) -> None:
    """What must go together: the graver limit lies beyond the lighter one, and the day has hours of play in it."""
    if entry.rain_keep_off_mm < entry.rain_look_first_mm:
        note("rain_keep_off_mm", entry.rain_keep_off_mm, f"at least rain_look_first_mm ({entry.rain_look_first_mm:g})")
    if entry.dormant_keep_off_cover > entry.dormant_look_first_cover:
        note(
            "dormant_keep_off_cover", entry.dormant_keep_off_cover, f"at most dormant_look_first_cover ({entry.dormant_look_first_cover:g})"
        )
    if entry.hard_ground_share >= entry.full_soil_share:
        note("hard_ground_share", entry.hard_ground_share, f"less than full_soil_share ({entry.full_soil_share:g})")
    if entry.latest_end <= entry.earliest_start:
        note("latest_end", entry.latest_end, f"later than earliest_start ({entry.earliest_start})")
