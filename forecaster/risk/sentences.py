"""Days and numbers as people read them. Own month and day names: what is printed must not depend on the machine's language."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from string import Formatter

from forecaster.quantities import RISK_QUANTITIES, repellency_class
from forecaster.risk.rule import RAISE_AT, Rule

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
# A day further away than this is written with its year.
YEAR_AFTER_DAYS = 270
UNKNOWN_NUMBER = "an unknown number"


def day_words(day: date, *, today: date, weekday: bool = False) -> str:
    """Write a day: "3 September", "Friday 2 October", with the year when it is far from today."""
    words = f"{day.day} {MONTHS[day.month - 1]}"
    if abs((day - today).days) > YEAR_AFTER_DAYS:
        words += f" {day.year}"
    return f"{WEEKDAYS[day.weekday()]} {words}" if weekday else words


def since_words(first_day: date, *, today: date) -> str:
    """Write since when something that is going on has been: "now, since 3 September"."""
    if first_day >= today:
        return "now, since today"
    return f"now, since {day_words(first_day, today=today)}"


def ahead_words(first_day: date, last_day: date, *, today: date, reaches_horizon: bool) -> str:
    """Write when something is to come: "from tomorrow, Tuesday 29 September", "from about Friday 2 October", "on about Friday 2 October".

    "About", because a forecast day is not a promise.
    """
    named = day_words(first_day, today=today, weekday=True)
    single = first_day == last_day and not reaches_horizon
    if first_day == today + timedelta(days=1):
        return f"tomorrow, {named}" if single else f"from tomorrow, {named}"
    return f"{'on' if single else 'from'} about {named}"


def drop_words(repellency_log10_s: float) -> str:
    """Write how long a water drop stands, with its class: "about 4 minutes (strong)". NaN gives "an unknown time".

    ``repellency_log10_s``: log10 of the water drop penetration time in seconds. Classes: ``quantities.REPELLENCY_CLASSES``.
    """
    if math.isnan(repellency_log10_s):
        return "an unknown time"
    seconds = 10.0**repellency_log10_s
    if seconds < 5.0:
        time = "less than 5 seconds"
    elif seconds < 99.5:
        time = f"about {round(seconds, -1 if seconds >= 20.0 else 0):.0f} seconds"
    elif seconds < 99.5 * 60.0:
        time = f"about {seconds / 60.0:.0f} minutes"
    else:
        time = f"about {seconds / 3600.0:.0f} hours"
    return f"{time} ({repellency_class(repellency_log10_s)})"


def number_words(value: float, spec: str, *, unit: str = "") -> str:
    """Write one number by its format; a drop penetration time (unit "log10 s") always in words; never "nan", never "-0"."""
    if unit == "log10 s":
        return drop_words(value)
    if not math.isfinite(value):
        return UNKNOWN_NUMBER
    text = format(value, spec)
    return text[1:] if text.startswith("-") and not any(digit in text for digit in "123456789") else text


def fill_reason(template: str, values: Mapping[str, float], *, rule: Rule) -> str:
    """Fill the placeholders {quantity:format} of a rule's reason with the numbers of a day, and {raise_at:format} with the rule's own.

    ``values``: by names of ``quantities.RISK_QUANTITIES``; a NaN is written as an unknown number. Raises KeyError for an unknown name.
    """
    written = []
    for literal, name, spec, _ in Formatter().parse(template):
        written.append(literal)
        if name == RAISE_AT:
            written.append(number_words(rule.raise_at, spec or "", unit=RISK_QUANTITIES[rule.quantity].unit))
        elif name is not None:
            written.append(number_words(values[name], spec or "", unit=RISK_QUANTITIES[name].unit))
    return "".join(written)


def listed(words: Sequence[str]) -> str:
    """Join words as a list: "a", "a and b", "a, b and c"; "" for none."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def counted(count: int, singular: str, plural: str | None = None) -> str:
    """Write a count with its noun: "1 day", "3 days"."""
    return f"{count} {singular if count == 1 else plural or singular + 's'}"


def capital(text: str) -> str:
    """First letter upper case, the rest as it is."""
    return text[:1].upper() + text[1:]


def small(text: str) -> str:
    """First letter lower case, the rest as it is: a title inside a sentence."""
    return text[:1].lower() + text[1:]


def sentence(text: str) -> str:
    """Capital first and a full stop last."""
    return capital(text) if text.endswith((".", "!", "?")) else capital(text) + "."
