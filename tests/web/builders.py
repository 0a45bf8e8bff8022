"""An invented ground in an invented September, and a store that keeps it in memory.

The story, drawn by hand as key days with straight lines between them: a sandy pitch goes brown in a rainless summer; rain returns on
28 August; sound turf greens up, the repellent ring bands do not, so rings show from 8 September and fruit bodies may follow about ten
days after the rain. Numbers are plausible, not computed: nothing here checks the model.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

from forecaster.documents import (
    AlertDocument,
    ColumnDay,
    Explanation,
    FixtureSummary,
    GroundSummary,
    OutlookDay,
    RingSummary,
    RiskDay,
    Signal,
    SoilMarks,
    SurfaceOutlook,
    SurfaceSummary,
    WeatherStatus,
    WetSpell,
)
from forecaster.errors import NotFound
from forecaster.quantities import Certainty, Origin, Severity, repellency_class
from forecaster.weather_report import WeatherReport
from forecaster.web import examples
from forecaster.web.answers import ExplanationAnswer, WeatherReportAnswer
from forecaster.web.reading import CycleView, MailView

TODAY = date(2026, 9, 10)
NOW = datetime(2026, 9, 10, 5, 40, tzinfo=UTC)
ISSUED = datetime(2026, 9, 10, 4, 10, tzinfo=UTC)
ZONE = "Europe/Paris"

Keys = Sequence[tuple[date, float]]


def at(day: date, keys: Keys) -> float:
    """Straight line between key days; flat beyond the ends."""
    if day <= keys[0][0]:
        return keys[0][1]
    for (d0, v0), (d1, v1) in pairwise(keys):
        if day <= d1:
            return v0 + (v1 - v0) * (day - d0).days / (d1 - d0).days
    return keys[-1][1]


def d(month: int, day: int) -> date:
    """A day of 2026."""
    return date(2026, month, day)


SURFACE_WATER_SOUND: Keys = [
    (d(7, 1), 0.14), (d(7, 20), 0.085), (d(8, 27), 0.06), (d(8, 28), 0.09), (d(9, 3), 0.125), (d(9, 6), 0.17), (d(9, 10), 0.18),
    (d(9, 14), 0.165), (d(9, 15), 0.19), (d(9, 24), 0.15),
]  # fmt: skip
SURFACE_WATER_BAND: Keys = [
    (d(7, 12), 0.13), (d(7, 20), 0.08), (d(8, 27), 0.055), (d(8, 28), 0.06), (d(9, 6), 0.068), (d(9, 15), 0.075), (d(9, 24), 0.085),
]  # fmt: skip
REPELLENCY_SOUND: Keys = [(d(7, 1), 0.4), (d(8, 1), 1.3), (d(8, 28), 1.45), (d(9, 10), 0.9), (d(9, 24), 0.5)]
REPELLENCY_BAND: Keys = [(d(7, 1), 1.8), (d(7, 25), 3.5), (d(8, 28), 3.9), (d(9, 24), 3.4)]
COVER_SOUND: Keys = [(d(7, 1), 0.9), (d(8, 10), 0.25), (d(8, 28), 0.12), (d(9, 10), 0.52), (d(9, 24), 0.8)]
COVER_BAND: Keys = [(d(7, 1), 0.82), (d(8, 5), 0.2), (d(8, 28), 0.1), (d(9, 10), 0.19), (d(9, 24), 0.3)]
FLUSH: Keys = [(d(9, 2), 0.0), (d(9, 7), 0.03), (d(9, 12), 0.06), (d(9, 16), 0.07), (d(9, 19), 0.04), (d(9, 24), 0.01)]
RAIN = {
    d(7, 3): 4.2, d(7, 19): 1.0, d(8, 28): 14.0, d(8, 29): 6.5, d(9, 1): 8.0, d(9, 3): 3.2, d(9, 5): 11.4, d(9, 6): 2.2, d(9, 9): 5.0,
    d(9, 12): 3.0, d(9, 14): 7.5, d(9, 15): 12.0, d(9, 20): 2.0,
}  # fmt: skip
ET0: Keys = [(d(7, 1), 4.9), (d(7, 25), 5.6), (d(8, 20), 4.8), (d(9, 10), 2.9), (d(9, 24), 2.4)]

MARKS = SoilMarks(
    field_capacity_m3m3=0.20,
    wilting_point_m3m3=0.05,
    critical_water_sound_m3m3=0.1175,
    critical_water_band_m3m3=0.1175,
    total_available_water_mm=30.0,
    root_depth_m=0.2,
    surface_depth_m=0.05,
    rings_show_at=0.25,
)

FRESH = WeatherStatus(
    state="fresh",
    text="Weather of 10 September, 05:30: one and a half hours old.",
    source="sample",
    attribution="Invented weather, made for this demonstration",
    licence="Apache-2.0",
    issued_at_utc=datetime(2026, 9, 10, 3, 30, tzinfo=UTC),
    age_hours=0.7,
    sample=True,
)
MISSING = FRESH.model_copy(
    update={
        "state": "missing",
        "text": "No weather since 6 September: the source cannot be reached.",
        "problem": "no answer within 20 s",
        "age_hours": 96.0,
        "issued_at_utc": datetime(2026, 9, 6, 3, 30, tzinfo=UTC),
    }
)
STALE = FRESH.model_copy(
    update={
        "state": "stale",
        "text": "Weather of 9 September, 05:30: a day old, because the newest pull failed.",
        "problem": "the source answered 503",
        "age_hours": 24.7,
        "issued_at_utc": datetime(2026, 9, 9, 3, 30, tzinfo=UTC),
    }
)


def column(day: date, water: Keys, repellency: Keys, cover: Keys, *, infiltration_mm: float, lost_mm: float) -> ColumnDay:
    """One column on one day, from the hand-drawn lines."""
    theta = at(day, water)
    fraction = max(0.0, min(1.0, (theta - 0.05) / 0.15))
    log10_s = at(day, repellency)
    return ColumnDay(
        depletion_mm=round(30.0 * (1 - fraction), 1),
        available_water_fraction=round(fraction, 3),
        surface_water_m3m3=round(theta, 4),
        stress_coefficient=round(min(1.0, fraction / 0.6), 3),
        repellency_log10_s=round(log10_s, 3),
        repellency_class=repellency_class(log10_s),
        green_cover=round(at(day, cover), 3),
        live_crowns=0.9,
        infiltration_mm=round(infiltration_mm, 1),
        water_lost_mm=round(lost_mm, 1),
    )


def risks_of_pitch(day: date, contrast: float) -> tuple[RiskDay, ...]:
    """What the rules would say of the pitch on a day."""
    found = []
    if day >= d(9, 8):
        found.append(
            RiskDay(
                rule_id="rings-showing",
                title="Rings showing",
                severity=Severity.SEVERE,
                certainty=Certainty.OBSERVED if day <= TODAY else Certainty.LIKELY,
                value=round(contrast, 2),
                unit="1",
                reason=f"Sound turf covers {contrast:.0%} more of the ground than the ring bands.",
            )
        )
    if d(9, 14) <= day <= d(9, 18):
        found.append(
            RiskDay(
                rule_id="flush",
                title="Fruit bodies likely",
                severity=Severity.MODERATE,
                certainty=Certainty.LIKELY,
                value=0.34,
                unit="1",
                reason="The chance that one ring fruits within a week is 34 %.",
            )
        )
    return tuple(found)


def pitch_day(day: date) -> OutlookDay:
    """One day of the sandy pitch."""
    rain = RAIN.get(day, 0.0)
    lost = 0.7 * rain
    contrast = max(0.0, at(day, COVER_SOUND) - at(day, COVER_BAND))
    hazard = at(day, FLUSH)
    week = sum(at(day + timedelta(days=n), FLUSH) for n in range(7))
    return OutlookDay(
        day=day,
        lead_days=(day - TODAY).days,
        origin=Origin.FORECAST if day >= TODAY else Origin.OBSERVED,
        rain_mm=rain,
        irrigation_mm=0.0,
        et0_mm=round(at(day, ET0), 1),
        air_temperature_min_c=11.0,
        air_temperature_max_c=21.5,
        soil_temperature_c=16.4,
        sound=column(day, SURFACE_WATER_SOUND, REPELLENCY_SOUND, COVER_SOUND, infiltration_mm=rain, lost_mm=0.0),
        band=column(day, SURFACE_WATER_BAND, REPELLENCY_BAND, COVER_BAND, infiltration_mm=rain - lost, lost_mm=lost),
        ring_contrast=round(contrast, 3),
        flush_hazard_per_day=round(hazard, 3),
        flush_chance_7_days=round(1 - 2.71828 ** (-week), 3),
        estimated=("radiation from temperature range",) if day == d(9, 4) else (),
        risks=risks_of_pitch(day, contrast),
    )


def green_day(day: date, *, known: bool = True) -> OutlookDay:
    """One day of an irrigated surface where nothing is wrong; ``known=False`` blanks the coming days."""
    base = pitch_day(day)
    if not known and day >= d(9, 7):
        return OutlookDay(
            day=day,
            lead_days=base.lead_days,
            origin=Origin.MISSING,
            rain_mm=None,
            irrigation_mm=None,
            et0_mm=None,
            air_temperature_min_c=None,
            air_temperature_max_c=None,
            soil_temperature_c=None,
            sound=None,
            band=None,
            ring_contrast=None,
            flush_hazard_per_day=None,
            flush_chance_7_days=None,
        )
    flat: Keys = [(d(7, 1), 0.17)]
    moist = column(day, flat, [(d(7, 1), 0.2)], [(d(7, 1), 0.93)], infiltration_mm=base.rain_mm or 0.0, lost_mm=0.0)
    banded = column(day, [(d(7, 1), 0.155)], [(d(7, 1), 1.1)], [(d(7, 1), 0.9)], infiltration_mm=base.rain_mm or 0.0, lost_mm=0.0)
    return base.model_copy(
        update={
            "irrigation_mm": 12.0 if day.toordinal() % 3 == 0 and day < d(9, 1) else 0.0,
            "sound": moist,
            "band": banded,
            "ring_contrast": 0.03,
            "flush_hazard_per_day": 0.0,
            "flush_chance_7_days": 0.01,
            "risks": (),
        }
    )


def window(*, past: int = 60, ahead: int = 13) -> list[date]:
    """Days from ``past`` back to ``ahead`` ahead, today included."""
    return [TODAY + timedelta(days=n) for n in range(-past, ahead + 1)]


PITCH_SIGNALS = (
    Signal(
        rule_id="rings-showing",
        title="Rings showing",
        severity=Severity.SEVERE,
        certainty=Certainty.OBSERVED,
        first_day=d(9, 8),
        last_day=d(9, 24),
        reaches_horizon=True,
        present=True,
        when="now, since 8 September",
        reason="Sound turf is 33 % greener than the ring bands: rain since 28 August reached it, while 7 of 10 mm run off the bands.",
        advice="Spike the bands and water them by hand in several short goes; keep the rest of the pitch off the hose.",
        cautions=("Keep off the bands with heavy kit while they are dry.",),
        source="Assumption: rings are seen from a cover difference of 0.25.",
    ),
    Signal(
        rule_id="flush",
        title="Fruit bodies likely",
        severity=Severity.MODERATE,
        certainty=Certainty.LIKELY,
        first_day=d(9, 14),
        last_day=d(9, 18),
        reaches_horizon=False,
        present=False,
        when="from about Monday 14 September",
        reason="58 mm of rain in the ten days after a long drought; the chance that one ring fruits within a week reaches 34 %.",
        advice="Walk the rings each morning from Monday and pick what you find, with gloves, before children play.",
        cautions=("Never eat them: look-alikes are poisonous.", "Do not mow through them."),
        source="Imreh 1969 in Bohus 1981: about ten days after substantial rain.",
    ),
    Signal(
        rule_id="run-off",
        title="Rain will run off",
        severity=Severity.MINOR,
        certainty=Certainty.LIKELY,
        first_day=d(9, 14),
        last_day=d(9, 15),
        reaches_horizon=False,
        present=False,
        when="from about Monday 14 September",
        reason="Of 19 mm expected on Monday and Tuesday the bands take in 6 mm.",
        advice="Spike before the rain.",
        source="Ritsema et al. 1997: bypass of 0-80 %.",
        trial=True,
    ),
)

WET_HOURS = (
    WetSpell(
        starts_at_utc=datetime(2026, 9, 9, 19, tzinfo=UTC), ends_at_utc=datetime(2026, 9, 10, 7, 25, tzinfo=UTC), cause="dew", exact=True
    ),
    WetSpell(
        starts_at_utc=datetime(2026, 9, 11, 23, tzinfo=UTC), ends_at_utc=datetime(2026, 9, 12, 12, tzinfo=UTC), cause="dew", exact=True
    ),
    WetSpell(
        starts_at_utc=datetime(2026, 9, 12, 12, tzinfo=UTC),
        ends_at_utc=datetime(2026, 9, 12, 17, 50, tzinfo=UTC),
        cause="rain",
        exact=True,
        water_until_utc=datetime(2026, 9, 12, 16, tzinfo=UTC),
    ),
)

RINGS = (
    RingSummary(
        id="ring-north", type=1, centre_x_m=20, centre_y_m=30, diameter_m=6.0, band_width_m=0.3, surveyed=d(5, 2), treatment_area_m2=23.28
    ),
    RingSummary(
        id="ring-centre", type=1, centre_x_m=50, centre_y_m=34, diameter_m=3.0, band_width_m=0.3, surveyed=d(5, 2), treatment_area_m2=11.03
    ),
)


def outlook_of(surface_id: str, name: str, use: str, days: Sequence[OutlookDay], **changes: object) -> SurfaceOutlook:
    """A surface outlook with everything else filled in; ``changes`` replace fields."""
    base = SurfaceOutlook(
        ground_id="thistlefold",
        ground_name="Thistlefold Field",
        surface_id=surface_id,
        surface_name=name,
        use=use,
        time_zone=ZONE,
        today=TODAY,
        issued_at_utc=ISSUED,
        severity=None,
        headline="Nothing in our data speaks against this surface in the coming 14 days: walk it first.",
        known=True,
        signals=(),
        days=tuple(days),
        marks=MARKS,
        rings=(),
        weather=FRESH,
        simulated_from=d(3, 1),
        assumptions=("Crowns stand 45 days of drought in the band, 60 in sound turf (assumption).",),
        notes=(),
    )
    return base.model_copy(update=changes)


def pitch() -> SurfaceOutlook:
    """The surface in trouble."""
    return outlook_of(
        "main-pitch",
        "Main pitch",
        "football",
        [pitch_day(day) for day in window()],
        severity=Severity.SEVERE,
        headline="Rings are showing, and fruit bodies are likely from about Monday 14 September.",
        signals=PITCH_SIGNALS,
        rings=RINGS,
        notes=("Radiation was estimated from the temperature range on 1 of 75 days.",),
        wet_hours=WET_HOURS,
    )


def green() -> SurfaceOutlook:
    """The surface where nothing is wrong."""
    return outlook_of("bowling-green", "Bowling green", "bowls", [green_day(day) for day in window()])


def outfield() -> SurfaceOutlook:
    """The surface of which nothing is known."""
    return outlook_of(
        "outfield",
        "Cricket outfield",
        "cricket",
        [green_day(day, known=False) for day in window()],
        known=False,
        headline="Not known: there is no weather for the coming days.",
        weather=MISSING,
    )


def ground() -> GroundSummary:
    """The invented ground."""
    return GroundSummary(
        id="thistlefold",
        name="Thistlefold Field",
        time_zone=ZONE,
        latitude=48.0,
        longitude=2.0,
        elevation_m=120.0,
        sample=True,
        surfaces=(
            SurfaceSummary(
                id="bowling-green",
                name="Bowling green",
                use="bowls",
                turf="cool-season",
                soil="sandy loam",
                area_m2=1400,
                irrigation="12 mm every 3 days, May to August (assumed from the plan)",
                ring_count=0,
            ),
            SurfaceSummary(
                id="main-pitch",
                name="Main pitch",
                use="football",
                turf="cool-season",
                soil="sand",
                area_m2=7140,
                irrigation="none",
                ring_count=2,
            ),
            SurfaceSummary(
                id="outfield",
                name="Cricket outfield",
                use="cricket",
                turf="cool-season",
                soil="clay loam",
                area_m2=9000,
                irrigation="none",
                ring_count=0,
            ),
        ),
        fixtures=(
            FixtureSummary(
                id="f0",
                surface_id="main-pitch",
                title="Training evening",
                starts_at_utc=datetime(2026, 9, 8, 16, 0, tzinfo=UTC),
                ends_at_utc=datetime(2026, 9, 8, 18, 0, tzinfo=UTC),
            ),
            FixtureSummary(
                id="f1",
                surface_id="main-pitch",
                title="Under-12 match",
                starts_at_utc=datetime(2026, 9, 12, 8, 30, tzinfo=UTC),
                ends_at_utc=datetime(2026, 9, 12, 10, 0, tzinfo=UTC),
            ),
        ),
    )


def other_ground() -> GroundSummary:
    """A second ground, not a sample, that no cycle has reached yet."""
    surface = SurfaceSummary(
        id="court", name="Grass court", use="tennis", turf="cool-season", soil="loam", area_m2=260, irrigation="none", ring_count=0
    )
    return ground().model_copy(
        update={"id": "mossbank", "name": "Mossbank Courts", "sample": False, "surfaces": (surface,), "fixtures": ()}
    )


def alerts() -> list[AlertDocument]:
    """One open and one ended alert of the pitch."""
    return [
        AlertDocument(
            id="a-2",
            ground_id="thistlefold",
            surface_id="main-pitch",
            rule_id="rings-showing",
            title="Rings showing",
            status="present",
            severity=Severity.SEVERE,
            first_day=d(9, 8),
            last_day=d(9, 24),
            raised_at_utc=datetime(2026, 9, 5, 4, 10, tzinfo=UTC),
            ended_at_utc=None,
            reason=PITCH_SIGNALS[0].reason,
            advice=PITCH_SIGNALS[0].advice,
        ),
        AlertDocument(
            id="a-1",
            ground_id="thistlefold",
            surface_id="main-pitch",
            rule_id="drought",
            title="Drought stress",
            status="ended",
            severity=Severity.MODERATE,
            first_day=d(7, 16),
            last_day=d(9, 2),
            raised_at_utc=datetime(2026, 7, 14, 4, 10, tzinfo=UTC),
            ended_at_utc=datetime(2026, 9, 4, 4, 10, tzinfo=UTC),
            reason="The root zone had lost all its available water.",
            advice="Keep traffic off brown turf.",
        ),
    ]


@dataclass
class MemoryStore:
    """The reads of ``forecaster.web.reading.Store`` over plain lists."""

    ground_list: list[GroundSummary] = field(default_factory=lambda: [other_ground(), ground()])
    outlook_list: list[SurfaceOutlook] = field(default_factory=lambda: [green(), outfield(), pitch()])
    alert_list: list[AlertDocument] = field(default_factory=alerts)
    chart_map: dict[tuple[str, str], dict[str, str]] = field(default_factory=dict)
    cycle_map: dict[str, CycleView] = field(
        default_factory=lambda: {
            "thistlefold": CycleView(good_at_utc=ISSUED, tried_at_utc=ISSUED, problem=None),
            "mossbank": CycleView(good_at_utc=ISSUED, tried_at_utc=ISSUED, problem=None),
        }
    )

    def grounds(self) -> Sequence[GroundSummary]:
        return self.ground_list

    def ground(self, ground_id: str) -> GroundSummary | None:
        return next((g for g in self.ground_list if g.id == ground_id), None)

    def latest_outlooks(self, ground_id: str) -> Sequence[SurfaceOutlook]:
        return [o for o in self.outlook_list if o.ground_id == ground_id]

    def outlook(self, ground_id: str, surface_id: str) -> SurfaceOutlook | None:
        return next((o for o in self.latest_outlooks(ground_id) if o.surface_id == surface_id), None)

    def explanation(self, ground_id: str, surface_id: str) -> Explanation | None:
        if self.outlook(ground_id, surface_id) is None:
            return None
        answer = ExplanationAnswer.model_validate(examples.BY_PATH["/api/v1/grounds/{ground}/surfaces/{surface}/explanation"])
        shown = {"ground_id": ground_id, "surface_id": surface_id, "surface_name": surface_id, "today": answer.explained.day}
        return Explanation(**shown, issued_at_utc=answer.issued_at_utc, rules=answer.rules, days=(answer.explained,))

    def outlook_mark(self, ground_id: str, surface_id: str) -> Hashable | None:
        found = self.outlook(ground_id, surface_id)
        return None if found is None else found.model_dump_json()

    def alerts_mark(self, ground_id: str) -> Hashable | None:
        return None if self.ground(ground_id) is None else repr((self.outlook_list, self.alert_list))

    def weather_report(self, ground_id: str) -> WeatherReport | None:
        answer = WeatherReportAnswer.model_validate(examples.BY_PATH["/api/v1/grounds/{ground}/weather/report"])
        return answer.report.model_copy(update={"ground_id": ground_id}) if self.latest_outlooks(ground_id) else None

    def charts(self, ground_id: str, surface_id: str) -> Mapping[str, str]:
        return self.chart_map.get((ground_id, surface_id), {})

    def alerts(self, ground_id: str, *, include_ended: bool, limit: int) -> Sequence[AlertDocument]:
        found = [a for a in self.alert_list if a.ground_id == ground_id and (include_ended or a.ended_at_utc is None)]
        return found[:limit]

    def alert(self, ground_id: str, alert_id: str) -> AlertDocument:
        for found in self.alert_list:
            if (found.ground_id, found.id) == (ground_id, alert_id):
                return found
        raise NotFound(f"There is no alert {alert_id!r} on this ground.", hint="The list of alerts names those that exist.")

    def last_cycle(self, ground_id: str) -> CycleView | None:
        return self.cycle_map.get(ground_id)

    def mail(self, ground_id: str, *, since: date) -> MailView:
        return MailView(waiting=0, sent=2, failed=0, expired=0, problems=())
