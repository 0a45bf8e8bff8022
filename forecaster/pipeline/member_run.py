"""The soil under every weather member: from the state before today through the coming days, and how far the members then lie apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import date, datetime, time, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt

from forecaster.ground.ground import Ground
from forecaster.member_documents import MemberDay
from forecaster.pipeline.joining import GatheredWeather
from forecaster.pipeline.member_pull import Members, without_use
from forecaster.pipeline.soil_run import GroundRun, one_after_the_other
from forecaster.quantities import TurfState
from forecaster.risk.member_spread import MemberRun, member_spread
from forecaster.settings.configuration import Configuration
from forecaster.soil.member_columns import columns_of_members, member_columns, member_forcing, member_state
from forecaster.soil.simulate import Simulation, simulate
from forecaster.soil.surfaces import column_of, irrigation_given, surface_columns
from forecaster.weather.daily import DailyWeather, Place
from forecaster.weather.hourly import checked_frame
from forecaster.weather.member_days import MemberDays, member_days

SpreadOfDays = Mapping[date, MemberDay]


def with_members(
    ground: Ground, weather: GatheredWeather, members: Members, run: GroundRun, configuration: Configuration, *, now: datetime
) -> tuple[GatheredWeather, Mapping[str, SpreadOfDays]]:
    """Run the soil under every member: the weather with what is told of its members, and their spread by surface and day.

    Empty where there are no members, or nothing to begin from; the outlook then rests on the single forecast, and says so.
    """
    today = now.astimezone(ground.time_zone).date()
    past = sum(day < today for day in run.daily.days)
    spread: dict[str, SpreadOfDays] = {}
    if members.weather is not None and (run.before_today is None or not past or run.daily.days[past - 1] != today - timedelta(days=1)):
        members = without_use(members, "the weather of the days before is not known")
    if members.weather is not None:
        made = _coming_days(ground, weather, members, run, now=now)
        if not made.daily.days or made.daily.days[0] != today:
            members = without_use(members, "they do not reach from today on")
        else:
            spread = _spread(ground, weather, made, run, configuration, past=past, today=today)
    return replace(weather, status=weather.status.model_copy(update={"members": members.status})), spread


def _coming_days(ground: Ground, weather: GatheredWeather, members: Members, run: GroundRun, *, now: datetime) -> MemberDays:
    assert members.weather is not None
    place = Place(ground.latitude, ground.longitude, ground.elevation_m)
    midnight = datetime.combine(now.astimezone(ground.time_zone).date(), time.min, tzinfo=ground.time_zone)
    return member_days(
        members.weather,
        None if weather.frame is None else checked_frame(weather.frame, place)[0],
        place=place,
        time_zone=ground.time_zone,
        since=midnight,
        now=now,
        previous_heat=run.heat_before_today,
    )


def _spread(
    ground: Ground, weather: GatheredWeather, made: MemberDays, run: GroundRun, configuration: Configuration, *, past: int, today: date
) -> dict[str, SpreadOfDays]:
    assert run.before_today is not None
    count, columns = made.daily.rain_mm.shape[1], surface_columns(ground.surfaces)
    forcing = member_forcing(ground.surfaces, made, irrigation_logs=weather.irrigation)
    coming = simulate(member_columns(columns, count), member_state(run.before_today, count), forcing, configuration.model)
    simulation = one_after_the_other(_same_for_all(run.simulation, past, count), coming)
    daily = _joined(run.daily, made.daily, past=past, members=count)

    def at(surface: int, state: TurfState) -> npt.NDArray[np.intp]:
        return columns_of_members(column_of(surface, state), of=columns.count, members=count)

    return {
        surface.id: member_spread(
            MemberRun(
                ground=ground,
                surface=surface,
                daily=daily,
                simulation=simulation,
                sound=at(number, TurfState.SOUND),
                band=at(number, TurfState.BAND),
                irrigation_mm=irrigation_given(surface.irrigation, daily.days, weather.irrigation.get(surface.id)),
            ),
            configuration.rules,
            today=today,
        )
        for number, surface in enumerate(ground.surfaces)
    }


def _same_for_all(simulation: Simulation, days: int, members: int) -> Simulation:
    """The first days of a run as every member remembers them."""
    names = [field.name for field in fields(Simulation) if field.name != "final"]
    return Simulation(**{name: np.tile(getattr(simulation, name)[:days], (1, members)) for name in names}, final=simulation.final)


def _joined(before: DailyWeather, coming: DailyWeather, *, past: int, members: int) -> DailyWeather:
    """The past days, the same for every member, and each member's coming days; arrays of shape (day, member)."""
    joined: dict[str, Any] = {}
    for field in fields(DailyWeather):
        ahead = getattr(coming, field.name)
        if isinstance(ahead, np.ndarray) and ahead.ndim == 2:
            known = getattr(before, field.name)[:past, None]
            joined[field.name] = np.concatenate((np.repeat(known, members, axis=1), ahead))
    codes = np.concatenate((before.origin_code[:past], coming.origin_code))
    days = (*before.days[:past], *coming.days)
    return replace(coming, days=days, origin_code=codes, estimated=(*before.estimated[:past], *coming.estimated), **joined)
