"""Days, times, ages and numbers as people on a ground read them."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")

NOTHING_AGAINST_IT = "Nothing against it in our data: walk it first."
UNKNOWN_NUMBER = "–"


def day_words(day: date) -> str:
    """ "Thursday 10 September"."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def short_day_words(day: date) -> str:
    """ "Thu 10 Sep"."""
    return f"{WEEKDAYS[day.weekday()][:3]} {day.day} {MONTHS[day.month - 1][:3]}"


def time_words(moment: datetime, time_zone: str) -> str:
    """A UTC moment in the ground's zone: "Thursday 10 September, 06:10"."""
    local = moment.astimezone(ZoneInfo(time_zone))
    return f"{day_words(local.date())}, {local:%H:%M}"


def fixture_words(title: str, starts: datetime, ends: datetime, time_zone: str) -> str:
    """ "Saturday 12 September, 10:30 to 12:00: Under-12 match"."""
    end = ends.astimezone(ZoneInfo(time_zone))
    until = f"{end:%H:%M}" if end.date() == starts.astimezone(ZoneInfo(time_zone)).date() else time_words(ends, time_zone)
    return f"{time_words(starts, time_zone)} to {until}: {title}"


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


def number_words(value: float | None, *, decimals: int = 0, scale: float = 1.0) -> str:
    """A number for a table; "–" where it is not known, and no minus before a zero."""
    if value is None:
        return UNKNOWN_NUMBER
    text = f"{value * scale:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text.replace("-", "\N{MINUS SIGN}")
