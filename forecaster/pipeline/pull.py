"""Ask the weather services for one ground: its own first, and another where that fails. A service that fails is a result, not an error."""

from __future__ import annotations

import logging
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from pathlib import Path

from forecaster.errors import WeatherError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.services import ARCHIVE, FORECAST, MET_NORWAY, NASA_POWER, asking
from forecaster.pipeline.together import OPEN_METEO, Outcome, days_to_ask
from forecaster.settings.shipped import shipped_folder
from forecaster.sources import met_norway, nasa_power
from forecaster.sources.csv_file import read_weather_csv
from forecaster.sources.nasa_power_hours import as_hours
from forecaster.sources.openmeteo import fetch_forecast
from forecaster.sources.openmeteo_archive import fetch_archive
from forecaster.sources.sample import load_sample
from forecaster.storage.answers import StoredAnswer, save_answer, stored_answer
from forecaster.storage.database import reading, transaction
from forecaster.weather.codec import encode
from forecaster.weather.frame import HourlyWeather, WeatherSource

log = logging.getLogger(__name__)

HISTORIES = (ARCHIVE, NASA_POWER)
"""Sources of reanalysis, the better one first."""
STATION_WIND_HEIGHT_M = 2.0  # practice: agrometeorological stations stand that high
SPIN_UP_DAYS = 400
"""Days of reanalysis before the window, for a ground that begins: more than a year, so that a drought before it is known."""


@dataclass(frozen=True)
class Issue:
    """One frame as one service issued it; ``source`` is the name it is stored under, ``stored`` what is stored of it, if it is yet."""

    source: str
    frame: HourlyWeather
    stored: bytes | None = field(default=None, repr=False, compare=False)

    @cached_property
    def blob(self) -> bytes:
        """The whole frame as it is stored."""
        return encode(self.frame) if self.stored is None else self.stored


@dataclass(frozen=True)
class Pull:
    """What asking gave: issues, most trusted first, and the problem that is then told to everyone."""

    issues: tuple[Issue, ...] = ()
    problem: str | None = None


def pull_weather(ground: Ground, context: Context, *, now: datetime, asked: Outcome | None = None) -> Pull:
    """Ask the ground's source once, and the second one where the first fails. ``asked``: what asking it for many grounds gave."""
    try:
        return Pull((_ask(ground, context, now=now, asked=asked),))
    except WeatherError as error:
        problem = error.message
    if ground.weather.source != OPEN_METEO or context.contact is None:
        return Pull(problem=problem)
    try:
        return Pull((_ask_met_norway(ground, context, now=now),), problem)
    except WeatherError as error:
        return Pull(problem=f"{problem}; {error.message}")


def pull_history(ground: Ground, context: Context, *, before: date, now: datetime) -> Issue | None:
    """Ask for the reanalysis before a day, for a ground that begins; None where it does not come: the next cycle asks again.

    NASA POWER's daily values stand in where the hourly archive fails; what they leave open is said in the frame. Until something comes the
    outlook says from which day it was computed, and that the state before was assumed.
    """
    start, end = before - timedelta(days=SPIN_UP_DAYS), before - timedelta(days=1)
    try:
        with asking(context, ARCHIVE):
            service, session = context.open_meteo, context.web_session
            return Issue(ARCHIVE, fetch_archive(ground, session=session, start=start, end=end, now=now, service=service))
    except WeatherError as error:
        log.warning("no hourly reanalysis for %s to start from: %s", ground.id, error.message)
    try:
        with asking(context, NASA_POWER):
            daily = nasa_power.fetch_daily(ground, session=context.web_session, start=start, end=end, base_url=context.nasa_power_url)
    except WeatherError as error:
        log.warning("no daily reanalysis for %s either: %s", ground.id, error.message)
        return None
    return Issue(NASA_POWER, as_hours(daily))


def _ask(ground: Ground, context: Context, *, now: datetime, asked: Outcome | None) -> Issue:
    choice = ground.weather
    if choice.source == "sample":
        return Issue("sample", load_sample(shipped_folder("sample_weather")).weather)
    if choice.source == "csv":
        assert choice.path is not None  # the configuration reader sees to it
        station = WeatherSource(name="own weather file", attribution=f"Own weather data ({Path(choice.path).name})", licence="your own")
        return Issue("csv", read_weather_csv(Path(choice.path), source=station, wind_height_m=STATION_WIND_HEIGHT_M, now=now))
    if isinstance(asked, WeatherError):
        raise asked
    if asked is None:
        with reading(context.engine) as session:
            days = days_to_ask(session, ground, history_days=context.open_meteo.past_days, now=now)
        service = replace(context.open_meteo, past_days=days)
        with asking(context, FORECAST):
            asked = fetch_forecast(ground, session=context.web_session, now=now, service=service)
    return Issue(OPEN_METEO, asked)


def _ask_met_norway(ground: Ground, context: Context, *, now: datetime) -> Issue:
    """Its terms ask that an answer is kept, with its headers, and asked for again only when it has expired and changed."""
    name = f"{MET_NORWAY}?{met_norway.kept_under(ground)}"
    with reading(context.engine) as session:
        stored = stored_answer(session, name)
    kept = None if stored is None else met_norway.KeptAnswer(stored.body, stored.last_modified, stored.expires, stored.deprecated)
    with asking(context, MET_NORWAY) as service:
        frame, answer = met_norway.fetch_locationforecast(
            ground, session=context.web_session, now=now, kept=kept, contact=context.contact or "", base_url=context.met_norway_url
        )
        service.deprecated = answer.deprecated
    if answer != kept:
        with transaction(context.engine) as session:
            save_answer(session, StoredAnswer(name, answer.body, answer.last_modified, answer.expires, answer.deprecated))
    return Issue(MET_NORWAY, frame)
