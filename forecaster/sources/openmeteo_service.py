"""Open-Meteo as a service: who it is, where it is, and one counted request to it.

Asked for hourly values only, in UTC with unix times and m/s: its local times carry one fixed offset for the whole answer and go wrong
across clock changes, and its daily values follow from the hourly ones.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import requests

from forecaster.errors import WeatherUnavailable
from forecaster.sources.http import Patience, Query, fetch_json
from forecaster.sources.openmeteo_limits import ERROR_WEIGHT, Budget, UsedUp, limit_hint, pause_after, span_used_up, window_of
from forecaster.weather.frame import WeatherSource

SOURCE = WeatherSource(
    name="Open-Meteo",
    attribution="Weather data by Open-Meteo.com",
    licence="CC BY 4.0",
    link="https://open-meteo.com/",
)
FREE_ADDRESS = "https://api.open-meteo.com"
ARCHIVE_ADDRESS = "https://archive-api.open-meteo.com"
ENSEMBLE_ADDRESS = "https://ensemble-api.open-meteo.com"


@dataclass(frozen=True)
class Service:
    """Which Open-Meteo to ask, and how much of it. With a key, give the addresses of the paid service (``customer-`` before the name)."""

    base_url: str = FREE_ADDRESS
    api_key: str | None = field(default=None, repr=False)
    past_days: int = 92
    forecast_days: int = 16
    archive_url: str = ARCHIVE_ADDRESS
    ensemble_url: str = ENSEMBLE_ADDRESS
    budget: Budget | None = field(default=None, repr=False, compare=False)
    """What may be asked without a key. None: nothing is counted."""
    ensemble_budget: Budget | None = field(default=None, repr=False, compare=False)
    """The same for ensembles, which weigh thirty times as much: the part of it that they may take. None: as ``budget``."""


class Place(Protocol):
    """Anything that knows where it lies: a ground, for one."""

    @property
    def latitude(self) -> float: ...
    @property
    def longitude(self) -> float: ...
    @property
    def elevation_m(self) -> float: ...


@dataclass(frozen=True)
class Spot:
    """A place in the words of a request: places that read the same share an answer."""

    latitude: str
    longitude: str
    elevation: str

    @classmethod
    def of(cls, place: Place) -> Spot:
        """The place to 4 decimals (11 m) and whole metres of height."""
        return cls(f"{place.latitude:.4f}", f"{place.longitude:.4f}", f"{place.elevation_m:.0f}")


def cell_of(place: Place, *, degrees: float, metres: float) -> tuple[int, int, int]:
    """In which cell of a grid of points at whole multiples of ``degrees`` a place lies, and at which height, in steps of ``metres``."""
    return round(place.latitude / degrees), round(place.longitude / degrees), round(place.elevation_m / metres)


def hourly_params(spots: Iterable[Spot], variables: Iterable[str]) -> dict[str, str]:
    """The parameters that every question has: where, what, and in which units and times."""
    spots = tuple(spots)
    return {
        "latitude": ",".join(spot.latitude for spot in spots),
        "longitude": ",".join(spot.longitude for spot in spots),
        "elevation": ",".join(spot.elevation for spot in spots),
        "hourly": ",".join(variables),
        "timezone": "GMT",
        "timeformat": "unixtime",
        "wind_speed_unit": "ms",
    }


def ask(
    session: requests.Session, url: str, params: Mapping[str, str], *, service: Service, weight: float, patience: Patience | None = None
) -> Any:
    """One question, counted in the service's budget with every attempt, and its parsed answer.

    Promise: returns or raises within the patience's deadline. Where a limit passes within a minute (too many at once, the minute's
    weight), it is waited for once if the deadline leaves the time; where the service says that an hour or a day is used up, the budget
    remembers it and nobody asks before. Raises: as ``fetch_json``; StorageError where the budget cannot be read.
    """
    patience = patience or Patience()
    ends_at = patience.clock() + patience.deadline_seconds
    reasons: list[str] = []

    def note_limit(reason: str) -> str:
        reasons.append(reason)
        return limit_hint(reason)

    # The key goes in a header, not in the address: addresses end up in logs.
    headers = {"X-Api-Key": service.api_key} if service.api_key else {}
    query = Query(
        source=SOURCE.name,
        url=url,
        params=params,
        headers=headers,
        limit_hint=note_limit,
        limit_window=window_of,
        key_refused=_about_the_key,
    )
    for may_wait in (True, False):
        reasons.clear()
        counted = _CountedSession(session, service.budget, weight) if service.budget else session
        try:
            return fetch_json(counted, query, patience=replace(patience, deadline_seconds=ends_at - patience.clock()))
        except WeatherUnavailable:
            pause = _pause(counted, reasons, service, patience)
            if not may_wait or pause is None or patience.clock() + pause >= ends_at:
                raise
        patience.sleep(pause)
    raise AssertionError("the second round returns or raises")


def _about_the_key(reason: str) -> bool:
    """A wrong key is answered with status 400, like a wrong question, and only the reason tells them apart."""
    return re.search(r"\bapi[ _-]?key\b", reason, re.IGNORECASE) is not None


def _pause(session: requests.Session, reasons: list[str], service: Service, patience: Patience) -> float | None:
    """Seconds to wait before the same question may be answered; tells the budget what the service said."""
    if reasons:
        span = span_used_up(reasons[-1])
        if span and service.budget:
            service.budget.fill(span, now=service.budget.clock())
        return pause_after(reasons[-1], draw=patience.draw())
    used_up = session.used_up if isinstance(session, _CountedSession) else None
    if used_up is None or service.budget is None or used_up.span != "minute":
        return None
    return max(0.0, (used_up.until - service.budget.clock()).total_seconds()) + 1.0


class _CountedSession(requests.Session):
    """The session it was given, with every request paid for before it goes out."""

    def __init__(self, session: requests.Session, budget: Budget, weight: float) -> None:
        super().__init__()
        self.used_up: UsedUp | None = None
        self._session, self._budget, self._weight = session, budget, weight

    def request(self, method: str | bytes, url: str | bytes, *args: Any, **kwargs: Any) -> requests.Response:
        taken_at = self._budget.clock()
        self.used_up = self._budget.take(self._weight, now=taken_at)
        if self.used_up:
            span, until = self.used_up.span, self.used_up.until
            raise WeatherUnavailable(
                f"the {span}'s budget of {SOURCE.name} is used up until {until:%H:%M} UTC",
                source=SOURCE.name,
                hint="Nothing to do: asking goes on by itself then. If it happens often, ask less often or use a key.",
                trouble="budget",
                window=span,
                again_at=until,
            )
        try:
            response = self._session.request(method, url, *args, **kwargs)
        except requests.ConnectionError:  # never arrived, so it was not counted there either
            self._budget.give_back(self._weight, taken_at=taken_at)
            raise
        if response.status_code != requests.codes.ok:
            self._budget.give_back(self._weight - ERROR_WEIGHT, taken_at=taken_at)
        return response
