"""``forecaster rehearse``: the days on which each rule of a file would have spoken over past seasons, and how another file differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

from forecaster.charts.rehearsal import comparison_finding, rehearsal_chart, rehearsal_finding
from forecaster.charts.render import render_svg
from forecaster.commands.validate import read_mapping, read_stations
from forecaster.commands.validation_weather import station_weather
from forecaster.errors import ConfigurationError, Mistake, NotFound, WeatherUnavailable
from forecaster.ground.ground import Ground
from forecaster.ground.surface import Surface
from forecaster.physics import soil_heat
from forecaster.pipeline.context import Context
from forecaster.pipeline.gather import joined_weather, read_onsite
from forecaster.pipeline.joining import GatheredWeather
from forecaster.pipeline.pull import Pull
from forecaster.pipeline.soil_run import GroundRun, run_soil, surface_runs
from forecaster.quantities import Origin
from forecaster.risk.judgement import SurfaceRun
from forecaster.risk.rehearsal import Difference, RehearsedRule, differences, rehearse_rules
from forecaster.risk.rule import Rule
from forecaster.settings.configuration import load_rules
from forecaster.soil.columns import ModelParameters
from forecaster.soil.simulate import simulate
from forecaster.soil.state import first_guess
from forecaster.soil.surfaces import surface_columns, surface_forcing
from forecaster.sources.station_file import StationSeries
from forecaster.storage.database import reading
from forecaster.weather.daily import DailyWeather
from forecaster.weather.frame import ORIGIN_CODES
from forecaster.weather.status import weather_status

# The first guess of the soil shows for weeks to months (``forecaster spin-up``), so its first half year is not counted where there is
# more than a year. Status: assumption.
SETTLING_DAYS = 182
LONG_ENOUGH_DAYS = 365
STORED_YEARS = 3


@dataclass(frozen=True)
class Request:
    """What was asked for on the command line."""

    ground: str
    files: tuple[Path, ...]
    rules: Path | None
    against: Path | None
    surface: str | None
    counted_from: date | None
    columns: Sequence[str]


@dataclass(frozen=True)
class RehearsedSurface:
    """What one or two rule files would have said of one surface; ``other`` is empty where there is only one file."""

    surface: Surface
    rules: tuple[RehearsedRule, ...]
    other: tuple[RehearsedRule, ...] = ()

    def differences(self) -> tuple[Difference, ...]:
        """By rule, where the files differ in days."""
        return tuple(found for found in differences(self.rules, self.other) if found.only_one or found.only_other)


@dataclass(frozen=True)
class Rehearsal:
    """One weather gone through with one rule file or two, named. ``notes``: what was estimated or assumed, in words."""

    weather: str
    name: str
    other: str | None
    first: date
    counted_from: date
    last: date
    surfaces: tuple[RehearsedSurface, ...]
    notes: tuple[str, ...]

    @property
    def days(self) -> int:
        """Days that count [d]."""
        return (self.last - self.counted_from).days + 1


@dataclass(frozen=True)
class RuleFile:
    """Rules with the name of their file."""

    name: str
    rules: tuple[Rule, ...]


@dataclass(frozen=True)
class PastWeather:
    """Weather with the surfaces simulated through it, up to ``last``. ``notes``: what was estimated or is missing, in words."""

    name: str
    runs: tuple[SurfaceRun, ...]
    last: date
    notes: tuple[str, ...]


def stored_weather(ground: Ground, context: Context) -> PastWeather:
    """The ground's own stored weather, up to yesterday, in one go. Raises: WeatherUnavailable where nothing is stored."""
    now, today = context.clock(), context.clock().astimezone(ground.time_zone).date()
    since = datetime.combine(today - timedelta(days=STORED_YEARS * 366), time.min, tzinfo=ground.time_zone)
    stale = context.configuration.service.stale_after_hours
    with reading(context.engine) as session:
        weather = joined_weather(session, ground, Pull(), read_onsite(ground, now=now), now=now, since=since, stale_after_hours=stale)
    run = run_soil(ground, weather, context.configuration.model, start=None, window=since.date())
    if not run.daily.days or run.daily.days[0] >= today:
        hint = "Run a cycle first, or name a station file."
        raise WeatherUnavailable(f"no weather is stored for {ground.id}", source="stored weather", hint=hint)
    past = [known for day, known in zip(run.daily.days, run.daily.complete, strict=True) if day < today]
    missing = len(past) - sum(past)
    notes = (f"{missing} days without weather: the rules stay as they were",) if missing else ()
    last = min(run.daily.days[-1], today - timedelta(days=1))
    return PastWeather(f"stored weather of {ground.name}", surface_runs(ground, weather, run), last, notes)


def weather_of_station(ground: Ground, model: ModelParameters, series: StationSeries, *, now: datetime) -> PastWeather:
    """The days of a station file under the surfaces of a ground, with their planned watering."""
    weather, notes = station_weather(series)
    soil_temperature, _ = soil_heat.simulated_soil_temperature(weather.heat)
    known = weather.known & np.isfinite(soil_temperature)
    heat, nothing = weather.heat, np.full(len(series.days), np.nan)
    daily = DailyWeather(
        days=tuple(series.days),
        rain_mm=weather.rain_mm,
        air_temperature_mean_c=heat.air_temperature_mean_c,
        air_temperature_min_c=weather.air_temperature_min_c,
        air_temperature_max_c=series.value("air_temperature_max_c"),
        vapour_pressure_kpa=nothing,
        relative_humidity_min_percent=weather.relative_humidity_min_percent,
        wind_speed_2m_ms=heat.wind_speed_2m_ms,
        shortwave_mj=nothing,
        soil_temperature_c=soil_temperature,
        et0_mm=heat.et0_mm,
        estimated_share=nothing,
        complete=known,
        origin_code=np.where(known, ORIGIN_CODES[Origin.OBSERVED], ORIGIN_CODES[Origin.MISSING]).astype(np.int8),
        estimated=((),) * len(series.days),
    )
    columns = surface_columns(ground.surfaces)
    simulation = simulate(columns, first_guess(columns, model), surface_forcing(ground.surfaces, daily, slice(None)), model)
    run = GroundRun(daily, simulation, daily.days[0], daily.days[-1], simulation.final, None)
    nobody = GatheredWeather(None, weather_status(None, now=now, stale_after_hours=1.0))
    told = ("rain by the day: nothing runs off for its intensity", "soil temperature simulated", *notes)
    return PastWeather(f"station {series.id}", surface_runs(ground, nobody, run), daily.days[-1], told)


def run(request: Request, context: Context, *, folder: Path) -> list[Rehearsal]:
    """Everything that was asked for: one rehearsal per station file, or one of the stored weather.

    Raises: ConfigurationError with every mistake of the request; NotFound; what reading weather raises.
    """
    ground = context.configuration.ground(request.ground)
    if request.surface is not None:
        ground = _with_one_surface(ground, request.surface)
    rules = RuleFile("the configured rules", context.configuration.rules)
    if request.rules is not None:
        rules = RuleFile(request.rules.name, load_rules(request.rules, folder))
    other = None if request.against is None else RuleFile(request.against.name, load_rules(request.against, folder))
    if other is not None and other.name == rules.name:
        rules, other = RuleFile(str(request.rules), rules.rules), RuleFile(str(request.against), other.rules)
    if request.files:
        columns = read_mapping(request.columns)
        place = {"latitude": ground.latitude, "elevation_m": ground.elevation_m}
        stations = read_stations(request.files, columns=columns, soil_needed=False, **place)
        weathers = [weather_of_station(ground, context.configuration.model, series, now=context.clock()) for series in stations]
    else:
        weathers = [stored_weather(ground, context)]
    return [rehearse(weather, rules, other, counted_from=request.counted_from) for weather in weathers]


def _with_one_surface(ground: Ground, surface_id: str) -> Ground:
    surfaces = tuple(surface for surface in ground.surfaces if surface.id == surface_id)
    if not surfaces:
        known = ", ".join(surface.id for surface in ground.surfaces)
        raise NotFound(f"{ground.id} has no surface {surface_id!r}", hint=f"Known are: {known}.")
    return replace(ground, surfaces=surfaces)


def rehearse(weather: PastWeather, rules: RuleFile, other: RuleFile | None = None, *, counted_from: date | None = None) -> Rehearsal:
    """Go through past weather with one or two rule files.

    ``counted_from``: first day that counts; by default the first, or half a year later where there is more than a year of weather.
    Raises: ConfigurationError where it lies outside the weather.
    """
    first, last = weather.runs[0].daily.days[0], weather.last
    if counted_from is None:
        long_enough = (last - first).days >= LONG_ENOUGH_DAYS
        counted_from = first + timedelta(days=SETTLING_DAYS) if long_enough else first
    elif not first <= counted_from <= last:
        raise ConfigurationError([Mistake("command line", "--from", str(counted_from), f"a day of {weather.name}: {first} to {last}")])
    surfaces = tuple(
        RehearsedSurface(
            run.surface,
            rehearse_rules(run, rules.rules, counted_from=counted_from, last=last),
            () if other is None else rehearse_rules(run, other.rules, counted_from=counted_from, last=last),
        )
        for run in weather.runs
    )
    settled = (counted_from - first).days
    start = f"the soil on {first} is assumed, {settled} days before the first that counts"
    names = (rules.name, None if other is None else other.name)
    return Rehearsal(weather.name, *names, first, counted_from, last, surfaces, (start, *weather.notes))


def print_rehearsal(rehearsal: Rehearsal, console: Console, *, spells: bool) -> None:
    """Per surface: days by rule and year, each spell where asked for, and where another file differs."""
    name, other = rehearsal.name, rehearsal.other
    console.print(
        f"{name} over {rehearsal.weather}, with the weather as it came: "
        f"{rehearsal.counted_from} to {rehearsal.last}, {rehearsal.days} days.",
        highlight=False,
        soft_wrap=True,
    )
    for found in rehearsal.surfaces:
        console.print(f"\n{_finding(rehearsal, found)}.", highlight=False, soft_wrap=True)
        console.print(_years(rehearsal, found, other))
        if spells:
            console.print(_spells(found))
        if other is not None:
            console.print(*_differing(found, name, other), sep="\n", highlight=False, soft_wrap=True)
            console.print()
    console.print("Assumed or estimated: " + "; ".join(rehearsal.notes) + ".", highlight=False, soft_wrap=True)


def _finding(rehearsal: Rehearsal, found: RehearsedSurface) -> str:
    if rehearsal.other is None:
        return rehearsal_finding(found.surface.name, found.rules, days=rehearsal.days)
    return comparison_finding(found.surface.name, found.differences(), (rehearsal.name, rehearsal.other))


def _years(rehearsal: Rehearsal, found: RehearsedSurface, other: str | None) -> Table:
    years = range(rehearsal.counted_from.year, rehearsal.last.year + 1)
    table = Table(box=SIMPLE)
    table.add_column("rule")
    for heading in (*(str(year) for year in years), "days", "spells", *(() if other is None else ("gained", "lost"))):
        table.add_column(heading, justify="right")
    changed = {difference.rule_id: difference for difference in found.differences()}
    for rehearsed in found.rules:
        trial = " (trial)" if rehearsed.rule.trial else ""
        if not rehearsed.applies:
            table.add_row(f"{rehearsed.rule.title}{trial}", *("-" for _ in years), "-", "no such ring surveyed")
            continue
        by_year = [str(sum(day.year == year for day in rehearsed.spoken)) for year in years]
        row = [f"{rehearsed.rule.title}{trial}", *by_year, str(len(rehearsed.spoken)), str(len(rehearsed.spells))]
        if other is not None:
            difference = changed.get(rehearsed.rule.id)
            row += ["0", "0"] if difference is None else [str(len(difference.only_one)), str(len(difference.only_other))]
        table.add_row(*row)
    return table


def _spells(found: RehearsedSurface) -> Table:
    table = Table(box=SIMPLE)
    for heading in ("rule", "first day", "last day", "days", "worst", "days held without weather"):
        table.add_column(heading, justify="left" if heading in ("rule", "worst") else "right")
    for rehearsed in found.rules:
        for spell in rehearsed.spells:
            cells = (str(spell.first), str(spell.last), str(spell.days), spell.worst.value, str(spell.held) if spell.held else "")
            table.add_row(rehearsed.rule.title, *cells)
    return table


def _differing(found: RehearsedSurface, name: str, other: str) -> list[str]:
    lines = [f"{found.surface.name}: where {name} and {other} differ"]
    for difference in found.differences():
        for days, where, lacking in ((difference.only_one, name, difference.other), (difference.only_other, other, difference.one)):
            if days:
                absent = " (the rule stands in that file alone)" if lacking is None else ""
                lines.append(f"  {difference.rule_id}: only by {where}{absent}: {', '.join(_ranges(days))}")
    return lines if len(lines) > 1 else [f"{found.surface.name}: {name} and {other} speak on the same days."]


def _ranges(days: Sequence[date]) -> list[str]:
    """Days in a row as "2015-08-01 to 2015-08-09"."""
    ranges: list[tuple[date, date]] = []
    for day in days:
        if ranges and day - ranges[-1][1] == timedelta(days=1):
            ranges[-1] = (ranges[-1][0], day)
        else:
            ranges.append((day, day))
    return [f"{first}" if first == last else f"{first} to {last}" for first, last in ranges]


def write_charts(rehearsals: Sequence[Rehearsal], folder: Path) -> list[Path]:
    """A chart per weather and surface. Returns the files written. Raises: ConfigurationError where the folder cannot be written to."""
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, rehearsal in enumerate(rehearsals, start=1):
            for found in rehearsal.surfaces:
                finding = _finding(rehearsal, found)
                files = [(rehearsal.name, found.rules), *([] if rehearsal.other is None else [(rehearsal.other, found.other)])]
                chart = rehearsal_chart(found.surface.name, files, first=rehearsal.counted_from, last=rehearsal.last, finding=finding)
                path = folder / (f"{found.surface.id}.svg" if len(rehearsals) == 1 else f"{number}-{found.surface.id}.svg")
                path.write_text(render_svg(chart), encoding="utf-8")
                written.append(path)
    except OSError as error:
        allowed = f"a folder that can be written to ({error.strerror})"
        raise ConfigurationError([Mistake("command line", "--chart", str(folder), allowed)]) from error
    return written


def as_document(rehearsals: Sequence[Rehearsal]) -> list[dict[str, Any]]:
    """The same for JSON."""
    return [
        {
            "weather": rehearsal.weather,
            "rules": rehearsal.name,
            "compared_with": rehearsal.other,
            "simulated_from": rehearsal.first.isoformat(),
            "first_day": rehearsal.counted_from.isoformat(),
            "last_day": rehearsal.last.isoformat(),
            "notes": list(rehearsal.notes),
            "surfaces": {
                found.surface.id: {
                    "rules": {rehearsed.rule.id: _plain(rehearsed) for rehearsed in found.rules},
                    **({} if rehearsal.other is None else {"differences": _plain_differences(found)}),
                }
                for found in rehearsal.surfaces
            },
        }
        for rehearsal in rehearsals
    ]


def _plain(rehearsed: RehearsedRule) -> dict[str, Any]:
    spells = [
        {"first_day": spell.first.isoformat(), "last_day": spell.last.isoformat(), "worst": spell.worst.value, "held_days": spell.held}
        for spell in rehearsed.spells
    ]
    return {"applies": rehearsed.applies, "trial": rehearsed.rule.trial, "days": len(rehearsed.spoken), "spells": spells}


def _plain_differences(found: RehearsedSurface) -> dict[str, dict[str, list[str]]]:
    return {
        difference.rule_id: {
            "only_this": [day.isoformat() for day in difference.only_one],
            "only_other": [day.isoformat() for day in difference.only_other],
        }
        for difference in found.differences()
    }
