"""Join what is known of a ground's weather: what was read first goes in, one frame and how good it is come out. Nothing is read here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from forecaster.credits import Credit, ServiceNote
from forecaster.documents import WeatherStatus
from forecaster.ground.ground import Ground
from forecaster.pipeline.pull import Issue
from forecaster.weather.frame import HourlyWeather
from forecaster.weather.hourly import checked_source
from forecaster.weather.merge import Joined, by_age, join
from forecaster.weather.overlap import suspicions, without
from forecaster.weather.place import Place
from forecaster.weather.report import SHOWN_DAYS, weather_report
from forecaster.weather.status import reaches_ahead, weather_status
from forecaster.weather_report import NotUsed, WeatherReport


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


@dataclass(frozen=True)
class WeatherSources:
    """What was read of a ground's weather, before anything is made of it.

    ``forecasts``: issues just pulled, then stored ones; ``histories``: reanalysis, the same. ``problem``: why the newest pull failed, None
    where it did not; ``services``: those of the ground that are not well.
    """

    forecasts: tuple[Issue, ...] = ()
    histories: tuple[Issue, ...] = ()
    onsite: OnSite = OnSite()
    problem: str | None = None
    services: tuple[ServiceNote, ...] = ()


def join_sources(ground: Ground, sources: WeatherSources, *, now: datetime, since: datetime, stale_after_hours: float) -> GatheredWeather:
    """Join by trust, from ``since`` on: own instruments, then forecasts by their age whoever issued them, then reanalysis.

    Each is checked by itself first, so that the next may say what a fault took out of one.
    """
    place, onsite = Place(ground.latitude, ground.longitude, ground.elevation_m), sources.onsite
    newest_first = [checked_source(frame, place) for frame in by_age([issue.frame for issue in sources.forecasts])]
    history = [checked_source(issue.frame, place) for issue in sources.histories]
    # How good the weather is, is a matter of the forecast: the newest that reaches ahead, or the newest there is.
    judged = next((frame for frame in newest_first if reaches_ahead(frame, now)), next(iter(newest_first), None))
    problem = "; ".join(told for told in (sources.problem, *onsite.problems) if told) or None
    status = weather_status(judged, now=now, stale_after_hours=stale_after_hours, problem=problem)
    status = status.model_copy(update={"services": sources.services})
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


def credits_of(joined: Joined) -> tuple[Credit, ...]:
    """Everyone who gave a value, most trusted first: each licence asks to be named, and most of them with an address."""
    codes = joined.rung_of.to_numpy()
    sources = dict.fromkeys(rung.source for number, rung in enumerate(joined.rungs) if (codes == number).any())
    return tuple(Credit(name=one.name, attribution=one.attribution, licence=one.licence, link=one.link) for one in sources)
