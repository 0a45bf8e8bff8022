"""model.toml: the numbers of the model that are the same for every surface."""

from __future__ import annotations

from pydantic import Field

from forecaster.settings.mistakes import MistakeList
from forecaster.settings.reading import Entry

SPLIT = ("lost_to_runoff", "lost_to_fingers", "lost_to_bypass")


class ModelFile(Entry):
    """model.toml, field for field ``soil.columns.ModelParameters``.

    The limits are wider than the ranges in the file's comments, so that a site may differ, and narrow enough to catch a slip of unit.
    """

    minimum_basal_coefficient: float = Field(ge=0.0, le=0.5)
    kc_max_base: float = Field(ge=1.0, le=1.4)
    kc_max_base_often_wet: float = Field(ge=1.0, le=1.4)
    wetting_mm: float = Field(ge=0.1, le=20.0)
    exposed_rooted: bool
    cold_slows_use: bool
    climate_adjusted: bool
    snow_below_c: float = Field(ge=-5.0, le=2.0)
    rain_above_c: float = Field(ge=0.5, le=6.0)
    melt_mm_per_c_day: float = Field(ge=0.5, le=10.0)
    repellency_steepness: float = Field(ge=5.0, le=300.0)
    repellency_share: float = Field(ge=0.0, le=0.95)
    drying_days: float = Field(ge=1.0, le=60.0)
    wetting_days: float = Field(ge=1.0, le=90.0)
    lost_to_runoff: float = Field(ge=0.0, le=1.0)
    lost_to_fingers: float = Field(ge=0.0, le=1.0)
    lost_to_bypass: float = Field(ge=0.0, le=1.0)
    decline_days: float = Field(ge=2.0, le=60.0)
    recovery_days: float = Field(ge=2.0, le=60.0)
    decline_reference_mm: float = Field(ge=0.5, le=10.0)
    crown_drought_stress: float = Field(ge=0.0, le=0.5)
    crown_payback: float = Field(ge=0.0, le=20.0)
    crown_loss_per_day: float = Field(ge=0.0, le=0.5)
    crown_recovery_days: float = Field(ge=10.0, le=730.0)
    flush_base_hazard: float = Field(ge=0.0, le=5.0)
    flush_unprimed_share: float = Field(ge=0.0, le=1.0)
    flush_delay_mean_days: float = Field(ge=2.0, le=30.0)
    flush_delay_sd_days: float = Field(ge=0.5, le=15.0)
    cold_night_factor: float = Field(ge=0.0, le=1.0)


def check_model(model: ModelFile, file: str, mistakes: MistakeList) -> None:
    """Check numbers against each other: the shares of the water kept out must make a whole, or the water balance would not close."""
    if model.snow_below_c >= model.rain_above_c:
        mistakes.add(file, "snow_below_c", model.snow_below_c, f"less than rain_above_c, {model.rain_above_c:g}")
    total = sum(float(getattr(model, name)) for name in SPLIT)
    if abs(total - 1.0) > 1e-6:
        mistakes.add(file, " + ".join(SPLIT), round(total, 6), "together 1")
