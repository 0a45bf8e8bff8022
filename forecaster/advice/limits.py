"""Where a booking check draws its lines; the numbers live in config/operations.toml, each with its source."""

from __future__ import annotations

from datetime import time

from forecaster.documents import Document
from forecaster.quantities import Severity


class BookingLimits(Document):
    """The limits of a booking check, as the cycle stores them for the web process."""

    rain_look_first_mm: float
    """Rain of a day [mm] from which, on full soil or where the hours are not known, the surface is looked at first."""
    rain_keep_off_mm: float
    """Rain of a day [mm] from which full soil is too soft to play on."""
    full_soil_share: float
    """Water left for roots, as a share of what they can take, from which the soil counts as full."""
    hard_ground_share: float
    """The same share, below which the ground counts as hard."""
    frost_air_c: float
    """Lowest air temperature of a day [°C] at or below which the leaf counts as frozen in the morning."""
    frost_until: time
    """Local time until which a frost of the night counts, where the hours are not known."""
    frozen_soil_c: float
    """Soil temperature at 5 cm [°C] at or below which the ground counts as frozen."""
    dormant_stress: float
    """Stress coefficient below which brown turf counts as dormant from drought."""
    dormant_look_first_cover: float
    """Green cover below which dormant turf is looked at first."""
    dormant_keep_off_cover: float
    """Green cover below which dormant turf is kept clear of traffic."""
    flush_chance: float
    """Chance of toadstools on a ring within the week up to the day from which they are looked for before children play."""
    fruit_bodies_days: int
    """Days for which toadstools that somebody saw are looked for again."""
    treatment_hours: float
    """Hours after a treatment without a stated keep-off time in which the surface is looked at first."""
    alert_severity: Severity
    """Severity of an open alert from which the surface is looked at first."""
    earliest_start: time
    """Local time from which a better slot is looked for."""
    latest_end: time
    """Local time at which a better slot ends at the latest."""
