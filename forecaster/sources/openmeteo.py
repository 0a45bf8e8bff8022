"""Open-Meteo: recent days and forecast in one answer, for one place or many.

The ``openmeteo`` modules are the only ones that know its names, units and habits.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pandas as pd
import requests

from forecaster.errors import WeatherError, WeatherRefused, WeatherUnavailable
from forecaster.sources.http import LATER, Patience
from forecaster.sources.openmeteo_answer import Variable, check_present, kind, malformed, onto_hour_starts, read_columns
from forecaster.sources.openmeteo_limits import FREE_LIMITS, LARGEST_CALL, call_weight, limit_hint
from forecaster.sources.openmeteo_service import SOURCE, Place, Service, Spot, ask, cell_of, hourly_params
from forecaster.weather import frame
from forecaster.weather.frame import HourlyWeather, origins_by_time

__all__ = ["SOURCE", "VARIABLE_MAP", "Place", "Service", "Variable", "fetch_forecast", "fetch_forecasts", "limit_hint", "read_answer"]

FORECAST_PATH = "/v1/forecast"
# Source: the provider's documentation of hourly variables (units as answered, valid time "instant" or "preceding hour").
VARIABLE_MAP: dict[str, Variable] = {
    "temperature_2m": Variable(frame.AIR_TEMPERATURE, "°C", ends_hour=False),
    "dew_point_2m": Variable(frame.DEW_POINT, "°C", ends_hour=False),
    "relative_humidity_2m": Variable(frame.RELATIVE_HUMIDITY, "%", ends_hour=False),
    "wind_speed_10m": Variable(frame.WIND_SPEED, "m/s", ends_hour=False),
    "shortwave_radiation": Variable(frame.SHORTWAVE, "W/m²", ends_hour=True),
    "precipitation": Variable(frame.PRECIPITATION, "mm", ends_hour=True),
    "soil_temperature_6cm": Variable(frame.SOIL_TEMPERATURE, "°C", ends_hour=False, may_be_empty=True),
}
WIND_HEIGHT_M = 10.0
SOIL_TEMPERATURE_DEPTH_CM = 6.0
# Keeps the address under 4 kB and the answer, 108 days of 7 variables, near 6 MB. The provider allows 1,000. Status: practice.
_MOST_PLACES = 50
# Grounds that share an answer: the finest models it is made of have cells of 1 to 2 km (published), and temperature is moved to the
# ground's height by 0.65 °C in 100 m, so 20 m are within 0.13 °C. Status: assumption.
_CELL_DEGREES, _CELL_METRES = 0.01, 20.0
# A refusal that one place of many can cause: no model there, or coordinates that the service does not take.
_ABOUT_A_PLACE = re.compile(r"\(status 400:.*\b(no data|location|latitude|longitude|elevation|coordinates?)\b", re.IGNORECASE)


def fetch_forecast(
    place: Place, *, session: requests.Session, now: datetime, service: Service | None = None, patience: Patience | None = None
) -> HourlyWeather:
    """Fetch recent days and the forecast of a place into the canonical frame.

    The answer does not say when its model ran: ``issued_at`` is ``now``, the time at which it was handed out; hours before the
    hour of ``now`` count as modelled, the rest as forecast. Nulls become NaN. Temperature, humidity and wind are values at the
    hour's start; radiation and rain, labelled by the provider with the end of their hour, are moved one hour back.

    Raises: WeatherUnavailable, WeatherRefused (see ``ask``); WeatherMalformed when units, place, hours, number of values
    or ranges are not those of the weather that was asked for.
    """
    answer = _ask([Spot.of(place)], session, service or Service(), patience)
    return read_answer(answer, latitude=place.latitude, longitude=place.longitude, now=now)


def fetch_forecasts(
    places: Mapping[str, Place],
    *,
    session: requests.Session,
    now: datetime,
    service: Service | None = None,
    patience: Patience | None = None,
    whole_seconds: float = 60.0,
) -> dict[str, HourlyWeather | WeatherError]:
    """Fetch recent days and the forecast of many places in few requests, by the name each place was given under.

    A place that fails has its error in place of its weather. One place without data makes the service refuse all of a request: it is
    halved until the place stands alone. Places in one cell of the finest model, at one height, share an answer. When the service cannot be
    reached or has had enough, the places not asked for yet get that error too: it would say the same to each. The patience is per request,
    and all requests together are given up after ``whole_seconds`` on the patience's clock.
    Each frame as ``fetch_forecast`` makes it. Raises: StorageError where the budget cannot be read; no WeatherError.
    """
    service, patience = service or Service(), patience or Patience()
    ends_at = patience.clock() + whole_seconds
    named: dict[Spot, list[str]] = {}
    cells: dict[tuple[int, int, int], Spot] = {}
    for name, place in places.items():
        spot = cells.setdefault(cell_of(place, degrees=_CELL_DEGREES, metres=_CELL_METRES), Spot.of(place))
        named.setdefault(spot, []).append(name)
    outcomes: dict[Spot, HourlyWeather | WeatherError] = {}
    waiting = deque(_groups(list(named), service))
    while waiting:
        group = waiting.popleft()
        try:
            within = min(patience.deadline_seconds, ends_at - patience.clock())
            if within <= 0.0:
                raise WeatherUnavailable(f"{SOURCE.name} was too slow for so many grounds at once", source=SOURCE.name, hint=LATER)
            answers = _answers(_ask(group, session, service, replace(patience, deadline_seconds=within)), len(group))
        except WeatherUnavailable as error:
            outcomes.update(dict.fromkeys((spot for later in (group, *waiting) for spot in later), error))
            break
        except WeatherRefused as error:
            if len(group) > 1 and _ABOUT_A_PLACE.search(error.message):
                middle = len(group) // 2
                waiting.extendleft((group[middle:], group[:middle]))
            else:
                outcomes.update(dict.fromkeys(group, error))
        except WeatherError as error:
            outcomes.update(dict.fromkeys(group, error))
        else:
            outcomes.update((spot, _read_spot(answer, spot, now)) for spot, answer in zip(group, answers, strict=True))
    return {name: outcomes[spot] for spot, names in named.items() for name in names}


def read_answer(answer: Any, *, latitude: float, longitude: float, now: datetime) -> HourlyWeather:
    """Check a parsed answer and turn it into the canonical frame. Raises: WeatherMalformed, which says what is wrong and where."""
    stamps, columns = read_columns(answer, VARIABLE_MAP, latitude=latitude, longitude=longitude)
    check_present(columns, VARIABLE_MAP)
    values = onto_hour_starts(stamps, columns, VARIABLE_MAP)
    notes: tuple[str, ...] = ("Open-Meteo does not say when its models ran; the age counts from the time of asking.",)
    last = values.index[-1]
    if last < pd.Timestamp(now):
        notes += (f"The answer ends at {last:%Y-%m-%d %H:%M} UTC, before it was asked for.",)
    return HourlyWeather(
        values=values,
        origins=origins_by_time(values, now=now),
        source=SOURCE,
        issued_at=now.astimezone(UTC),
        wind_height_m=WIND_HEIGHT_M,
        soil_temperature_depth_cm=SOIL_TEMPERATURE_DEPTH_CM,
        notes=notes,
    )


def _ask(spots: Sequence[Spot], session: requests.Session, service: Service, patience: Patience | None) -> Any:
    params = hourly_params(spots, VARIABLE_MAP)
    params |= {"past_days": str(service.past_days), "forecast_days": str(service.forecast_days)}
    url = service.base_url.rstrip("/") + FORECAST_PATH
    return ask(session, url, params, service=service, weight=_weight(service) * len(spots), patience=patience)


def _weight(service: Service) -> float:
    return call_weight(len(VARIABLE_MAP), days=service.past_days + service.forecast_days)


def _groups(spots: list[Spot], service: Service) -> list[list[Spot]]:
    """Places that go into one request: no more than the service takes in one, nor than a minute's budget without a key."""
    allowed = LARGEST_CALL if service.api_key else min(LARGEST_CALL, FREE_LIMITS["minute"])
    size = max(1, min(_MOST_PLACES, int(allowed // _weight(service))))
    return [spots[start : start + size] for start in range(0, len(spots), size)]


def _answers(answer: Any, count: int) -> list[Any]:
    """One answer per place, in the order asked: a list where several were asked for, the bare answer for one."""
    if count == 1:
        return [answer]
    if not isinstance(answer, list):
        raise malformed(f"sent {kind(answer)} in place of the weather of {count} places")
    if len(answer) != count:
        raise malformed(f"sent the weather of {len(answer)} places where {count} were asked")
    return answer


def _read_spot(answer: Any, spot: Spot, now: datetime) -> HourlyWeather | WeatherError:
    try:
        return read_answer(answer, latitude=float(spot.latitude), longitude=float(spot.longitude), now=now)
    except WeatherError as error:
        return error
