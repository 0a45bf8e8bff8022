"""Everything that the outlooks of one run rest on besides the configuration, and what is worked out from it. Nothing is read here.

So a run can be gone through again from what is kept of it (``kept_run``): whatever an outlook is to rest on belongs into ``RunInputs``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from forecaster.documents import SurfaceOutlook
from forecaster.ground.ground import Ground
from forecaster.pipeline.joining import GatheredWeather, WeatherSources, join_sources
from forecaster.pipeline.member_pull import Members
from forecaster.pipeline.member_run import with_members
from forecaster.pipeline.soil_run import GroundRun, run_soil, surface_runs, weather_needed_since, window_start
from forecaster.pipeline.start import Start
from forecaster.risk.judgement import Judgement, SurfaceRun, judge
from forecaster.risk.outlook import build_outlook
from forecaster.risk.wet_hours import wet_hours_of
from forecaster.settings.configuration import Configuration


@dataclass(frozen=True)
class RunInputs:
    """What one run of one ground begins with.

    ``ground``: with what people entered and their calendar says; ``start``: the soil before, None where it has to be assumed.
    """

    ground: Ground
    now: datetime
    start: Start | None
    sources: WeatherSources
    members: Members


@dataclass(frozen=True)
class WorkedOut:
    """What comes out of it: the weather joined, the soil, what each rule said, and the outlooks, one per surface."""

    weather: GatheredWeather
    run: GroundRun
    judged: tuple[tuple[SurfaceRun, Judgement], ...]
    outlooks: tuple[SurfaceOutlook, ...]


def work_out(inputs: RunInputs, configuration: Configuration) -> WorkedOut:
    """Weather → soil → risk → outlooks. The same inputs and configuration give the same outlooks."""
    ground, now, service = inputs.ground, inputs.now, configuration.service
    today = now.astimezone(ground.time_zone).date()
    window = window_start(today, history_days=service.history_days)
    since = weather_needed_since(ground, inputs.start, window=window)
    weather = join_sources(ground, inputs.sources, now=now, since=since, stale_after_hours=service.stale_after_hours)
    run = run_soil(ground, weather, configuration.model, start=inputs.start, window=window, today=today)
    weather, spread = with_members(ground, weather, inputs.members, run, configuration, now=now)
    wet_hours = wet_hours_of(ground, weather.frame, now=now)
    judged = tuple((surface, judge(surface, configuration.rules, today=today)) for surface in surface_runs(ground, weather, run))
    outlooks = tuple(
        build_outlook(
            surface,
            configuration.rules,
            today=today,
            issued_at=now,
            wet_hours=wet_hours[surface.surface.id],
            judged=said,
            members=spread.get(surface.surface.id),
        )
        for surface, said in judged
    )
    return WorkedOut(weather, run, judged, outlooks)
