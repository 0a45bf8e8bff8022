"""Read all that is known of a ground's weather: own instruments, what was just pulled, older issues, reanalysis."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from sqlalchemy.orm import Session

from forecaster.errors import StorageError
from forecaster.ground.ground import Ground
from forecaster.pipeline.joining import GatheredWeather, OnSite, WeatherSources, join_sources
from forecaster.pipeline.pull import HISTORIES, Issue, Pull
from forecaster.pipeline.services import MET_NORWAY, service_notes
from forecaster.pipeline.start import Start
from forecaster.pipeline.together import OPEN_METEO
from forecaster.sources.onsite import logged_irrigation, onsite_readings
from forecaster.sources.onsite_reading import lines_not_used
from forecaster.storage.weather import StoredIssue, issues_reaching_back, latest_issues
from forecaster.weather.codec import decode
from forecaster.weather.frame import frame_since

log = logging.getLogger(__name__)

# A state that was simulated for so long rests on weather, whatever was assumed at its start.
LONG_ENOUGH_DAYS = 300
# Reanalysis comes in whole days of UTC, or of the sun, and the window begins at a local midnight: up to 14 hours lie between them in the
# zones there are, up to 12 more for days of the sun, and rain labelled at its end lacks the last hour. Rounded up to whole days.
HISTORY_ENDS_WITHIN = timedelta(days=2)
# Enough to bridge pulls that lacked hours; older ones are taken where these do not reach back far enough.
OLDER_ISSUES = 4


def read_onsite(ground: Ground, *, now: datetime) -> OnSite:
    """Read the ground's own instruments; nothing else stops for files that cannot be read, but they are told."""
    readings = onsite_readings(ground, now=now)
    return OnSite(
        frames=tuple(found.frame for found in readings if len(found.frame.values)),
        problems=(
            *(problem for found in readings for problem in found.problems),
            *(
                f"nothing could be read from {source.id}"
                for source, found in zip(ground.onsite, readings, strict=True)
                if found.empty and not found.problems
            ),
        ),
        irrigation=logged_irrigation(readings),
        not_used=tuple(line for found in readings for line in lines_not_used(found)),
    )


def wants_history(session: Session, ground: Ground, start: Start | None, *, window: date, now: datetime) -> bool:
    """Whether the ground still rests on an assumed state that reanalysis could replace.

    Without a state (a new ground, or changed settings) reanalysis that ends long before the window does not count: it would leave a gap.
    """
    if ground.weather.source != OPEN_METEO:
        return False
    stored = [issue for source in HISTORIES for issue in latest_issues(session, ground.id, source, now=now)]
    if start is None:
        reaches = datetime.combine(window, time.min, tzinfo=ground.time_zone) - HISTORY_ENDS_WITHIN
        return all(issue.last_hour < reaches for issue in stored)
    return not stored and (window - start.simulated_from).days < LONG_ENOUGH_DAYS


def read_sources(session: Session, ground: Ground, pulled: Pull, onsite: OnSite, *, now: datetime, since: datetime) -> WeatherSources:
    """Everything that is to be joined: what was just pulled, stored issues that reach back to ``since``, and the ground's instruments."""
    forecasts = [issue for issue in pulled.issues if issue.source not in HISTORIES]
    for source in forecast_sources(ground):
        forecasts += _stored(session, ground, source, now=now, since=since)
    histories = [issue for issue in pulled.issues if issue.source in HISTORIES]
    for source in histories_of(ground):
        histories += _stored(session, ground, source, now=now, since=since)
    frames = (frame_since(frame, since) for frame in onsite.frames)
    return WeatherSources(
        forecasts=tuple(forecasts),
        histories=tuple(histories),
        onsite=replace(onsite, frames=tuple(frame for frame in frames if len(frame.values))),
        problem=pulled.problem,
        services=service_notes(session, ground, now=now),
    )


def joined_weather(
    session: Session, ground: Ground, pulled: Pull, onsite: OnSite, *, now: datetime, since: datetime, stale_after_hours: float
) -> GatheredWeather:
    """Read and join at once, see ``read_sources`` and ``joining.join_sources``."""
    sources = read_sources(session, ground, pulled, onsite, now=now, since=since)
    return join_sources(ground, sources, now=now, since=since, stale_after_hours=stale_after_hours)


def forecast_sources(ground: Ground) -> tuple[str, ...]:
    """Whose stored forecasts count for a ground: its own source's, and where that is a service, those of the one that stands in for it.

    What another source once said of a ground that has its own station now, or invented weather, is kept but not joined.
    """
    return (OPEN_METEO, MET_NORWAY) if ground.weather.source == OPEN_METEO else (ground.weather.source,)


def histories_of(ground: Ground) -> tuple[str, ...]:
    """Whose stored reanalysis counts for a ground; see ``forecast_sources``."""
    return HISTORIES if ground.weather.source == OPEN_METEO else ()


def _stored(session: Session, ground: Ground, source: str, *, now: datetime, since: datetime) -> list[Issue]:
    found = []
    for issue in issues_reaching_back(session, ground.id, source, now=now, since=since, newest=OLDER_ISSUES):
        try:
            found.append(Issue(source, decode(issue.blob), issue.blob))
        except StorageError as error:
            # One damaged issue must not keep the others, or a new pull, from being used.
            log.error("the weather of %s issued at %s is left out: %s", ground.id, issue.issued_at, error.message)
    return found


def issues_to_store(ground: Ground, issues: Sequence[Issue], *, now: datetime) -> list[StoredIssue]:
    """Each pulled frame as one compressed blob, as it was issued."""
    return [
        StoredIssue(
            ground_id=ground.id,
            source=issue.source,
            issued_at=issue.frame.issued_at,
            stored_at=now,
            first_hour=issue.frame.values.index[0].to_pydatetime(),
            last_hour=issue.frame.values.index[-1].to_pydatetime(),
            blob=issue.blob,
        )
        for issue in issues
        if len(issue.frame.values)
    ]
