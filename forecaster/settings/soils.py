"""soils.toml and turf.toml: what a surface's root zone and turf are made of, and the checks that need several numbers at once."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated

from pydantic import Field

from forecaster.ground.rootzone import RootZone, TurfType
from forecaster.settings.mistakes import Missing, Note
from forecaster.settings.reading import Entry, Id, Name

# Ranges of mineral soils and sand root zones, wide enough for peaty topsoil; outside them a unit was mixed up (% for a share).
# Status: own limits.
WaterContent = Annotated[float, Field(gt=0.0, lt=0.8, description="a number more than 0, less than 0.8 (m³/m³, not %)")]
Millimetres = Annotated[float, Field(gt=0.0, le=50.0)]
Share = Annotated[float, Field(gt=0.0, le=1.0)]
Below = Annotated[float, Field(ge=0.0, le=100.0)]
DayLimit = Annotated[float, Field(gt=0.0, le=1000.0)]
Exchange = Annotated[float, Field(ge=0.0, le=1.0)]
HourLimit = Annotated[float, Field(gt=0.0, le=1000.0)]
LogSeconds = Annotated[float, Field(ge=0.0, le=6.0, description="a number from 0 to 6 (log10 of the drop test in seconds)")]

# Depth to which FAO-56 Table 19 gives its readily evaporable water [m].
TABLE_19_DEPTH_M = 0.10


class SoilEntry(Entry):
    """One soil class."""

    id: Id
    name: Name
    field_capacity_m3m3: WaterContent
    wilting_point_m3m3: WaterContent
    saturation_m3m3: WaterContent
    readily_evaporable_10cm_mm: Millimetres
    drains_per_day: Share
    held_back_mm: Below | None = None
    percolation_limit_mm: DayLimit | None = None
    infiltration_mm_per_h: HourLimit | None = None
    exchange_per_day: Exchange | None = None
    potential_repellency_sound_log10_s: LogSeconds | None = None
    potential_repellency_band_log10_s: LogSeconds | None = None
    critical_water_share: Annotated[float, Field(ge=-0.2, le=1.5)] | None = None

    @property
    def evaporable_share(self) -> float:
        """Readily evaporable water as a share of the total evaporable water of the same 10 cm [1]."""
        return self.readily_evaporable_10cm_mm / total_evaporable_mm(self.field_capacity_m3m3, self.wilting_point_m3m3, TABLE_19_DEPTH_M)


class SoilDefaults(Entry):
    """What every soil has until it says otherwise, and what a root zone without a class is taken to be."""

    saturation_m3m3: WaterContent
    drains_per_day: Share
    evaporable_share: Annotated[float, Field(gt=0.0, lt=1.0)]
    held_back_mm: Below
    percolation_limit_mm: DayLimit
    infiltration_mm_per_h: HourLimit
    exchange_per_day: Exchange
    potential_repellency_sound_log10_s: LogSeconds
    potential_repellency_band_log10_s: LogSeconds
    critical_water_share: Annotated[float, Field(ge=-0.2, le=1.5)]


class SoilsFile(Entry):
    """soils.toml."""

    default: SoilDefaults
    soil: list[SoilEntry]


class RootZoneEntry(Entry):
    """[surface.root_zone]: measured numbers of one surface, each in place of the one of its soil class."""

    field_capacity_m3m3: WaterContent | None = None
    wilting_point_m3m3: WaterContent | None = None
    saturation_m3m3: WaterContent | None = None
    readily_evaporable_mm: Millimetres | None = None
    drains_per_day: Share | None = None
    held_back_mm: Below | None = None
    percolation_limit_mm: DayLimit | None = None
    infiltration_mm_per_h: HourLimit | None = None
    exchange_per_day: Exchange | None = None
    potential_repellency_sound_log10_s: LogSeconds | None = None
    potential_repellency_band_log10_s: LogSeconds | None = None
    critical_water_sound_m3m3: WaterContent | None = None
    critical_water_band_m3m3: WaterContent | None = None


Temperature = Annotated[float, Field(ge=-10.0, le=60.0)]
Ramp = Annotated[
    list[Temperature],
    Field(min_length=4, max_length=4, description="four temperatures in °C, rising: growth starts, is full, falls, stops"),
]


class TurfDetails(Entry):
    """[surface.turf_details]: numbers of one surface in place of those of its turf type."""

    basal_crop_coefficient: Annotated[float, Field(ge=0.3, le=1.3)] | None = None
    depletion_fraction: Annotated[float, Field(ge=0.1, le=0.8)] | None = None
    ground_cover: Annotated[float, Field(ge=0.1, le=0.99)] | None = None
    height_m: Annotated[float, Field(ge=0.002, le=0.3)] | None = None
    growth_ramp_c: Ramp | None = None
    crown_endurance_sound_days: Annotated[float, Field(ge=5.0, le=365.0)] | None = None
    crown_endurance_band_days: Annotated[float, Field(ge=5.0, le=365.0)] | None = None
    dormant_below_c: Annotated[float, Field(ge=-10.0, le=25.0)] | None = None
    interception_mm: Annotated[float, Field(ge=0.0, le=10.0)] | None = None


class TurfEntry(Entry):
    """One turf type. Limits: FAO-56 for p (0.1-0.8) and ground cover (at most 0.99); measured Kc of 1.15-1.25 must fit into Kcb's."""

    id: Id
    name: Name
    basal_crop_coefficient: float = Field(ge=0.3, le=1.3)
    depletion_fraction: float = Field(ge=0.1, le=0.8)
    ground_cover: float = Field(ge=0.1, le=0.99)
    height_m: float = Field(ge=0.002, le=0.3)
    growth_ramp_c: Ramp
    crown_endurance_sound_days: float = Field(ge=5.0, le=365.0)
    crown_endurance_band_days: float = Field(ge=5.0, le=365.0)
    dormant_below_c: float | None = Field(default=None, ge=-10.0, le=25.0)
    interception_mm: float = Field(ge=0.0, le=10.0)


class TurfFile(Entry):
    """turf.toml."""

    turf: list[TurfEntry]


@dataclass(frozen=True)
class Materials:
    """The soils and turf types that surfaces may refer to, by id; only those that are sound by themselves."""

    soils: dict[str, SoilEntry]
    turf: dict[str, TurfEntry]
    defaults: SoilDefaults | None


def total_evaporable_mm(field_capacity_m3m3: float, wilting_point_m3m3: float, depth_m: float) -> float:
    """Total evaporable water TEW of a layer [mm]. Source: FAO-56 eq. 73. Status: published."""
    return 1000.0 * (field_capacity_m3m3 - 0.5 * wilting_point_m3m3) * depth_m


def check_water_contents(field_capacity: float, wilting_point: float, saturation: float, note: Note) -> bool:
    """Note where wilting point < field capacity < saturation does not hold; True where it does."""
    if wilting_point >= field_capacity:
        note("wilting_point_m3m3", wilting_point, f"less than the field capacity, {field_capacity:g}")
    if field_capacity >= saturation:
        note("field_capacity_m3m3", field_capacity, f"less than the saturation, {saturation:g}")
    return wilting_point < field_capacity < saturation


def check_soil(soil: SoilEntry, note: Note) -> None:
    """Check the numbers of a soil class against each other."""
    if check_water_contents(soil.field_capacity_m3m3, soil.wilting_point_m3m3, soil.saturation_m3m3, note) and soil.evaporable_share >= 1.0:
        total = total_evaporable_mm(soil.field_capacity_m3m3, soil.wilting_point_m3m3, TABLE_19_DEPTH_M)
        note("readily_evaporable_10cm_mm", soil.readily_evaporable_10cm_mm, f"less than the total evaporable water of 10 cm, {total:.1f}")


def check_ramp(ramp: list[float], note: Note) -> None:
    """Note where the four temperatures of a growth ramp do not rise."""
    starts, full, falls, stops = ramp
    if not starts < full <= falls < stops:
        note("growth_ramp_c", ramp, "four temperatures in °C, rising: growth starts, is full, falls, stops")


def root_zone(
    soil: SoilEntry | None, own: RootZoneEntry, defaults: SoilDefaults, *, root_depth_m: float, surface_depth_m: float, note: Note
) -> RootZone | None:
    """Put a root zone together: own numbers first, then the soil class, then the defaults. None where they contradict each other.

    Readily evaporable water keeps its share of the total evaporable water when depth or water contents differ from the class:
    Table 19 gives both for 10 cm. Critical water content: wilting point + share of the available water. Status: assumptions.
    """
    numbers = {
        **defaults.model_dump(),
        **(soil.model_dump(exclude_none=True) if soil else {}),
        **own.model_dump(exclude_none=True),
    }
    for key in ("field_capacity_m3m3", "wilting_point_m3m3"):
        if key not in numbers:
            note(key, Missing(), "required where no soil class is named")
    if not {"field_capacity_m3m3", "wilting_point_m3m3"} <= numbers.keys():
        return None
    capacity, wilting, saturation = (numbers[key] for key in ("field_capacity_m3m3", "wilting_point_m3m3", "saturation_m3m3"))
    if not check_water_contents(capacity, wilting, saturation, note):
        return None
    total = total_evaporable_mm(capacity, wilting, surface_depth_m)
    numbers.setdefault("readily_evaporable_mm", (soil.evaporable_share if soil else defaults.evaporable_share) * total)
    critical = wilting + numbers["critical_water_share"] * (capacity - wilting)
    numbers.setdefault("critical_water_sound_m3m3", critical)
    numbers.setdefault("critical_water_band_m3m3", critical)
    sound = True
    if numbers["readily_evaporable_mm"] >= total:
        allowed = f"less than the total evaporable water of the surface layer, {total:.1f} mm"
        note("readily_evaporable_mm", numbers["readily_evaporable_mm"], allowed)
        sound = False
    for key in ("critical_water_sound_m3m3", "critical_water_band_m3m3"):
        if not 0.0 < numbers[key] < saturation:
            note(key, numbers[key], f"more than 0, less than the saturation, {saturation:g}")
            sound = False
    given = {field.name: numbers[field.name] for field in fields(RootZone) if field.name in numbers}
    place = {"root_depth_m": root_depth_m, "surface_depth_m": surface_depth_m}
    return RootZone(soil_class=soil.name if soil else "own numbers", **place, **given) if sound else None


def turf_type(turf: TurfEntry, details: TurfDetails) -> TurfType:
    """Make the turf of a surface: its type, with the surface's own numbers in their place."""
    numbers = {**turf.model_dump(), **details.model_dump(exclude_none=True)}
    numbers["growth_ramp_c"] = tuple(numbers["growth_ramp_c"])
    return TurfType(**numbers)
