"""Hand-made answers of Open-Meteo's archive and ensemble, with invented values, and a budget in memory.

The shape follows the provider's public documentation and the server's rules: one key per member, nulls after a model's end, a list of
answers for a list of places.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import requests

from forecaster.sources.openmeteo_limits import Span
from tests.sources.answers import UNITS, an_answer

MEMBER_VARIABLES = tuple(name for name in UNITS if name not in ("time", "soil_temperature_6cm"))


def asked(request: requests.PreparedRequest) -> dict[str, str]:
    """The parameters of a request."""
    return {name: values[0] for name, values in parse_qs(urlsplit(str(request.url)).query).items()}


def unix_hours(start: datetime, hours: int) -> list[int]:
    return [int(start.timestamp()) + 3600 * hour for hour in range(hours)]


def archive_answer(first: date, last: date, *, known_until: datetime) -> dict[str, Any]:
    """Days of the archive. Temperature counts the days since 2000 and the hour: 0.1 an hour; null after ``known_until``."""
    hours = 24 * ((last - first).days + 1)
    answer = an_answer(hours)
    times = unix_hours(datetime(first.year, first.month, first.day, tzinfo=UTC), hours)
    day = [(datetime.fromtimestamp(time, tz=UTC).date() - date(2000, 1, 1)).days % 20 for time in times]
    hourly = answer["hourly"] | {"time": times}
    hourly["temperature_2m"] = [days + time // 3600 % 24 / 100 for days, time in zip(day, times, strict=True)]
    hourly["soil_temperature_0_to_7cm"] = hourly.pop("soil_temperature_6cm")
    units = answer["hourly_units"]
    units["soil_temperature_0_to_7cm"] = units.pop("soil_temperature_6cm")
    known = sum(time <= known_until.timestamp() for time in times)
    for name in hourly.keys() - {"time"}:
        hourly[name] = hourly[name][:known] + [None] * (hours - known)
    return answer | {"hourly": hourly}


def archive_reply(known_until: datetime) -> Callable[[requests.PreparedRequest], tuple[int, dict[str, str], str]]:
    """Answers any question for the archive, as it would stand at a time."""

    def reply(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        params = asked(request)
        first, last = date.fromisoformat(params["start_date"]), date.fromisoformat(params["end_date"])
        return 200, {}, json.dumps(archive_answer(first, last, known_until=known_until))

    return reply


def ensemble_answer(members: int, *, hours: int = 72, known: int | None = None, suffix: str = "", **columns: list[Any]) -> dict[str, Any]:
    """An ensemble of ``members`` stories with the control run; temperature is 10 + number / 10. Null from hour ``known`` on."""
    base = an_answer(hours)
    known = hours if known is None else known
    hourly: dict[str, Any] = {"time": base["hourly"]["time"]}
    units = {"time": "unixtime"}
    for name in MEMBER_VARIABLES:
        for number in range(members):
            key = name + (f"_member{number:02d}" if number else "") + suffix
            values = [10 + number / 10] * hours if name == "temperature_2m" else list(base["hourly"][name])
            hourly[key] = values[:known] + [None] * (hours - known)
            units[key] = UNITS[name]
    return {**base, "hourly_units": units, "hourly": hourly | columns}


@dataclass
class CountedBudget:
    """A budget in memory with a clock that stands where it is put."""

    now: datetime = field(default_factory=lambda: datetime(2026, 9, 2, 6, 20, 30, tzinfo=UTC))
    taken: list[float] = field(default_factory=list)
    given_back: list[float] = field(default_factory=list)
    filled: list[Span] = field(default_factory=list)
    used_up: Any = None

    @property
    def clock(self) -> Callable[[], datetime]:
        return lambda: self.now

    def take(self, weight: float, *, now: datetime) -> Any:
        assert now == self.now
        if self.used_up is not None and self.used_up.until > now:
            return self.used_up
        self.taken.append(weight)
        return None

    def give_back(self, weight: float, *, taken_at: datetime) -> None:
        self.given_back.append(weight)

    def fill(self, span: Span, *, now: datetime) -> None:
        self.filled.append(span)

    def sleep(self, seconds: float) -> None:
        """Waiting moves the clock."""
        self.now += timedelta(seconds=seconds)

    @property
    def counted(self) -> float:
        return sum(self.taken) - sum(self.given_back)
