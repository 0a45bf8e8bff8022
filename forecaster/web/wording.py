"""Days, times, ages and numbers as people on a ground read them."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from forecaster.advice.booking import NOTHING_AGAINST_IT as NOTHING_AGAINST_IT

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")

UNKNOWN_NUMBER = "–"


def day_words(day: date) -> str:
    """ "Thursday 10 September"."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def short_day_words(day: date) -> str:
    """ "Thu 10 Sep"."""
    return f"{WEEKDAYS[day.weekday()][:3]} {day.day} {MONTHS[day.month - 1][:3]}"


def date_words(day: date, *, year: bool = False) -> str:
    """A day whose weekday no longer matters: "17 June", "1 March 2025"."""
    return f"{day.day} {MONTHS[day.month - 1]}{f' {day.year}' if year else ''}"


def time_words(moment: datetime, time_zone: str) -> str:
    """A UTC moment in the ground's zone: "Thursday 10 September, 06:10"."""
    local = moment.astimezone(ZoneInfo(time_zone))
    return f"{day_words(local.date())}, {local:%H:%M}"


def fixture_words(title: str, starts: datetime, ends: datetime, time_zone: str, *, now: datetime) -> str:
    """ "Saturday 12 September, 10:30 to 12:00: Under-12 match", "today, 14:00 to 16:00: …" or "now, until 16:00: …", as in the mail."""
    zone = ZoneInfo(time_zone)
    start, end = starts.astimezone(zone), ends.astimezone(zone)
    until = f"{end:%H:%M}" if end.date() == start.date() else time_words(ends, time_zone)
    if starts <= now:
        return f"now, until {until}: {title}"
    begins = f"today, {start:%H:%M}" if start.date() == now.astimezone(zone).date() else time_words(starts, time_zone)
    return f"{begins} to {until}: {title}"


def age_words(age: timedelta) -> str:
    """ "less than an hour", "5 hours", "3 days"."""
    hours = age.total_seconds() / 3600
    if hours < 1:
        return "less than an hour"
    if hours < 48:
        whole = int(hours)
        return f"{whole} hour{'s' if whole != 1 else ''}"
    return f"{int(hours // 24)} days"


def weather_words(text: str, source: str, age_hours: float | None) -> str:
    """Where the weather comes from and how old it is; the stored sentence where its age is not known."""
    return text if age_hours is None else f"Weather: {source}, {age_words(timedelta(hours=age_hours))} old."


def number_words(value: float | None, *, decimals: int = 0, scale: float = 1.0, trimmed: bool = False) -> str:
    """A number for a table; "–" where it is not known, "0" where it is nothing, and no minus before a zero.

    ``trimmed``: without zeros after the point, for sizes that stand alone: "9" and "2.1".
    """
    if value is None:
        return UNKNOWN_NUMBER
    if value == 0:
        return "0"
    text = f"{value * scale:.{decimals}f}"
    if trimmed and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.removeprefix("-") if float(text) == 0 else text.replace("-", "\N{MINUS SIGN}")
