"""Join all that is known of a ground's weather: own instruments, what was just pulled, older issues, reanalysis."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from sqlalchemy.orm import Session

from forecaster.credits import Credit
from forecaster.documents import WeatherStatus
from forecaster.errors import StorageError
from forecaster.ground.ground import Ground
from forecaster.pipeline.pull import HISTORIES, Issue, Pull
from forecaster.pipeline.services import MET_NORWAY, service_notes
from forecaster.pipeline.start import Start
from forecaster.pipeline.together import OPEN_METEO
from forecaster.sources.onsite import logged_irrigation, onsite_readings
from forecaster.sources.onsite_reading import lines_not_used
from forecaster.storage.weather import StoredIssue, issues_reaching_back, latest_issues
from forecaster.weather.codec import decode, encode
from forecaster.weather.frame import HourlyWeather
from forecaster.weather.hourly import checked_source
from forecaster.weather.merge import Joined, by_age, join
from forecaster.weather.overlap import suspicions, without
from forecaster.weather.place import Place
from forecaster.weather.report import SHOWN_DAYS, weather_report
from forecaster.weather.status import reaches_ahead, weather_status
from forecaster.weather_report import NotUsed, WeatherReport

log = logging.getLogger(__name__)

# A state that was simulated for so long rests on weather, whatever was assumed at its start.
LONG_ENOUGH_DAYS = 300
# Reanalysis comes in whole days of UTC, or of the sun, and the window begins at a local midnight: up to 14 hours lie between them in the
# zones there are, up to 12 more for days of the sun, and rain labelled at its end lacks the last hour. Rounded up to whole days.
HISTORY_ENDS_WITHIN = timedelta(days=2)
# Enough to bridge pulls that lacked hours; older ones are taken where these do not reach back far enough.
OLDER_ISSUES = 4


@dataclass(frozen=True)
class OnSite:
    """What the ground's own instruments and logs say: frames, watering by surface and local day [mm], and files that could not be read."""

    frames: tuple[HourlyWeather, ...] = ()
    problems: tuple[str, ...] = ()
    irrigation: Mapping[str, Mapping[date, float]] = field(default_factory=dict)
    not_used: tuple[NotUsed, ...] = ()
    """Lines and values of files that were not taken in."""


@dataclass(frozen=True)
class GatheredWeather:
    """The weather a cycle works with: the joined frame (None where there has never been any), how good it is, and logged watering.

    ``report``: where every value comes from, what was not used and why; None where there is nothing to report on.
    """

    frame: HourlyWeather | None
    status: WeatherStatus
    irrigation: Mapping[str, Mapping[date, float]] = field(default_factory=dict)
    report: WeatherReport | None = None


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


def joined_weather(
    session: Session, ground: Ground, pulled: Pull, onsite: OnSite, *, now: datetime, since: datetime, stale_after_hours: float
) -> GatheredWeather:
    """Join by trust, from ``since`` on: own instruments, then forecasts by their age whoever issued them, then reanalysis.

    Each is checked by itself first, so that the next may say what a fault took out of one.
    """
    place = Place(ground.latitude, ground.longitude, ground.elevation_m)
    forecasts = [issue.frame for issue in pulled.issues if issue.source not in HISTORIES]
    for source in forecast_sources(ground):
        forecasts += _stored(session, ground, source, now=now, since=since)
    history = [issue.frame for issue in pulled.issues if issue.source in HISTORIES]
    for source in histories_of(ground):
        history += _stored(session, ground, source, now=now, since=since)
    newest_first = [checked_source(frame, place) for frame in by_age(forecasts)]
    history = [checked_source(frame, place) for frame in history]
    # How good the weather is, is a matter of the forecast: the newest that reaches ahead, or the newest there is.
    judged = next((frame for frame in newest_first if reaches_ahead(frame, now)), next(iter(newest_first), None))
    problem = "; ".join(told for told in (pulled.problem, *onsite.problems) if told) or None
    status = weather_status(judged, now=now, stale_after_hours=stale_after_hours, problem=problem)
    status = status.model_copy(update={"services": service_notes(session, ground, now=now)})
    instruments, doubts = _beside_models(onsite.frames, [*newest_first, *history], place=place, now=now)
    rungs = [*instruments, *newest_first, *history]
    if not rungs:
        return GatheredWeather(None, status.model_copy(update={"sample": ground.sample}), onsite.irrigation)
    joined = join(rungs, since=since)
    status = status.model_copy(update={"credits": credits_of(joined)})
    whole = joined.frame.source
    if judged is not None and whole != judged.source:
        # Everyone whose data are shown is named.
        status = status.model_copy(update={"attribution": whole.attribution, "licence": whole.licence})
    report = weather_report(ground.id, joined, now=now, unread=onsite.not_used, notes=(*onsite.problems, *doubts))
    return GatheredWeather(joined.frame, status, onsite.irrigation, report)


def _beside_models(
    frames: Sequence[HourlyWeather], models: Sequence[HourlyWeather], *, place: Place, now: datetime
) -> tuple[list[HourlyWeather], list[str]]:
    """Instruments checked by themselves and beside what models say of the same hours, and what looked odd."""
    checked = [checked_source(frame, place) for frame in frames]
    if not checked or not models:
        return checked, []
    model = join(models, since=now - timedelta(days=SHOWN_DAYS)).frame
    found: list[HourlyWeather] = []
    doubts: list[str] = []
    for frame in checked:
        odd = suspicions(frame, model)
        doubts += [suspicion.told for suspicion in odd]
        found.append(without(frame, [suspicion for suspicion in odd if suspicion.taken_out]))
    return found, doubts


def forecast_sources(ground: Ground) -> tuple[str, ...]:
    """Whose stored forecasts count for a ground: its own source's, and where that is a service, those of the one that stands in for it.

    What another source once said of a ground that has its own station now, or invented weather, is kept but not joined.
    """
    return (OPEN_METEO, MET_NORWAY) if ground.weather.source == OPEN_METEO else (ground.weather.source,)


def histories_of(ground: Ground) -> tuple[str, ...]:
    """Whose stored reanalysis counts for a ground; see ``forecast_sources``."""
    return HISTORIES if ground.weather.source == OPEN_METEO else ()


def credits_of(joined: Joined) -> tuple[Credit, ...]:
    """Everyone who gave a value, most trusted first: each licence asks to be named, and most of them with an address."""
    codes = joined.rung_of.to_numpy()
    sources = dict.fromkeys(rung.source for number, rung in enumerate(joined.rungs) if (codes == number).any())
    return tuple(Credit(name=one.name, attribution=one.attribution, licence=one.licence, link=one.link) for one in sources)


def _stored(session: Session, ground: Ground, source: str, *, now: datetime, since: datetime) -> list[HourlyWeather]:
    found = []
    for issue in issues_reaching_back(session, ground.id, source, now=now, since=since, newest=OLDER_ISSUES):
        try:
            found.append(decode(issue.blob))
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
            blob=encode(issue.frame),
        )
        for issue in issues
        if len(issue.frame.values)
    ]
