"""The outlook of one surface: weather, soil and rules of the past and coming days, put into words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

from forecaster.documents import ColumnDay, OutlookDay, RingSummary, RiskDay, Signal, SoilMarks, SurfaceOutlook
from forecaster.ground.surface import Surface
from forecaster.member_documents import MemberDay
from forecaster.physics.geometry import annulus_area
from forecaster.quantities import RISK_QUANTITIES, Origin, repellency_class
from forecaster.risk.caveats import assumptions, notes
from forecaster.risk.judgement import OUTLOOK_DAYS, Judgement, SurfaceRun, cold_season_unseen, judge
from forecaster.risk.rule import Rule
from forecaster.risk.sentences import counted, day_words, sentence
from forecaster.risk.signals import SpokenDays, certainty_of, held_reason, signals_of
from forecaster.risk.wet_hours import WetHours
from forecaster.soil.simulate import Simulation

HISTORY_DAYS = 60


def build_outlook(
    run: SurfaceRun,
    rules: Sequence[Rule],
    *,
    today: date,
    issued_at: datetime,
    wet_hours: WetHours | None = None,
    judged: Judgement | None = None,
    members: Mapping[date, MemberDay] | None = None,
) -> SurfaceOutlook:
    """Put one surface's run into the document that is stored, mailed and shown: 60 days back, today and 13 days ahead.

    ``members``: what the weather members say, by day; severity, headline and signals stay those of the single forecast.

    ``known`` is False when the weather is missing or none of the coming days has any; then nothing is called safe.
    Days without weather are there, with None. Trial rules are listed as signals but make neither severity nor headline. ``judged``: what
    ``judge`` said of this run, these rules and this day, where it has been asked already.
    """
    judged = judge(run, rules, today=today) if judged is None else judged
    start = max(judged.days[0], today - timedelta(days=HISTORY_DAYS))
    horizon = today + timedelta(days=OUTLOOK_DAYS - 1)
    window = [i for i, day in enumerate(judged.days) if start <= day <= horizon]
    stale = run.weather.state != "fresh"
    told = members or {}
    days = tuple(_outlook_day(run, judged, i, today=today, stale=stale, members=told.get(judged.days[i])) for i in window)
    coming_known = sum(day.origin is not Origin.MISSING for day in days if day.lead_days >= 0)
    known = run.weather.state != "missing" and coming_known > 0
    spoken = SpokenDays(judged.days, judged.origins, today=today, horizon=horizon, known=known, stale=stale)
    signals = signals_of(judged.by_rule, spoken)
    mailed = [signal for signal in signals if not signal.trial]
    return SurfaceOutlook(
        ground_id=run.ground.id,
        ground_name=run.ground.name,
        surface_id=run.surface.id,
        surface_name=run.surface.name,
        use=run.surface.use,
        time_zone=run.ground.time_zone.key,
        today=today,
        issued_at_utc=issued_at,
        severity=mailed[0].severity if mailed else None,
        headline=_headline(rules, mailed[0] if mailed else None, spoken, judged, coming_known=coming_known),
        known=known,
        signals=signals,
        days=days,
        marks=_marks(run.surface, rules),
        rings=tuple(_ring_summaries(run.surface)),
        weather=run.weather,
        simulated_from=run.simulated_from,
        assumptions=assumptions(run.surface, simulated_from=run.simulated_from, today=today, members=bool(told)),
        notes=notes(
            run.surface,
            days,
            run.weather,
            simulated_from=run.simulated_from,
            cold_season_unseen=cold_season_unseen(run, judged, today=today),
            wet_hours_estimated=() if wet_hours is None else wet_hours.estimated,
        ),
        wet_hours=None if wet_hours is None else wet_hours.spells,
    )


def _headline(rules: Sequence[Rule], worst: Signal | None, spoken: SpokenDays, judged: Judgement, *, coming_known: int) -> str:
    """One sentence for the surface; never "nothing" where the coming days are not known."""
    rule = next((rule for rule in rules if worst is not None and rule.id == worst.rule_id), None)
    if not spoken.known:
        last = [day for day, known in zip(judged.days, judged.complete, strict=True) if known and day <= spoken.today]
        if not last:
            return "Not known: there is no weather for this surface yet."
        held = ""
        if rule is not None and worst is not None:
            held = f" Last known, on {day_words(last[-1], today=spoken.today)}: {worst.severity}. {sentence(rule.headline_now)}"
        return f"Not known: there is no weather for the coming days.{held}"
    if rule is not None:
        days = next(days for found, days in judged.by_rule if found.id == rule.id)
        spell = spoken.spell(days)
        assert spell is not None  # a signal was made of it
        return sentence(rule.headline_now if spell.present else rule.headline_ahead.format(when=spoken.when(spell, days_in=rule.days_in)))
    if coming_known < OUTLOOK_DAYS:
        return (
            f"Nothing in our data speaks against this surface on the {counted(coming_known, 'day')} of the coming {OUTLOOK_DAYS} "
            "that we have weather for; the others are not known. Walk it first."
        )
    return f"Nothing in our data speaks against this surface in the coming {OUTLOOK_DAYS} days: walk it first."


def _outlook_day(run: SurfaceRun, judged: Judgement, i: int, *, today: date, stale: bool, members: MemberDay | None) -> OutlookDay:
    day, number = judged.days[i], judged.numbers[i]
    lead = (day - today).days

    def value(name: str) -> float | None:
        return _number(judged.quantities[name][i])

    certainty = certainty_of(judged.origins[i], lead_days=lead, stale=stale)
    risks = tuple(
        RiskDay(
            rule_id=rule.id,
            title=rule.title,
            severity=said.severity,
            certainty=certainty,
            value=said.value,
            unit=RISK_QUANTITIES[rule.quantity].unit,
            reason=held_reason(said) if said.held else said.reason,
        )
        for rule, rule_days in judged.by_rule
        if (said := rule_days[i]).speaks and said.severity is not None and said.value is not None
    )
    known = bool(judged.complete[i])
    irrigation = float(run.irrigation_mm[number]) if number >= 0 else math.nan
    return OutlookDay(
        day=day,
        lead_days=lead,
        origin=judged.origins[i],
        rain_mm=value("rain_mm"),
        irrigation_mm=None if math.isnan(irrigation) else irrigation,
        et0_mm=value("et0_mm"),
        air_temperature_min_c=value("air_temperature_min_c"),
        air_temperature_max_c=value("air_temperature_max_c"),
        soil_temperature_c=value("soil_temperature_c"),
        sound=_column_day(run.simulation, number, run.sound) if known else None,
        band=_column_day(run.simulation, number, run.band) if known else None,
        ring_contrast=value("ring_contrast"),
        flush_hazard_per_day=value("flush_hazard_per_day"),
        flush_chance_7_days=value("flush_chance_7_days"),
        estimated=run.daily.estimated[number] if number >= 0 else (),
        estimated_share=_number(run.daily.estimated_share[number]) if number >= 0 else None,
        risks=risks,
        members=members,
    )


def _number(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _column_day(simulation: Simulation, day: int, column: int) -> ColumnDay:
    repellency = float(simulation.repellency_log10_s[day, column])
    return ColumnDay(
        depletion_mm=float(simulation.depletion_mm[day, column]),
        available_water_fraction=float(simulation.available_water_fraction[day, column]),
        surface_water_m3m3=float(simulation.surface_water_m3m3[day, column]),
        stress_coefficient=float(simulation.stress_coefficient[day, column]),
        repellency_log10_s=repellency,
        repellency_class=repellency_class(repellency),
        green_cover=float(simulation.green_cover[day, column]),
        live_crowns=float(simulation.live_crowns[day, column]),
        infiltration_mm=float(simulation.infiltration_mm[day, column]),
        water_lost_mm=float(simulation.water_lost_mm[day, column]),
    )


def _marks(surface: Surface, rules: Sequence[Rule]) -> SoilMarks:
    soil = surface.root_zone
    return SoilMarks(
        field_capacity_m3m3=soil.field_capacity_m3m3,
        wilting_point_m3m3=soil.wilting_point_m3m3,
        critical_water_sound_m3m3=soil.critical_water_sound_m3m3,
        critical_water_band_m3m3=soil.critical_water_band_m3m3,
        total_available_water_mm=1000.0 * (soil.field_capacity_m3m3 - soil.wilting_point_m3m3) * soil.root_depth_m,
        root_depth_m=soil.root_depth_m,
        surface_depth_m=soil.surface_depth_m,
        rings_show_at=min((rule.raise_at for rule in rules if rule.quantity == "ring_contrast" and rule.rising), default=None),
    )


def _ring_summaries(surface: Surface) -> list[RingSummary]:
    return [
        RingSummary(
            id=ring.id,
            type=ring.type,
            centre_x_m=ring.centre_x_m,
            centre_y_m=ring.centre_y_m,
            diameter_m=ring.diameter_m,
            band_width_m=ring.band_width_m,
            surveyed=ring.surveyed,
            treatment_area_m2=round(float(annulus_area(ring.diameter_m / 2.0, ring.band_width_m)), 2),
        )
        for ring in surface.rings
    ]
