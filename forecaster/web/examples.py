"""Examples for the API's description: small, invented, and made of the documents themselves so that they cannot drift from the shapes."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from forecaster.documents import (
    AlertDocument,
    AlertMark,
    ExplainedDay,
    FixtureSummary,
    GroundSummary,
    OutlookDay,
    RingSummary,
    RiskDay,
    RuleLimits,
    RuleNumber,
    RuleSaid,
    Signal,
    SoilMarks,
    SurfaceOutlook,
    SurfaceSummary,
    WeatherStatus,
    WetSpell,
)
from forecaster.quantities import Certainty, Origin, Severity
from forecaster.web.answers import (
    AlertsAnswer,
    ExplanationAnswer,
    GroundAnswer,
    GroundHealth,
    GroundMail,
    GroundsAnswer,
    GroundStanding,
    HealthAnswer,
    MailTrouble,
    OutlookAnswer,
    SurfaceAnswer,
    SurfacesAnswer,
    SurfaceStanding,
)
from forecaster.web.examples_weather import weather_report_example

_ISSUED = datetime(2026, 9, 10, 4, 10, tzinfo=UTC)
_NOW = datetime(2026, 9, 10, 5, 40, tzinfo=UTC)
_WEATHER = WeatherStatus(
    state="fresh",
    text="Weather of 10 September, 05:30.",
    source="sample",
    attribution="Invented weather",
    licence="Apache-2.0",
    issued_at_utc=datetime(2026, 9, 10, 3, 30, tzinfo=UTC),
    age_hours=2.2,
    sample=True,
)
_SURFACE = SurfaceSummary(
    id="main-pitch",
    name="Main pitch",
    use="football",
    turf="cool-season",
    soil="sand",
    area_m2=7140,
    irrigation="none",
    ring_count=1,
)
_GROUND = GroundSummary(
    id="thistlefold",
    name="Thistlefold Field",
    time_zone="Europe/Paris",
    latitude=48.0,
    longitude=2.0,
    elevation_m=120,
    sample=True,
    surfaces=(_SURFACE,),
    fixtures=(
        FixtureSummary(
            id="f1",
            surface_id="main-pitch",
            title="Under-12 match",
            starts_at_utc=datetime(2026, 9, 12, 8, 30, tzinfo=UTC),
            ends_at_utc=datetime(2026, 9, 12, 10, 0, tzinfo=UTC),
        ),
    ),
)
_REASON = "Sound turf is 33% greener than the ring bands."
_ADVICE = "Spike the bands and water them by hand in several short goes."
_HEADLINE = "Rings are showing."
_STANDING = SurfaceStanding(surface=_SURFACE, severity=Severity.SEVERE, known=True, headline=_HEADLINE, outlook_issued_at_utc=_ISSUED)
_OUTLOOK = SurfaceOutlook(
    ground_id="thistlefold",
    ground_name="Thistlefold Field",
    surface_id="main-pitch",
    surface_name="Main pitch",
    use="football",
    time_zone="Europe/Paris",
    today=date(2026, 9, 10),
    issued_at_utc=_ISSUED,
    severity=Severity.SEVERE,
    headline=_HEADLINE,
    known=True,
    signals=(
        Signal(
            rule_id="rings-showing",
            title="Rings showing",
            severity=Severity.SEVERE,
            certainty=Certainty.OBSERVED,
            first_day=date(2026, 9, 8),
            last_day=date(2026, 9, 24),
            reaches_horizon=True,
            present=True,
            when="now, since 8 September",
            reason=_REASON,
            advice=_ADVICE,
            source="Assumption: rings are seen from a cover difference of 0.25.",
            quantity="ring_contrast",
        ),
    ),
    days=(
        OutlookDay(
            day=date(2026, 9, 10),
            lead_days=0,
            origin=Origin.FORECAST,
            rain_mm=1.2,
            irrigation_mm=0,
            et0_mm=2.9,
            air_temperature_min_c=11.0,
            air_temperature_max_c=21.5,
            soil_temperature_c=16.4,
            sound=None,
            band=None,
            ring_contrast=0.33,
            flush_hazard_per_day=0.05,
            flush_chance_7_days=0.3,
            risks=(
                RiskDay(
                    rule_id="rings-showing",
                    title="Rings showing",
                    severity=Severity.SEVERE,
                    certainty=Certainty.OBSERVED,
                    value=0.33,
                    unit="1",
                    reason=_REASON,
                ),
            ),
        ),
    ),
    marks=SoilMarks(
        field_capacity_m3m3=0.2,
        wilting_point_m3m3=0.05,
        critical_water_sound_m3m3=0.1175,
        critical_water_band_m3m3=0.1175,
        total_available_water_mm=30,
        root_depth_m=0.2,
        surface_depth_m=0.05,
        rings_show_at=0.25,
    ),
    rings=(
        RingSummary(
            id="ring-north",
            type=1,
            centre_x_m=20,
            centre_y_m=30,
            diameter_m=6,
            band_width_m=0.3,
            surveyed=date(2026, 5, 2),
            treatment_area_m2=23.28,
        ),
    ),
    weather=_WEATHER,
    simulated_from=date(2026, 3, 1),
    assumptions=("Crowns of the band stand 45 days of drought (assumption).",),
    notes=(),
    wet_hours=(
        WetSpell(
            starts_at_utc=datetime(2026, 9, 10, 19, tzinfo=UTC),
            ends_at_utc=datetime(2026, 9, 11, 7, 25, tzinfo=UTC),
            cause="dew",
            exact=True,
        ),
        WetSpell(
            starts_at_utc=datetime(2026, 9, 12, 12, tzinfo=UTC),
            ends_at_utc=datetime(2026, 9, 12, 17, 50, tzinfo=UTC),
            cause="rain",
            exact=True,
            water_until_utc=datetime(2026, 9, 12, 16, tzinfo=UTC),
        ),
    ),
)


def _example(answer: Any) -> dict[str, object]:
    found: dict[str, object] = answer.model_dump(mode="json")
    return found


GROUNDS = _example(
    GroundsAnswer(
        items=(
            GroundStanding(
                id="thistlefold",
                name="Thistlefold Field",
                time_zone="Europe/Paris",
                sample=True,
                surface_count=1,
                worst_surface_id="main-pitch",
                worst_surface_known=True,
                severity=Severity.SEVERE,
                known=True,
                headline=f"Main pitch: {_HEADLINE}",
                weather=_WEATHER,
            ),
        ),
        answered_at_utc=_NOW,
        weather=_WEATHER,
    )
)
GROUND = _example(GroundAnswer(ground=_GROUND, answered_at_utc=_NOW, weather=_WEATHER))
SURFACES = _example(SurfacesAnswer(ground_id="thistlefold", items=(_STANDING,), answered_at_utc=_NOW, weather=_WEATHER))
SURFACE = _example(SurfaceAnswer(ground_id="thistlefold", standing=_STANDING, answered_at_utc=_NOW, weather=_WEATHER))
OUTLOOK = _example(OutlookAnswer(outlook=_OUTLOOK, outlook_age_hours=1.5, answered_at_utc=_NOW, weather=_WEATHER))
EXPLANATION = _example(
    ExplanationAnswer(
        ground_id="thistlefold",
        surface_id="main-pitch",
        issued_at_utc=_ISSUED,
        rules=(
            RuleLimits(
                id="rings-showing",
                title="Rings showing",
                quantity="ring_contrast",
                unit="1",
                meaning="green cover of sound turf minus that of the band: what people see as a ring",
                raise_at=0.25,
                clear_at=0.15,
                days_in=2,
                days_out=7,
                severities={Severity.MINOR: 0.25, Severity.MODERATE: 0.4, Severity.SEVERE: 0.6},
                conditions=(),
                starts_in_months=(),
                ring_types=(1,),
                looks_at_this_surface=True,
                trial=False,
                source="Difference of two simulated turf states: our model and assumption.",
            ),
        ),
        explained=ExplainedDay(
            day=date(2026, 9, 10),
            origin=Origin.FORECAST,
            rules=(
                RuleSaid(
                    rule_id="rings-showing",
                    speaks=True,
                    held=False,
                    severity=Severity.MODERATE,
                    why="speaks: ring_contrast 0.41 has not cleared 0.15",
                    numbers=(RuleNumber(quantity="ring_contrast", value=0.41),),
                ),
            ),
        ),
        answered_at_utc=_NOW,
        weather=_WEATHER,
    )
)
ALERTS = _example(
    AlertsAnswer(
        ground_id="thistlefold",
        items=(
            AlertDocument(
                id="thistlefold/main-pitch/rings-showing/2026-09-08",
                ground_id="thistlefold",
                surface_id="main-pitch",
                rule_id="rings-showing",
                title="Rings showing",
                status="present",
                severity=Severity.SEVERE,
                first_day=date(2026, 9, 8),
                last_day=date(2026, 9, 24),
                raised_at_utc=datetime(2026, 9, 5, 4, 10, tzinfo=UTC),
                ended_at_utc=None,
                reason=_REASON,
                advice=_ADVICE,
                acknowledgement=AlertMark(
                    at_utc=datetime(2026, 9, 8, 6, 5, tzinfo=UTC), by="Ada", severity=Severity.SEVERE, note="Rings walked and marked."
                ),
            ),
        ),
        next=None,
        answered_at_utc=_NOW,
        weather=_WEATHER,
    )
)
HEALTH = _example(
    HealthAnswer(
        status="ok",
        limit_hours=26,
        grounds=(
            GroundHealth(
                ground_id="thistlefold",
                ground_name="Thistlefold Field",
                status="ok",
                last_good_at_utc=_ISSUED,
                last_good_age_hours=1.5,
                last_tried_at_utc=_ISSUED,
                problem=None,
                outlook_day=date(2026, 9, 10),
                weather=_WEATHER,
                mail=GroundMail(
                    since=date(2026, 9, 4),
                    waiting=0,
                    sent=13,
                    failed=1,
                    expired=0,
                    newest_problem=MailTrouble(
                        local_day=date(2026, 9, 9),
                        end="failed",
                        recipient="h…@example.org",
                        reason="the mail server refused the recipient h…@example.org: 550 no such user",
                    ),
                ),
            ),
        ),
        answered_at_utc=_NOW,
    )
)

BY_PATH: dict[str, dict[str, object]] = {
    "/api/v1/grounds": GROUNDS,
    "/api/v1/grounds/{ground}": GROUND,
    "/api/v1/grounds/{ground}/surfaces": SURFACES,
    "/api/v1/grounds/{ground}/surfaces/{surface}": SURFACE,
    "/api/v1/grounds/{ground}/surfaces/{surface}/outlook": OUTLOOK,
    "/api/v1/grounds/{ground}/surfaces/{surface}/explanation": EXPLANATION,
    "/api/v1/grounds/{ground}/weather/report": weather_report_example(_NOW, _WEATHER),
    "/api/v1/grounds/{ground}/alerts": ALERTS,
    "/api/v1/health": HEALTH,
}
