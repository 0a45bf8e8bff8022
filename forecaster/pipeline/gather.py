"""Weather for one ground: pull what is new, and join what older issues still know."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy.orm import Session

from forecaster.documents import WeatherStatus
from forecaster.errors import StorageError, WeatherError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.csv_file import read_weather_csv
from forecaster.sources.openmeteo import fetch_forecast
from forecaster.sources.sample import load_sample
from forecaster.storage.weather import StoredIssue, latest_issues
from forecaster.weather.codec import decode, encode
from forecaster.weather.frame import HourlyWeather, WeatherSource
from forecaster.weather.merge import overlay
from forecaster.weather.status import weather_status

log = logging.getLogger(__name__)

# Enough to bridge a pull that failed or lacked hours; every issue holds months of the past itself.
OLDER_ISSUES = 4
STATION_WIND_HEIGHT_M = 2.0  # practice: agrometeorological stations; a file that says otherwise is to come with the on-site sources


@dataclass(frozen=True)
class Pull:
    """What asking for weather gave: a frame, or the problem that is then told to everyone."""

    frame: HourlyWeather | None
    problem: str | None = None


@dataclass(frozen=True)
class GatheredWeather:
    """The weather a cycle works with: the joined frame (None where there has never been any), and how good it is."""

    frame: HourlyWeather | None
    status: WeatherStatus


def pull_weather(ground: Ground, context: Context, *, now: datetime) -> Pull:
    """Ask the ground's source once. A source that fails is a result, not an error: the cycle goes on with the last good weather."""
    try:
        return Pull(_ask(ground, context, now=now))
    except WeatherError as error:
        return Pull(None, error.message)


def _ask(ground: Ground, context: Context, *, now: datetime) -> HourlyWeather:
    choice = ground.weather
    if choice.source == "sample":
        return load_sample(shipped_folder("sample_weather")).weather
    if choice.source == "csv":
        assert choice.path is not None  # the configuration reader sees to it
        station = WeatherSource(name="own weather file", attribution=f"Own weather data ({Path(choice.path).name})", licence="your own")
        return read_weather_csv(Path(choice.path), source=station, wind_height_m=STATION_WIND_HEIGHT_M, now=now)
    return fetch_forecast(ground, session=context.web_session, now=now, service=context.open_meteo)


def joined_weather(
    session: Session, ground: Ground, pull: Pull, *, now: datetime, since: datetime, stale_after_hours: float
) -> GatheredWeather:
    """Put the pull over the older issues in the database, from ``since`` on."""
    frames = [pull.frame] if pull.frame is not None else []
    for issue in latest_issues(session, ground.id, ground.weather.source, now=now, limit=OLDER_ISSUES):
        try:
            frames.append(decode(issue.blob))
        except StorageError as error:
            # One damaged issue must not keep the others, or a new pull, from being used.
            log.error("the weather of %s issued at %s is left out: %s", ground.id, issue.issued_at, error.message)
    if not frames:
        status = weather_status(None, now=now, stale_after_hours=stale_after_hours, problem=pull.problem)
        return GatheredWeather(None, status.model_copy(update={"sample": ground.sample}))
    newest, *older = frames
    status = weather_status(newest, now=now, stale_after_hours=stale_after_hours, problem=pull.problem)
    return GatheredWeather(overlay(newest, older, since=since), status)


def issue_to_store(ground: Ground, frame: HourlyWeather, *, now: datetime) -> StoredIssue:
    """The pulled frame as one compressed blob."""
    hours = frame.values.index
    return StoredIssue(
        ground_id=ground.id,
        source=ground.weather.source,
        issued_at=frame.issued_at,
        stored_at=now,
        first_hour=hours[0].to_pydatetime(),
        last_hour=hours[-1].to_pydatetime(),
        blob=encode(frame),
    )
