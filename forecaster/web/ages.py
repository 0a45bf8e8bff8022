"""How old what is stored has become by the time somebody reads it.

A stored document tells the age of its weather when it was made. If cycles stop, it must not go on saying "fresh".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from zoneinfo import ZoneInfo

from forecaster.documents import GroundSummary, SurfaceOutlook, WeatherStatus
from forecaster.web.wording import age_words, time_words

OUTLOOK_LIMIT_HOURS = 26.0
"""An outlook older than this is stale: a day, and two hours for a late cycle. Status: assumption."""

_ORDER = {"fresh": 0, "stale": 1, "missing": 2}


def hours_between(earlier: datetime, now: datetime) -> float:
    """Hours from one moment to the other, one decimal."""
    return round((now - earlier).total_seconds() / 3600, 1)


def local_day(ground: GroundSummary, now: datetime) -> date:
    """The day it is at the ground."""
    return now.astimezone(ZoneInfo(ground.time_zone)).date()


def weather_at(outlook: SurfaceOutlook | None, now: datetime, *, limit_hours: float = OUTLOOK_LIMIT_HOURS) -> WeatherStatus:
    """The weather behind an outlook as it stands at ``now``; "missing" where there is no outlook yet."""
    if outlook is None:
        text = "Not known: no outlook has been made yet."
        return WeatherStatus(state="missing", text=text, source="", attribution="", licence="")
    weather = outlook.weather
    changes: dict[str, object] = {}
    if weather.issued_at_utc is not None:
        changes["age_hours"] = hours_between(weather.issued_at_utc, now)
    if weather.members is not None and weather.members.issued_at_utc is not None:
        age = hours_between(weather.members.issued_at_utc, now)
        changes["members"] = weather.members.model_copy(update={"age_hours": age})
    if weather.state == "fresh" and hours_between(outlook.issued_at_utc, now) > limit_hours:
        changes["state"] = "stale"
        made = time_words(outlook.issued_at_utc, outlook.time_zone)
        changes["text"] = f"This outlook is {age_words(now - outlook.issued_at_utc)} old: it was made on {made}, and none since."
        changes["problem"] = weather.problem or "no new outlook has been stored"
    return weather.model_copy(update=changes)


def worst_weather(states: Iterable[WeatherStatus]) -> WeatherStatus:
    """The least trustworthy of several: missing before stale before fresh, then the oldest."""
    return max(states, key=lambda w: (_ORDER[w.state], w.age_hours or 0.0))


def ground_weather(ground: GroundSummary, outlooks: Mapping[str, SurfaceOutlook], now: datetime, *, limit_hours: float) -> WeatherStatus:
    """The least trustworthy weather behind any surface of a ground."""
    states = [weather_at(outlooks.get(surface.id), now, limit_hours=limit_hours) for surface in ground.surfaces]
    return worst_weather(states or [weather_at(None, now)])
