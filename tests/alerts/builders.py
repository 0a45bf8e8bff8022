"""Outlooks with given signals, and grounds to mail about. All invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from forecaster.documents import FixtureSummary, GroundSummary, Signal, SurfaceOutlook, SurfaceSummary, WeatherStatus
from forecaster.quantities import Origin, Severity
from forecaster.risk.outlook import build_outlook
from tests.risk.builders import FRESH, ISSUED, TODAY, daily_weather, ring, rule, run, simulation, surface

NOW = datetime(2026, 9, 28, 4, 35, tzinfo=UTC)
RULES = (
    rule(days_out=3, lead_days=7),
    rule(id="flush", title="Toadstool flush", quantity="flush_chance_any_7_days", days_out=2, lead_days=7, advice="Pick toadstools."),
)


def signal(*, lead: int = 0, last: int | None = None, today: date = TODAY, **changes: Any) -> Signal:
    """A signal of rings showing that starts ``lead`` days from today, at or before it when present."""
    first = today + timedelta(days=lead)
    plain: dict[str, Any] = {
        "rule_id": "rings-showing",
        "title": "Rings showing",
        "severity": Severity.MINOR,
        "certainty": "Likely",
        "first_day": first,
        "last_day": today + timedelta(days=last if last is not None else max(lead, 0) + 3),
        "reaches_horizon": False,
        "present": lead <= 0,
        "when": "now, since today" if lead <= 0 else f"in {lead} days",
        "reason": f"Contrast in {lead} days.",
        "advice": "Walk the rings.",
        "source": "ours",
    }
    return Signal(**(plain | changes))


def outlook(
    *signals: Signal,
    today: date = TODAY,
    name: str = "main",
    known: bool = True,
    missing: tuple[int, ...] = (),
    weather: WeatherStatus = FRESH,
    **changes: Any,
) -> SurfaceOutlook:
    """A real outlook of healthy turf with its signals replaced; ``missing``: leads in days that have no weather."""
    daily = daily_weather(today - timedelta(days=10), 24, today=today, missing=tuple(10 + lead for lead in missing))
    base = build_outlook(
        run(of=surface(ring(), name=name), daily=daily, states=simulation(24), weather=weather), (), today=today, issued_at=ISSUED
    )
    assert [day.lead_days for day in base.days if day.origin is Origin.MISSING] == list(missing)
    mailed = [found for found in signals if not found.trial]
    severity = max((found.severity for found in mailed), key=lambda found: found.rank, default=None)
    headline = mailed[0].title + "." if mailed else base.headline
    return base.model_copy(update={"signals": signals, "severity": severity, "headline": headline, "known": known, **changes})


def ground(*names: str, fixtures: tuple[FixtureSummary, ...] = (), sample: bool = False) -> GroundSummary:
    surfaces = tuple(
        SurfaceSummary(
            id=name,
            name={"main": "Main pitch"}.get(name, name.capitalize()),
            use="football",
            turf="ryegrass",
            soil="sandy loam",
            area_m2=6000.0,
            irrigation="none",
            ring_count=1,
        )
        for name in names
    )
    return GroundSummary(
        id="brackenholt",
        name="Brackenholt",
        time_zone="Europe/Berlin",
        latitude=52.0,
        longitude=8.0,
        elevation_m=40.0,
        sample=sample,
        surfaces=surfaces,
        fixtures=fixtures,
    )
