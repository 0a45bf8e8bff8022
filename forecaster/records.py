"""What people enter by hand: what was put down, what was seen or measured, bookings, and rings that were surveyed.

An *entry* is what somebody states; a *record* is the entry as it is kept, with who and when. Entries are checked strictly: unknown fields
are refused, nothing is converted silently, every range is stated. Times carry an offset and become UTC, days are the ground's local days.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field

ID_PATTERN = r"^[a-z0-9][a-z0-9-]{0,39}$"
_LINE = r"^[^\x00-\x1f\x7f]*[^\x00-\x20\x7f][^\x00-\x1f\x7f]*$"
_LINES = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f]*$"

RecordKind = Literal["application", "observation", "fixture", "ring"]
RecordOrigin = Literal["configuration", "entered", "calendar"]

KEEP_OFF_DAYS_AT_MOST = 60
FIXTURE_HOURS_AT_MOST = 72


def _in_utc(moment: datetime) -> datetime:
    """A moment as it is kept. Raises ValueError where its year leaves the calendar in UTC."""
    try:
        return moment.astimezone(UTC)
    except OverflowError as error:
        raise ValueError("a time that can be given in UTC") from error


def _whole(value: Any) -> Any:
    """JSON knows one kind of number: 3.0 is a whole one."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


Whole = Annotated[int, BeforeValidator(_whole)]
Moment = Annotated[
    AwareDatetime,
    AfterValidator(_in_utc),
    Field(ge=datetime(1990, 1, 1, tzinfo=UTC), le=datetime(2100, 1, 1, tzinfo=UTC), description="A time with its offset; kept in UTC"),
]
EntryId = Annotated[str, Field(pattern=ID_PATTERN, max_length=40)]
Person = Annotated[str, Field(min_length=1, max_length=80, pattern=_LINE, description="Who did or saw it, as your team calls them")]
Title = Annotated[str, Field(min_length=1, max_length=120, pattern=_LINE)]
Note = Annotated[str, Field(max_length=2000, pattern=_LINES)]
SurfaceRef = Annotated[EntryId, Field(description="Id of a surface of this ground", examples=["main-pitch"])]
RingRef = Annotated[EntryId, Field(description="Id of a ring of that surface", examples=["ring-north"])]


class Entry(BaseModel):
    """Base of all entries."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


# ---------------------------------------------------------------- what was put down


class Amount(Entry):
    """How much was put down, as the user states it: this program never converts it and never suggests one."""

    value: float = Field(gt=0.0, le=1_000_000.0)
    unit: Annotated[str, Field(min_length=1, max_length=40, pattern=_LINE, examples=["ml in all", "kg/ha"])]


class ApplicationEntry(Entry):
    """What was put down, where, how much, when and by whom."""

    surface_id: SurfaceRef
    ring_id: RingRef | None = None
    kind: Literal["wetting-agent", "fungicide", "fertiliser", "water", "other"]
    product: Title = Field(description="What it was, in your own words", examples=["Wetting agent, second of three"])
    amount: Amount | None = None
    area_m2: float | None = Field(default=None, gt=0.0, le=1_000_000.0)
    applied_at_utc: Moment
    washed_in_mm: float | None = Field(default=None, ge=0.0, le=100.0, description="Water given at once to wash it in")
    keep_off_until_utc: Moment | None = Field(
        default=None, description=f"From the label: people keep off until then; at most {KEEP_OFF_DAYS_AT_MOST} days after"
    )
    by: Person
    note: Note = ""


# ---------------------------------------------------------------- what was seen or measured


class _Seen(Entry):
    surface_id: SurfaceRef
    ring_id: RingRef | None = None
    observed_at_utc: Moment
    by: Person
    note: Note = ""


class RainReading(_Seen):
    """A rain gauge read by hand."""

    kind: Literal["rain-gauge"]
    amount_mm: float = Field(ge=0.0, le=500.0, description="Since the last reading")


class WaterGiven(_Seen):
    """Water that was given by hand or hose."""

    kind: Literal["water-given"]
    amount_mm: float = Field(gt=0.0, le=100.0)


class ProbeWater(_Seen):
    """Soil water by a probe."""

    kind: Literal["probe-water"]
    soil_water_m3m3: float = Field(ge=0.0, le=1.0)
    depth_m: float = Field(gt=0.0, le=2.0)


class ProbeTemperature(_Seen):
    """Soil temperature by a probe."""

    kind: Literal["probe-temperature"]
    soil_temperature_c: float = Field(ge=-40.0, le=70.0)
    depth_m: float = Field(gt=0.0, le=2.0)


class RingSeen(_Seen):
    """How badly a ring shows: 1 hardly to be found, 9 dead all round."""

    kind: Literal["ring-seen"]
    severity: Whole = Field(ge=1, le=9)


class FruitBodies(_Seen):
    """Toadstools counted; 0 is worth noting too."""

    kind: Literal["fruit-bodies"]
    count: Whole = Field(ge=0, le=100_000)


class DropTest(_Seen):
    """How long a drop of water stood on the soil of a core."""

    kind: Literal["drop-test"]
    drop_seconds: float = Field(ge=0.0, le=36_000.0)
    depth_m: float = Field(ge=0.0, le=2.0)


class DryPatch(_Seen):
    """A dry patch that was found."""

    kind: Literal["dry-patch"]
    area_m2: float = Field(gt=0.0, le=1_000_000.0)


class Remark(_Seen):
    """Anything else, in words."""

    kind: Literal["remark"]
    note: Annotated[str, Field(min_length=1, max_length=2000, pattern=_LINES)]


ObservationEntry = Annotated[
    RainReading | WaterGiven | ProbeWater | ProbeTemperature | RingSeen | FruitBodies | DropTest | DryPatch | Remark,
    Field(discriminator="kind"),
]


# ---------------------------------------------------------------- bookings and rings


class FixtureEntry(Entry):
    """A booked use of a surface."""

    surface_id: SurfaceRef
    title: Title
    starts_at_utc: Moment
    ends_at_utc: Moment = Field(description=f"After the start, at most {FIXTURE_HOURS_AT_MOST} hours")
    children: bool = Field(default=False, description="Children play: toadstools are picked before")
    by: Person
    note: Note = ""


class RingEntry(Entry):
    """A ring as it was surveyed: centre in metres from one corner of the surface, x along its length."""

    surface_id: SurfaceRef
    type: Annotated[Literal[1, 2, 3], BeforeValidator(_whole)] = Field(
        description="1: wilted or dead band; 2: greener band; 3: fruit bodies only"
    )
    centre_x_m: float = Field(ge=-100.0, le=1000.0)
    centre_y_m: float = Field(ge=-100.0, le=1000.0)
    diameter_m: float = Field(ge=0.1, le=200.0)
    band_width_m: float = Field(ge=0.02, le=10.0, description="At most half the diameter")
    surveyed: date
    by: Person
    note: Note = ""


# ---------------------------------------------------------------- as they are kept


class RecordMarks(BaseModel):
    """Who entered a record and when, and what became of it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    ground_id: str
    origin: RecordOrigin = "entered"
    """Only what was entered here can be changed here."""
    version: int
    entered_at_utc: datetime | None
    """None for what the configuration names."""
    entered_by: str
    changed_at_utc: datetime | None = None
    changed_by: str | None = None
    deleted_at_utc: datetime | None = None
    """A record that was deleted is marked and kept."""
    deleted_by: str | None = None


class ApplicationRecord(RecordMarks):
    """An application as it is kept."""

    application: ApplicationEntry


class ObservationRecord(RecordMarks):
    """An observation as it is kept."""

    observation: ObservationEntry


class FixtureRecord(RecordMarks):
    """A booking as it is kept."""

    fixture: FixtureEntry


class RingRecord(RecordMarks):
    """A ring as it is kept."""

    ring: RingEntry
