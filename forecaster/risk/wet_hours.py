"""From hours to spells: when the leaf of a surface is wet, as the outlook keeps it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from itertools import groupby
from typing import Literal

from forecaster.documents import WetSpell
from forecaster.ground.ground import Ground
from forecaster.physics.leaf_wetness import Cause
from forecaster.soil.wetness import HourlyWetness, hourly_wetness
from forecaster.weather.daily import Place
from forecaster.weather.frame import HourlyWeather

WetCause = Literal["rain", "irrigation", "dew", "frost", "unknown"]
_WORDS: dict[Cause, WetCause] = {Cause.RAIN: "rain", Cause.IRRIGATION: "irrigation", Cause.DEW: "dew", Cause.FROST: "frost"}
_HOUR = timedelta(hours=1)
DAYS_KEPT = 5


@dataclass(frozen=True)
class WetHours:
    """The wet spells of one surface, oldest first; ``estimated``: what had to be estimated for them, in words."""

    spells: tuple[WetSpell, ...]
    estimated: tuple[str, ...] = ()


def wet_hours_of(ground: Ground, frame: HourlyWeather | None, *, now: datetime) -> dict[str, WetHours]:
    """Wet hours of every surface of a ground, today and the four days after it, by surface id."""
    place = Place(ground.latitude, ground.longitude, ground.elevation_m)
    wetness = hourly_wetness(frame, ground.surfaces, place=place, time_zone=ground.time_zone, now=now)
    today = now.astimezone(ground.time_zone).date()
    since, until = (datetime.combine(today + timedelta(days=days), time.min, ground.time_zone) for days in (0, DAYS_KEPT))
    return {
        surface.id: WetHours(wet_spells(wetness, number, since=since, until=until), wetness.estimated)
        for number, surface in enumerate(ground.surfaces)
    }


def wet_spells(wetness: HourlyWetness, surface_number: int, *, since: datetime, until: datetime) -> tuple[WetSpell, ...]:
    """Spells of one surface, oldest first: those that end after ``since`` and start before ``until``, in full length.

    Hours in a row with one cause make a spell; a night of dew with frost in it is one of frost. It ends within its last hour, when the film
    is gone. Hours without weather make spells of cause "unknown": silence never means dry.
    """
    film, moments = wetness.film, [stamp.to_pydatetime() for stamp in wetness.hours]
    causes = [
        (_WORDS[Cause(int(code))] if code else None) if known else "unknown"
        for code, known in zip(film.cause[:, surface_number], film.known[:, surface_number], strict=True)
    ]
    _spread_frost(causes)
    found = []
    for cause, group in groupby(range(len(causes)), key=lambda hour: causes[hour]):
        hours = list(group)
        if cause is None:
            continue
        last = hours[-1]
        share = 1.0 if cause == "unknown" else float(film.wet_share[last, surface_number])
        added = [hour for hour in hours if wetness.added_water[hour, surface_number]]
        spell = WetSpell(
            starts_at_utc=moments[hours[0]],
            ends_at_utc=moments[last] + timedelta(minutes=round(60.0 * share)),
            cause=cause,
            exact=bool(wetness.exact[hours].all()),
            water_until_utc=moments[added[-1]] + _HOUR if added and cause in ("rain", "irrigation") else None,
        )
        if spell.ends_at_utc > since and spell.starts_at_utc < until:
            found.append(spell)
    return tuple(found)


def _spread_frost(causes: list[WetCause | None]) -> None:
    """Name every hour of dew after the frost it runs into or comes from: one night is one spell."""
    for night, group in groupby(range(len(causes)), key=lambda hour: causes[hour] in ("dew", "frost")):
        hours = list(group)
        if night and any(causes[hour] == "frost" for hour in hours):
            causes[hours[0] : hours[-1] + 1] = ["frost"] * len(hours)
