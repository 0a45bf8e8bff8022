"""Grounds as pages and the API show them, made from what the user described."""

from __future__ import annotations

import calendar
from collections.abc import Iterable

from forecaster.documents import FixtureSummary, GroundSummary, SurfaceSummary
from forecaster.ground.ground import Ground
from forecaster.ground.surface import Irrigation, Surface
from forecaster.quantities import RISK_QUANTITIES
from forecaster.risk.rule import Condition, Rule
from forecaster.rule_documents import ConditionSummary, RulesDocument, RuleSummary


def ground_summary(ground: Ground) -> GroundSummary:
    """The public face of a ground: no addresses of people in it."""
    return GroundSummary(
        id=ground.id,
        name=ground.name,
        time_zone=ground.time_zone.key,
        latitude=ground.latitude,
        longitude=ground.longitude,
        elevation_m=ground.elevation_m,
        sample=ground.sample,
        surfaces=tuple(_surface_summary(surface) for surface in ground.surfaces),
        fixtures=tuple(
            FixtureSummary(
                id=fixture.id,
                surface_id=fixture.surface_id,
                title=fixture.title,
                starts_at_utc=fixture.starts_at,
                ends_at_utc=fixture.ends_at,
                origin=fixture.origin,
            )
            for fixture in sorted(ground.fixtures, key=lambda fixture: fixture.starts_at)
        ),
    )


def _surface_summary(surface: Surface) -> SurfaceSummary:
    return SurfaceSummary(
        id=surface.id,
        name=surface.name,
        use=surface.use,
        turf=surface.turf.name,
        soil=surface.root_zone.soil_class,
        area_m2=surface.area_m2,
        irrigation=irrigation_words(surface.irrigation),
        ring_count=len(surface.rings),
    )


def irrigation_words(plan: Irrigation | None) -> str:
    """Say a watering plan: "none", or "13 mm every 3 days, May to September (assumed from the plan)"."""
    if plan is None:
        return "none"
    rhythm = "every day" if plan.every_days == 1 else f"every {plan.every_days} days"
    months = f"{calendar.month_name[plan.first_month]} to {calendar.month_name[plan.last_month]}"
    return f"{plan.amount_mm:g} mm {rhythm}, {months} (assumed from the plan)"


def rules_document(rules: Iterable[Rule]) -> RulesDocument:
    """The rules as pages and the API show them."""
    return RulesDocument(rules=tuple(_rule_summary(rule) for rule in rules))


def _rule_summary(rule: Rule) -> RuleSummary:
    quantity = RISK_QUANTITIES[rule.quantity]
    return RuleSummary(
        id=rule.id,
        title=rule.title,
        quantity=rule.quantity,
        unit=quantity.unit,
        meaning=quantity.meaning,
        raise_at=rule.raise_at,
        clear_at=rule.clear_at,
        days_in=rule.days_in,
        days_out=rule.days_out,
        severity_from={band.severity: band.value for band in rule.severity_bands},
        conditions=tuple(_condition_summary(condition) for condition in rule.conditions),
        months=rule.months,
        ring_types=rule.ring_types,
        lead_days=rule.lead_days,
        advice=rule.advice,
        source=rule.source,
        trial=rule.trial,
    )


def _condition_summary(condition: Condition) -> ConditionSummary:
    return ConditionSummary(
        quantity=condition.quantity,
        unit=RISK_QUANTITIES[condition.quantity].unit,
        at_least=condition.at_least,
        at_most=condition.at_most,
        throughout=condition.throughout,
    )
