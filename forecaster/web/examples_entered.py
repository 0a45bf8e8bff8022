"""Examples of what people enter, of bookings, and of what lies behind an outlook; made of the documents themselves, like the others."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from forecaster.documents import AlertMark
from forecaster.quantities import Origin, Severity, TurfState
from forecaster.records import (
    Amount,
    ApplicationEntry,
    ApplicationRecord,
    FixtureEntry,
    FixtureRecord,
    FruitBodies,
    ObservationRecord,
    RecordKind,
    RecordMarks,
    RingEntry,
    RingRecord,
)
from forecaster.rule_documents import RuleSummary
from forecaster.web.answers import (
    RECORD_LISTS,
    AlertAnswer,
    AlertsAnswer,
    BookingAnswer,
    BookingReason,
    BookingSlot,
    MessageHeadAnswer,
    MessagesAnswer,
    OutlookAnswer,
    RulesAnswer,
    ScoresAnswer,
    SoilState,
    StateAnswer,
    WeatherAnswer,
    WeatherDay,
)
from forecaster.web.examples import ALERTS, OUTLOOK

_GROUND, _SURFACE, _BY = "thistlefold", "main-pitch", "Ada"
_NOW = datetime(2026, 9, 10, 5, 40, tzinfo=UTC)
_OUTLOOK = OutlookAnswer.model_validate(OUTLOOK)
_WEATHER = _OUTLOOK.weather
_ALERT = AlertsAnswer.model_validate(ALERTS).items[0]
_MARKS: dict[str, Any] = {"ground_id": _GROUND, "version": 1, "entered_at_utc": _NOW, "entered_by": "this machine"}

ENTRIES: dict[RecordKind, Any] = {
    "application": ApplicationEntry(
        surface_id=_SURFACE,
        ring_id="ring-north",
        kind="wetting-agent",
        product="Wetting agent, second of three",
        amount=Amount(value=5.5, unit="l in all"),
        area_m2=23.3,
        applied_at_utc=datetime(2026, 9, 10, 4, 30, tzinfo=UTC),
        washed_in_mm=6.0,
        keep_off_until_utc=datetime(2026, 9, 10, 16, 0, tzinfo=UTC),
        by=_BY,
    ),
    "observation": FruitBodies(
        surface_id=_SURFACE,
        ring_id="ring-north",
        observed_at_utc=datetime(2026, 9, 10, 5, 10, tzinfo=UTC),
        by=_BY,
        note="picked",
        kind="fruit-bodies",
        count=4,
    ),
    "fixture": FixtureEntry(
        surface_id=_SURFACE,
        title="Under-12 match",
        starts_at_utc=datetime(2026, 9, 12, 8, 30, tzinfo=UTC),
        ends_at_utc=datetime(2026, 9, 12, 10, 0, tzinfo=UTC),
        children=True,
        by="office",
    ),
    "ring": RingEntry(
        surface_id=_SURFACE, type=1, centre_x_m=20.0, centre_y_m=30.0, diameter_m=6.0, band_width_m=0.3, surveyed=date(2026, 9, 9), by=_BY
    ),
}
_RECORDS: dict[RecordKind, RecordMarks] = {
    "application": ApplicationRecord(id="a1", **_MARKS, application=ENTRIES["application"]),
    "observation": ObservationRecord(id="o1", **_MARKS, observation=ENTRIES["observation"]),
    "fixture": FixtureRecord(id="f1", **_MARKS, fixture=ENTRIES["fixture"]),
    "ring": RingRecord(id="r1", **_MARKS, ring=ENTRIES["ring"]),
}
_MARKED = _ALERT.model_copy(
    update={"acknowledgement": AlertMark(at_utc=_NOW, by=_BY, severity=Severity.SEVERE, note="Rings walked and marked.")}
)
_CLASH = BookingReason(
    code="another-fixture",
    verdict="keep-off",
    text="Booked already: Under-12 match, Saturday 12 September, 10:30 to 12:00.",
    basis="entered",
)
_DAY = _OUTLOOK.outlook.days[0]
_COLUMN = {
    "depletion_mm": 12.0,
    "available_water_fraction": 0.6,
    "surface_water_m3m3": 0.14,
    "stress_coefficient": 1.0,
    "repellency_log10_s": 0.9,
    "repellency_class": "slight",
    "green_cover": 0.52,
    "live_crowns": 0.9,
    "infiltration_mm": 5.0,
    "water_lost_mm": 0.0,
}
_SAME: dict[str, Any] = {"answered_at_utc": _NOW, "weather": _WEATHER}


def _list(kind: RecordKind) -> Any:
    return RECORD_LISTS[kind].model_validate({"ground_id": _GROUND, "items": (_RECORDS[kind],), "next": None, **_SAME})


_BOOKING = BookingAnswer(
    ground_id=_GROUND,
    surface_id=_SURFACE,
    starts_at_utc=datetime(2026, 9, 12, 9, 0, tzinfo=UTC),
    ends_at_utc=datetime(2026, 9, 12, 11, 0, tzinfo=UTC),
    children=False,
    verdict="keep-off",
    text="Keep off.",
    reasons=(_CLASH,),
    resolution="hours",
    better_slot=BookingSlot(
        starts_at_utc=datetime(2026, 9, 12, 10, 0, tzinfo=UTC),
        ends_at_utc=datetime(2026, 9, 12, 12, 0, tzinfo=UTC),
        verdict="nothing-against-it",
        reasons=(),
    ),
    better_slot_within_days=14,
    assumptions=("This speaks of our data, a model and what was entered, not of the surface itself: walk it first.",),
    outlook_issued_at_utc=_OUTLOOK.outlook.issued_at_utc,
    **_SAME,
)
_WEATHER_DAYS = WeatherAnswer(
    ground_id=_GROUND,
    time_zone="Europe/Paris",
    days=(WeatherDay.model_validate({name: getattr(_DAY, name) for name in WeatherDay.model_fields}),),
    issued_at_utc=_OUTLOOK.outlook.issued_at_utc,
    **_SAME,
)
_STATE = StateAnswer(
    ground_id=_GROUND,
    time_zone="Europe/Paris",
    items=(
        SoilState.model_validate(
            {
                "surface_id": _SURFACE,
                "turf_state": TurfState.SOUND,
                "day": date(2026, 9, 9),
                "origin": Origin.OBSERVED,
                "soil_temperature_c": 16.4,
                "issued_at_utc": _OUTLOOK.outlook.issued_at_utc,
                "column": _COLUMN,
            }
        ),
    ),
    **_SAME,
)
_RULES = RulesAnswer(
    items=(
        RuleSummary(
            id="rings-showing",
            title="Rings showing",
            quantity="ring_contrast",
            unit="1",
            meaning="green cover of sound turf minus that of the band: what people see as a ring",
            raise_at=0.25,
            clear_at=0.15,
            days_in=2,
            days_out=7,
            severity_from={Severity.MINOR: 0.25, Severity.MODERATE: 0.4, Severity.SEVERE: 0.6},
            conditions=(),
            months=(),
            ring_types=(1,),
            lead_days=14,
            advice="Walk the rings and mark their outer edge.",
            source="Difference of two simulated turf states: our model and assumption.",
            trial=False,
        ),
    ),
    configured_at_utc=_NOW,
    answered_at_utc=_NOW,
)
_MESSAGES = MessagesAnswer(
    ground_id=_GROUND,
    items=(
        MessageHeadAnswer(
            id="17",
            kind="digest",
            local_day=date(2026, 9, 10),
            recipient="h…@example.org",
            subject="Thistlefold Field: rings showing (Main pitch)",
            state="sent",
            reason="",
            attempts=1,
            written_at_utc=datetime(2026, 9, 10, 4, 10, tzinfo=UTC),
            sent_at_utc=datetime(2026, 9, 10, 4, 10, 5, tzinfo=UTC),
            of_use_until_utc=datetime(2026, 9, 11, 4, 0, tzinfo=UTC),
        ),
    ),
    next=None,
    **_SAME,
)
_SCORES = ScoresAnswer(
    ground_id=_GROUND,
    state="not-scored",
    reason="This version of the program does not compare forecasts with observations yet. Both are kept, so that it can later.",
    observations=12,
    **_SAME,
)

_PLURALS: dict[RecordKind, str] = {"application": "applications", "observation": "observations", "fixture": "fixtures", "ring": "rings"}
_AT = "/api/v1/grounds/{ground}"

ANSWERS: dict[tuple[str, str, str], Any] = {
    ("get", f"{_AT}/alerts/{{alert}}", "200"): AlertAnswer(alert=_MARKED, quiet=True, **_SAME),
    ("get", f"{_AT}/surfaces/{{surface}}/booking-check", "200"): _BOOKING,
    ("get", f"{_AT}/weather", "200"): _WEATHER_DAYS,
    ("get", f"{_AT}/state", "200"): _STATE,
    ("get", "/api/v1/rules", "200"): _RULES,
    ("get", f"{_AT}/messages", "200"): _MESSAGES,
    ("get", f"{_AT}/scores", "200"): _SCORES,
    **{
        (method, f"{_AT}/alerts/{{alert}}/{mark}", "200"): _MARKED for method in ("put", "delete") for mark in ("acknowledgement", "snooze")
    },
    **{("get", f"{_AT}/{plural}", "200"): _list(kind) for kind, plural in _PLURALS.items()},
    **{("post", f"{_AT}/{plural}", "201"): _RECORDS[kind] for kind, plural in _PLURALS.items()},
    **{
        (method, f"{_AT}/{plural}/{{record}}", "200"): _RECORDS[kind]
        for kind, plural in _PLURALS.items()
        for method in ("get", "put", "delete")
    },
}
"""Answers by method, address and status."""

BODIES: dict[tuple[str, str], Any] = {
    ("put", f"{_AT}/alerts/{{alert}}/acknowledgement"): {"by": _BY, "note": "Rings walked and marked."},
    ("put", f"{_AT}/alerts/{{alert}}/snooze"): {"by": _BY, "until_utc": "2026-09-13T06:00:00Z", "note": ""},
    **{("post", f"{_AT}/{plural}"): ENTRIES[kind].model_dump(mode="json") for kind, plural in _PLURALS.items()},
    **{("put", f"{_AT}/{plural}/{{record}}"): ENTRIES[kind].model_dump(mode="json") for kind, plural in _PLURALS.items()},
}
"""Bodies by method and address."""
