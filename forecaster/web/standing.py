"""How surfaces and grounds stand, worst first. "Not known" is never sorted among the good."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from forecaster.documents import GroundSummary, SurfaceOutlook, SurfaceSummary
from forecaster.quantities import trouble
from forecaster.web.ages import ground_weather
from forecaster.web.answers import GroundStanding, SurfaceStanding
from forecaster.web.reading import Store

NOT_KNOWN_YET = "Not known: no outlook has been made yet."


def outlooks_of(store: Store, ground: GroundSummary) -> dict[str, SurfaceOutlook]:
    """Newest outlooks by surface, of the surfaces that the ground still has."""
    present = {surface.id for surface in ground.surfaces}
    return {o.surface_id: o for o in store.latest_outlooks(ground.id) if o.surface_id in present}


def standing_of(surface: SurfaceSummary, outlook: SurfaceOutlook | None) -> SurfaceStanding:
    """One surface; without an outlook it is not known."""
    if outlook is None:
        return SurfaceStanding(surface=surface, severity=None, known=False, headline=NOT_KNOWN_YET, outlook_issued_at_utc=None)
    return SurfaceStanding(
        surface=surface,
        severity=outlook.severity,
        known=outlook.known,
        headline=outlook.headline,
        outlook_issued_at_utc=outlook.issued_at_utc,
    )


def surfaces_worst_first(ground: GroundSummary, outlooks: Mapping[str, SurfaceOutlook]) -> list[SurfaceStanding]:
    """All surfaces of a ground, worst first, then in the ground's own order, as in the mail."""
    standings = [standing_of(surface, outlooks.get(surface.id)) for surface in ground.surfaces]
    return sorted(standings, key=lambda s: -trouble(s.severity, s.known))


def ground_standing(ground: GroundSummary, outlooks: Mapping[str, SurfaceOutlook], now: datetime, *, limit_hours: float) -> GroundStanding:
    """One ground, told by its worst surface."""
    surfaces = surfaces_worst_first(ground, outlooks)
    worst = surfaces[0] if surfaces else None
    weather = ground_weather(ground, outlooks, now, limit_hours=limit_hours)
    if worst is None:
        headline = "This ground has no surfaces yet."
    elif worst.known and worst.severity is None:
        headline = worst.headline
    else:
        headline = f"{worst.surface.name}: {worst.headline}"
    return GroundStanding(
        id=ground.id,
        name=ground.name,
        time_zone=ground.time_zone,
        sample=ground.sample,
        surface_count=len(ground.surfaces),
        worst_surface_id=None if worst is None else worst.surface.id,
        worst_surface_known=worst is not None and worst.known,
        severity=None if worst is None else worst.severity,
        known=bool(surfaces) and all(s.known for s in surfaces),
        headline=headline,
        weather=weather,
    )


def grounds_worst_first(store: Store, grounds: Iterable[GroundSummary], now: datetime, *, limit_hours: float) -> list[GroundStanding]:
    """These grounds, worst first, then by name."""
    standings = [ground_standing(g, outlooks_of(store, g), now, limit_hours=limit_hours) for g in grounds]
    return sorted(standings, key=lambda g: (-trouble(g.severity, g.known), g.name.casefold()))
