"""MET Norway's Locationforecast: asking for the forecast of a place as the service's terms want it.

The terms: say who asks and how to reach them; at most four decimals of a degree; never ask again before the answer has expired; then ask
only for what has changed since. So the last answer is kept by the caller, with the two headers that this takes. What the answer means is
read in ``met_norway_answer``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import requests

from forecaster import __version__
from forecaster.errors import WeatherMalformed, WeatherRefused
from forecaster.sources.checks import Located
from forecaster.sources.http import NOT_MODIFIED, Answer, Patience, Query, fetch_answer, parse_json
from forecaster.sources.met_norway_answer import SOURCE, read_answer
from forecaster.weather.frame import HourlyWeather

ADDRESS = "https://api.met.no"
PATH = "/weatherapi/locationforecast/2.0/complete"
CONTACT_SETTING = "FORECASTER_CONTACT"

OK, SOON_GONE = 200, 203
# Where the service does not say when its answer expires: about as long as it usually says. Status: practice.
EXPIRES_AFTER = timedelta(minutes=30)
# A wrong header must not hold back the forecast for good. Status: practice.
EXPIRES_WITHIN = timedelta(hours=24)
SOON_GONE_NOTE = (
    "MET Norway says that this form of its forecast is on trial or about to end: whoever runs this program should look into it."
)

_REFUSAL_HINTS = {
    400: "Check place and address in the settings.",
    403: f"MET Norway lets in only who says how to be reached: check {CONTACT_SETTING} in the settings before asking again.",
    404: "Check the address in the settings; this form of the forecast may have ended.",
    422: "MET Norway has no forecast for this place: choose another source of weather for the ground.",
}
_LIMIT_HINT = "Ask no more for an hour, and then less often: who goes on is shut out."


@dataclass(frozen=True)
class KeptAnswer:
    """An answer as it must be kept until the next question, under the name that ``kept_under`` gives.

    ``last_modified``: exactly as the service wrote it; None where the next question cannot be conditional. ``deprecated``: the service
    answered with status 203.
    """

    body: bytes
    last_modified: str | None
    expires: datetime
    deprecated: bool = False


def fetch_locationforecast(
    place: Located,
    *,
    session: requests.Session,
    now: datetime,
    kept: KeptAnswer | None,
    contact: str,
    base_url: str = ADDRESS,
    patience: Patience | None = None,
) -> tuple[HourlyWeather, KeptAnswer]:
    """The forecast of a place, and the answer to keep for the next time.

    Promise: no request before the kept answer has expired; after that one which costs the service nothing if nothing has changed. A kept
    answer that cannot be read, or is for another place, counts as none. ``contact``: an email address or the address of a page. Moves
    within the service's own host are followed.

    Raises: WeatherRefused without a contact; else as ``fetch_answer`` and ``read_answer``.
    """
    user_agent = identification(contact)
    earlier = _read_kept(kept, place, now=now)
    if earlier is not None and now < earlier[1].expires:
        return earlier
    since = earlier[1].last_modified if earlier is not None else None
    query = Query(
        source=SOURCE.name,
        url=base_url.rstrip("/") + PATH,
        params=_params(place),
        headers={"If-Modified-Since": since} if since else {},
        limit_hint=lambda reason: _LIMIT_HINT,
        user_agent=user_agent,
        accepted=frozenset({OK, SOON_GONE, NOT_MODIFIED} if since else {OK, SOON_GONE}),
        refusal_hints=_REFUSAL_HINTS,
        moves=3,
    )
    answer = fetch_answer(session, query, patience=patience)
    if answer.status == NOT_MODIFIED and earlier is not None:
        weather, still = earlier
        return weather, replace(still, last_modified=answer.last_modified or since, expires=_expires(answer, now))
    deprecated = answer.status == SOON_GONE
    # With status 203 the service does not answer conditional questions.
    fresh = KeptAnswer(answer.body, None if deprecated else answer.last_modified, _expires(answer, now), deprecated)
    return _noted(read_answer(answer.content, place, now=now), fresh), fresh


def kept_under(place: Located) -> str:
    """The name under which to keep an answer. Places that the service cannot tell apart share one."""
    return "&".join(f"{name}={value}" for name, value in _params(place).items())


def identification(contact: str) -> str:
    """The User-Agent header: this program, and how to reach who runs it. Raises: WeatherRefused where that is not said."""
    contact = contact.strip()
    if not re.fullmatch(r"[!-~]+(@|://)[!-~]+", contact):
        hint = f"Set {CONTACT_SETTING} to an email address or web page of whoever runs this program, or choose another source of weather."
        raise WeatherRefused(f"{SOURCE.name} is not asked without an address to be reached at", source=SOURCE.name, hint=hint)
    return f"forecaster/{__version__} {contact}"


def _params(place: Located) -> dict[str, str]:
    # + 0.0: no minus sign before a zero.
    degrees = {"lat": round(place.latitude, 4) + 0.0, "lon": round(place.longitude, 4) + 0.0}
    return {name: f"{value:.4f}" for name, value in degrees.items()} | {"altitude": str(round(place.elevation_m))}


def _read_kept(kept: KeptAnswer | None, place: Located, *, now: datetime) -> tuple[HourlyWeather, KeptAnswer] | None:
    if kept is None:
        return None
    try:
        return _noted(read_answer(parse_json(kept.body), place, now=now), kept), kept
    except (ValueError, WeatherMalformed):
        return None  # nothing is lost: the service is asked anew, without a condition


def _noted(weather: HourlyWeather, kept: KeptAnswer) -> HourlyWeather:
    return replace(weather, notes=(*weather.notes, SOON_GONE_NOTE)) if kept.deprecated else weather


def _expires(answer: Answer, now: datetime) -> datetime:
    return min(answer.expires or now + EXPIRES_AFTER, now + EXPIRES_WITHIN).astimezone(UTC)
