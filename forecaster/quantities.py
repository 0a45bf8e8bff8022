"""The words everyone shares: severities, origins, repellency classes, and the risk quantities with their units.

Severity and certainty use the enumerations of OASIS CAP 1.2, an open standard.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """CAP 1.2 severity, the four words this program uses."""

    MINOR = "Minor"
    MODERATE = "Moderate"
    SEVERE = "Severe"
    EXTREME = "Extreme"

    @property
    def rank(self) -> int:
        """1 for Minor to 4 for Extreme; larger is worse."""
        return tuple(Severity).index(self) + 1


def trouble(severity: Severity | None, known: bool) -> float:
    """How bad a surface stands, for putting the worst first on pages and in mails; larger is worse.

    Extreme to Minor, with "not known" between Moderate and Minor, and quiet last. Not known with a last known severity counts as that.
    """
    speaking = float(severity.rank) if severity is not None else 0.0
    return speaking if known else max(speaking, Severity.MINOR.rank + 0.5)


class Certainty(StrEnum):
    """CAP 1.2 certainty."""

    OBSERVED = "Observed"
    LIKELY = "Likely"
    POSSIBLE = "Possible"
    UNLIKELY = "Unlikely"


class Origin(StrEnum):
    """Where a weather value comes from. A modelled value is never an observation, and pages say so."""

    OBSERVED = "observed"
    MODELLED = "modelled"
    FORECAST = "forecast"
    MISSING = "missing"


class TurfState(StrEnum):
    """The two soil columns of a surface: normal turf, and the repellent soil of a ring band or dry patch."""

    SOUND = "sound"
    BAND = "band"


# Water drop penetration time classes, upper limits in seconds.
# Source: Dekker & Jungerius 1990; Bisdom et al. 1993, Geoderma 56:105 (memory, two recollections agree). Status: published.
REPELLENCY_CLASSES: tuple[tuple[str, float], ...] = (
    ("wettable", 5.0),
    ("slight", 60.0),
    ("strong", 600.0),
    ("severe", 3600.0),
    ("extreme", math.inf),
)


def repellency_class(repellency_log10_s: float) -> str:
    """Name the class of a water drop penetration time given as log10 of seconds; a limit belongs to the class above it."""
    for name, upper in REPELLENCY_CLASSES:
        if repellency_log10_s < math.log10(upper):
            return name
    return REPELLENCY_CLASSES[-1][0]


@dataclass(frozen=True)
class RiskQuantity:
    """A number per surface and day that a rule may look at."""

    name: str
    unit: str
    meaning: str


# The registry that config/rules.toml is checked against and that risk.evaluate fills. Values are per local day.
RISK_QUANTITIES: dict[str, RiskQuantity] = {
    q.name: q
    for q in (
        RiskQuantity("sound_transpiration_deficit", "1", "1 - Ks of sound turf: the share of its transpiration that drought takes away"),
        RiskQuantity("band_transpiration_deficit", "1", "1 - Ks of the ring band or dry patch"),
        RiskQuantity("sound_available_water_fraction", "1", "water left in the sound root zone, as a share of what roots can take"),
        RiskQuantity("band_available_water_fraction", "1", "the same for the band"),
        RiskQuantity("sound_repellency_log10_s", "log10 s", "log10 of the water drop penetration time of sound turf"),
        RiskQuantity("band_repellency_log10_s", "log10 s", "log10 of the water drop penetration time of the band"),
        RiskQuantity("band_potential_repellency_log10_s", "log10 s", "how repellent the band can become when dry"),
        RiskQuantity(
            "sound_margin_to_critical_m3m3",
            "m³/m³",
            "surface water of sound turf above its critical content; negative means repellent side",
        ),
        RiskQuantity("band_margin_to_critical_m3m3", "m³/m³", "surface water of the band above its critical content"),
        RiskQuantity("band_water_lost_mm", "mm", "rain and irrigation of the day that does not enter the band's soil"),
        RiskQuantity("sound_water_lost_mm", "mm", "rain and irrigation of the day that does not enter sound soil"),
        RiskQuantity("band_water_lost_percent", "%", "the same as a share of the day's rain and irrigation, band"),
        RiskQuantity("rain_mm", "mm", "rain of the day"),
        RiskQuantity("rain_7_days_mm", "mm", "rain of this and the six days before"),
        RiskQuantity("dry_days", "d", "days in a row up to this one with less than 0.2 mm of rain"),
        RiskQuantity("et0_mm", "mm", "FAO-56 reference evapotranspiration of the day"),
        RiskQuantity("sound_green_cover", "1", "green cover of sound turf"),
        RiskQuantity("band_green_cover", "1", "green cover of the band"),
        RiskQuantity("sound_live_crowns", "1", "live crowns of sound turf"),
        RiskQuantity("band_live_crowns", "1", "live crowns of the band"),
        RiskQuantity("ring_contrast", "1", "green cover of sound turf minus that of the band: what people see as a ring"),
        RiskQuantity("flush_chance_7_days", "1", "chance that one given ring fruits in this and the next six days"),
        RiskQuantity("flush_chance_any_7_days", "1", "chance that at least one of the surveyed rings fruits in this and the next six days"),
        RiskQuantity("flush_hazard_per_day", "1/d", "fruiting hazard of one ring on the day"),
        RiskQuantity("soil_temperature_c", "°C", "soil temperature at 5 cm, mean of the day"),
        RiskQuantity("soil_temperature_5_days_c", "°C", "soil temperature at 5 cm, mean of this and the four days before"),
        RiskQuantity("air_temperature_max_c", "°C", "highest air temperature of the day"),
        RiskQuantity("air_temperature_min_c", "°C", "lowest air temperature of the day"),
        RiskQuantity("preventive_season_day", "d", "days since the 5-day soil temperature rose through the preventive threshold; 0 before"),
    )
}
