"""How good the weather is, in one plain sentence. Missing or old weather is always said."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

import pandas as pd

from forecaster.documents import WeatherStatus
from forecaster.weather.frame import AIR_TEMPERATURE, PRECIPITATION, HourlyWeather

# Without these two no coming day can be worked out.
_NEEDED_AHEAD = (PRECIPITATION, AIR_TEMPERATURE)


def weather_status(frame: HourlyWeather | None, *, now: datetime, stale_after_hours: float, problem: str | None = None) -> WeatherStatus:
    """Judge the weather that stands behind the documents of this cycle.

    missing: there is none, or its rain or temperature does not reach past the hour of ``now``. stale: older than
    ``stale_after_hours``. fresh: the rest. ``problem`` is why the newest pull failed, as half a sentence without full stop
    ("Open-Meteo could not be reached"). An issue dated after ``now`` counts as just issued. Status: practice.
    """
    reason = _clause(problem)
    if frame is None:
        text = f"No weather: {reason}." if reason else "No weather: none has been fetched yet."
        return WeatherStatus(state="missing", text=text, source="", attribution="", licence="", problem=problem)
    age_hours = max((now - frame.issued_at).total_seconds() / 3600.0, 0.0)
    state, text = _judge(frame, now=now, age_hours=age_hours, stale_after_hours=stale_after_hours, reason=reason)
    return WeatherStatus(
        state=state,
        text=text,
        source=frame.source.name,
        attribution=frame.source.attribution,
        licence=frame.source.licence,
        link=frame.source.link,
        issued_at_utc=frame.issued_at,
        age_hours=age_hours,
        problem=problem,
        sample=frame.source.sample,
    )


def _judge(
    frame: HourlyWeather, *, now: datetime, age_hours: float, stale_after_hours: float, reason: str
) -> tuple[Literal["fresh", "stale", "missing"], str]:
    name, age = frame.source.name, age_in_words(age_hours)
    cause = reason or f"nothing newer has come from {name}"
    if not reaches_ahead(frame, now):
        return "missing", f"No weather for the coming days: the forecast from {name} is {age} old and has run out; {cause}."
    if age_hours > stale_after_hours:
        return "stale", f"Weather is {age} old: {cause}."
    if reason:
        return "fresh", f"Weather from {name}, {age} old. The newest pull failed: {reason}."
    if frame.source.sample:
        return "fresh", f"Sample weather, invented for an invented place, {age} old."
    return "fresh", f"Weather from {name}, {age} old."


def age_in_words(age_hours: float) -> str:
    """Say an age as people do: "less than an hour", "1 hour", "30 hours", "3 days". Whole hours and days are counted down."""
    if age_hours < 1.0:
        return "less than an hour"
    if age_hours < 48.0:
        hours = int(age_hours)
        return f"{hours} hour{'s' if hours > 1 else ''}"
    return f"{int(age_hours // 24)} days"


def reaches_ahead(frame: HourlyWeather, now: datetime) -> bool:
    """Whether rain and temperature are known for some hour from the one of ``now`` on."""
    ahead = frame.values.loc[frame.values.index >= pd.Timestamp(now).tz_convert("UTC").floor("h"), list(_NEEDED_AHEAD)]
    return bool(ahead.notna().any(axis=0).all())


def _clause(problem: str | None) -> str:
    """A message fitted into the middle of a sentence."""
    return (problem or "").strip().rstrip(".").rstrip()
