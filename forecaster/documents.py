"""The stored documents: what a cycle writes and what pages, mail and the API read.

They are the only thing the web process knows of the model. Pure data: built by risk, alerts and the pipeline, kept by storage,
shown by web and delivery. Times are UTC, days are the ground's local days, units stand in the names.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict

from forecaster.calendar_documents import CalendarStanding
from forecaster.credits import Credit, ServiceNote
from forecaster.member_documents import MemberDay, MemberStatus
from forecaster.quantities import Certainty, Origin, Severity


class Document(BaseModel):
    """Base of all stored documents: unknown keys are refused, so an old document is noticed."""

    model_config = ConfigDict(extra="forbid", frozen=True)


# ---------------------------------------------------------------- weather


class WeatherStatus(Document):
    """How good the weather behind a document is. ``text`` is the one sentence that is shown."""

    state: Literal["fresh", "stale", "missing"]
    text: str
    source: str
    attribution: str
    licence: str
    link: str | None = None
    issued_at_utc: datetime | None = None
    age_hours: float | None = None
    problem: str | None = None
    """Why the newest pull failed, where it did."""
    sample: bool = False
    """Invented sample weather: every page and message says so."""
    services: tuple[ServiceNote, ...] = ()
    """Services of the ground that were not well when this was written."""
    credits: tuple[Credit, ...] = ()
    """Everyone whose values are among the joined weather, most trusted first."""
    members: MemberStatus | None = None
    """None in documents from before members were asked for."""


# ---------------------------------------------------------------- outlook


class ColumnDay(Document):
    """One soil column on one local day (state at the end of the day, amounts over the day)."""

    depletion_mm: float
    available_water_fraction: float
    surface_water_m3m3: float
    stress_coefficient: float
    repellency_log10_s: float
    repellency_class: str
    green_cover: float
    live_crowns: float
    infiltration_mm: float
    water_lost_mm: float


class RiskDay(Document):
    """One rule speaking on one day, with the reason that names its numbers."""

    rule_id: str
    title: str
    severity: Severity
    certainty: Certainty
    value: float
    unit: str
    reason: str


class OutlookDay(Document):
    """Weather, soil and risks of one local day. Numbers are None where the weather of the day is missing."""

    day: date
    lead_days: int
    """0 is today, negative is past."""
    origin: Origin
    rain_mm: float | None
    irrigation_mm: float | None
    et0_mm: float | None
    air_temperature_min_c: float | None
    air_temperature_max_c: float | None
    soil_temperature_c: float | None
    sound: ColumnDay | None
    band: ColumnDay | None
    ring_contrast: float | None
    flush_hazard_per_day: float | None
    flush_chance_7_days: float | None
    estimated: tuple[str, ...] = ()
    """What had to be estimated or was taken out as impossible on this day ("radiation from the temperature range")."""
    estimated_share: float | None = None
    """0 to 1: how much of the day's weather was estimated; None where the weather of the day is missing."""
    risks: tuple[RiskDay, ...] = ()
    members: MemberDay | None = None
    """None on past days, beyond the members' last day, and where there are no members."""


class Signal(Document):
    """One rule that speaks now or within the outlook, as people read it."""

    rule_id: str
    title: str
    severity: Severity
    certainty: Certainty
    first_day: date
    last_day: date
    """Last day of the spell inside the outlook."""
    reaches_horizon: bool
    """The spell is still going on at the last day of the outlook."""
    present: bool
    """True: speaks today. False: expected from first_day on."""
    when: str
    """"now, since 3 September" or "from about Friday 2 October"."""
    reason: str
    advice: str
    cautions: tuple[str, ...] = ()
    source: str
    trial: bool = False
    quantity: str = ""
    """Name of the number that the rule looks at; empty in documents from before it was kept."""


class SoilMarks(Document):
    """Fixed numbers of a surface that pages and charts draw as marks."""

    field_capacity_m3m3: float
    wilting_point_m3m3: float
    critical_water_sound_m3m3: float
    critical_water_band_m3m3: float
    total_available_water_mm: float
    root_depth_m: float
    surface_depth_m: float
    rings_show_at: float | None = None
    """Ring contrast from which a rule says that rings show; None where no rule looks at it."""


class RingSummary(Document):
    """One surveyed ring."""

    id: str
    type: Literal[1, 2, 3]
    centre_x_m: float
    centre_y_m: float
    diameter_m: float
    band_width_m: float
    surveyed: date
    treatment_area_m2: float
    """Band plus margins of 0.5 m: ground to cover if it were treated."""


class WetSpell(Document):
    """Hours in a row in which water lies on the leaf; of cause "unknown": in which nobody can tell, because there is no weather."""

    starts_at_utc: datetime
    ends_at_utc: datetime
    """When the leaf is dry, or the next spell goes on."""
    cause: Literal["rain", "irrigation", "dew", "frost", "unknown"]
    exact: bool
    """False where the spell reaches beyond what a forecast tells hour by hour."""
    water_until_utc: datetime | None = None
    """End of the last hour with rain or watering in it; None for dew, frost and unknown."""


class SurfaceOutlook(Document):
    """Everything known about one surface at one cycle: the unit that storage keeps and pages show."""

    ground_id: str
    ground_name: str
    surface_id: str
    surface_name: str
    use: str
    time_zone: str
    today: date
    issued_at_utc: datetime
    severity: Severity | None
    """Worst severity of the signals, the last known one where ``known`` is false; None when no rule speaks."""
    headline: str
    """One sentence in words: "Rings likely to show from about Friday 2 October.\""""
    known: bool
    """False when missing weather keeps the model from saying anything about the coming days. Silence never means safe."""
    signals: tuple[Signal, ...]
    """Worst first, mailed rules before trial rules."""
    days: tuple[OutlookDay, ...]
    """Past days and the coming 14, oldest first; lead_days tells which."""
    marks: SoilMarks
    rings: tuple[RingSummary, ...]
    weather: WeatherStatus
    simulated_from: date
    """First day of the simulation that led here; the state before it was assumed."""
    assumptions: tuple[str, ...]
    notes: tuple[str, ...]
    """Estimated inputs, unmodelled ring types, missing days and the like."""
    wet_hours: tuple[WetSpell, ...] | None = None
    """When the leaf is wet, today and the coming 4 days, oldest first; a time in no spell is dry. None where it was not worked out."""


# ---------------------------------------------------------------- explanation


class RuleNumber(Document):
    """One number that a rule looked at; None where it was not known."""

    quantity: str
    value: float | None


class RuleSaid(Document):
    """What one rule said on one day and why; ``held``: no weather, so it stayed as it was."""

    rule_id: str
    speaks: bool
    held: bool
    severity: Severity | None
    why: str
    numbers: tuple[RuleNumber, ...]


class ExplainedDay(Document):
    """One local day with every rule that looks at the surface."""

    day: date
    origin: Origin
    rules: tuple[RuleSaid, ...]


class RuleLimits(Document):
    """One rule as it was when the explanation was made. ``starts_in_months``: on this side of the world; empty means all year."""

    id: str
    title: str
    quantity: str
    unit: str
    meaning: str
    raise_at: float
    clear_at: float
    days_in: int
    days_out: int
    severities: dict[Severity, float]
    conditions: tuple[str, ...]
    starts_in_months: tuple[int, ...]
    ring_types: tuple[int, ...]
    looks_at_this_surface: bool
    trial: bool
    source: str


class Explanation(Document):
    """Why each rule did or did not speak of one surface, on the days of one outlook."""

    ground_id: str
    surface_id: str
    surface_name: str
    today: date
    issued_at_utc: datetime
    rules: tuple[RuleLimits, ...]
    days: tuple[ExplainedDay, ...]


# ---------------------------------------------------------------- ground


class FixtureSummary(Document):
    """One booked use of a surface."""

    id: str
    surface_id: str
    title: str
    starts_at_utc: datetime
    ends_at_utc: datetime
    children: bool = False
    origin: Literal["configuration", "entered", "calendar"] = "configuration"


class SurfaceSummary(Document):
    """One surface as the user described it."""

    id: str
    name: str
    use: str
    turf: str
    soil: str
    area_m2: float
    irrigation: str
    """In words: "none" or "13 mm every 3 days, May to September (assumed from the plan)"."""
    ring_count: int


class GroundSummary(Document):
    """One ground as pages and the API show it; addresses of recipients are not in it."""

    id: str
    name: str
    time_zone: str
    latitude: float
    longitude: float
    elevation_m: float
    sample: bool
    surfaces: tuple[SurfaceSummary, ...]
    fixtures: tuple[FixtureSummary, ...]
    calendar: CalendarStanding | None = None


# ---------------------------------------------------------------- alerts and digest
EpisodeStatus = Literal["expected", "present", "held", "ended"]


class AlertMark(Document):
    """What somebody said to an alert: it is not told again as new until it gets worse than it was then, or the mark ends."""

    at_utc: datetime
    by: str
    severity: Severity
    """As it was when the mark was made."""
    note: str = ""
    ended_at_utc: datetime | None = None
    ended_by: str | None = None
    """Who took it back, or that the alert got worse; None while it stands."""

    def stands(self, now: datetime) -> bool:
        """Whether the mark keeps its alert quiet."""
        return self.ended_at_utc is None


class Snooze(AlertMark):
    """An alert put off, always with an end."""

    until_utc: datetime

    def stands(self, now: datetime) -> bool:
        """Whether the mark keeps its alert quiet."""
        return self.ended_at_utc is None and now < self.until_utc


class AlertDocument(Document):
    """One alert from first to last day."""

    id: str
    ground_id: str
    surface_id: str
    rule_id: str
    title: str
    status: EpisodeStatus
    severity: Severity
    first_day: date
    last_day: date
    raised_at_utc: datetime
    ended_at_utc: datetime | None
    reason: str
    advice: str
    acknowledgement: AlertMark | None = None
    """The last one, whether it still stands or not."""
    snooze: Snooze | None = None

    def quiet(self, now: datetime) -> bool:
        """Whether it is known to those who must know, or put off: then it is not told as new."""
        return any(mark is not None and mark.stands(now) for mark in (self.acknowledgement, self.snooze))


class DigestEntry(Document):
    """One surface in the daily message."""

    surface_id: str
    surface_name: str
    severity: Severity | None
    headline: str
    known: bool
    signals: tuple[Signal, ...]
    next_fixture: str | None
    link: str | None


class DigestDocument(Document):
    """The daily message of one ground, before it becomes text and HTML."""

    ground_id: str
    ground_name: str
    local_day: date
    subject: str
    opening: str
    """One or two sentences: what to know before anything else."""
    entries: tuple[DigestEntry, ...]
    """Worst first."""
    changes: tuple[str, ...]
    """What changed since the last digest, one sentence each; empty when nothing did."""
    to_do: tuple[str, ...]
    """What to do next, most urgent first."""
    cautions: tuple[str, ...]
    weather: WeatherStatus
    notes: tuple[str, ...]
