"""``forecaster et0``: reference evapotranspiration of a station file, saying of every value what had to be estimated for it."""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from rich.console import Console
from rich.table import Table

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.physics import bounds
from forecaster.physics.evapotranspiration import VARIANTS
from forecaster.sources.station_weather import StationWeather, read_station, zone_of
from forecaster.weather.hourly import evaporation_of_hours
from forecaster.weather.place import Place
from forecaster.weather.procedures import Circumstances
from forecaster.weather.station_days import Evaporation, evaporation_of_days

Floats = npt.NDArray[np.float64]

SHOWN_MISTAKES = 20
OUT_OF_RANGE_HINT = " --replace-impossible takes numbers out of range for missing instead."


@dataclass(frozen=True)
class Request:
    """What was typed. ``wind_height_m`` may be None where the file has no wind."""

    file: Path
    latitude: float
    longitude: float
    elevation_m: float
    wind_height_m: float | None
    hourly: bool
    variant: str
    zone: str | None
    columns: Sequence[str]
    setting: Literal["inland", "coast", "island"]
    arid: bool
    hargreaves: bool
    replace_impossible: bool
    out: Literal["table", "csv"] | None


def run(request: Request) -> None:
    """Read, compute, print. The result goes to standard output; beside CSV the summary goes to standard error.

    Raises: WeatherUnavailable where the file cannot be read; WeatherMalformed with every mistake of the options and the file at once.
    """
    weather = _checked(request)
    place = Place(request.latitude, request.longitude, request.elevation_m)
    circumstances = Circumstances(request.setting, request.arid)
    height_m = request.wind_height_m if request.wind_height_m is not None else 2.0  # no wind in the file: nothing to convert
    variant = VARIANTS[request.variant]
    if request.hourly:
        result = evaporation_of_hours(
            weather.series, weather.times, place=place, wind_height_m=height_m, variant=variant, circumstances=circumstances
        )
    else:
        result = evaporation_of_days(
            weather.series,
            day_of_year=weather.times.day_of_year.to_numpy(),
            place=place,
            wind_height_m=height_m,
            variant=variant,
            circumstances=circumstances,
            hargreaves=request.hargreaves,
        )
    out = request.out or ("table" if sys.stdout.isatty() else "csv")
    stamps = [f"{time:%Y-%m-%dT%H:%MZ}" if request.hourly else f"{time:%Y-%m-%d}" for time in weather.times]
    notes = _notes_by_row(result)
    if out == "csv":
        _write_csv(stamps, result, notes, hourly=request.hourly)
    else:
        _print_table(stamps, result, notes, hourly=request.hourly)
    for line in _summary(request, weather, stamps, result):
        print(line, file=sys.stderr if out == "csv" else sys.stdout)


def _checked(request: Request) -> StationWeather:
    mistakes = [
        f"{option} = {value:g}: {limits.quantity} must be {limits}"
        for option, value, limits in (
            ("--latitude", request.latitude, bounds.LATITUDE),
            ("--longitude", request.longitude, bounds.LONGITUDE),
            ("--elevation", request.elevation_m, bounds.ELEVATION),
            ("--wind-height", request.wind_height_m, bounds.WIND_HEIGHT),
        )
        if value is not None and not limits.hold(value)
    ]
    if request.variant not in VARIANTS:
        mistakes.append(f"--variant = {request.variant}: must be one of {', '.join(VARIANTS)}")
    zone: tzinfo | None = None
    if request.zone is not None:
        try:
            zone = zone_of(request.zone)
        except ValueError:
            mistakes.append(f"--zone = {request.zone}: must be a zone such as Europe/London, or an offset such as -08:00")
    pairs = [text.partition("=") for text in request.columns]
    mistakes += [f"--map = {''.join(pair)}: must be NAME=COLUMN, such as air_temperature_min_c=tmin" for pair in pairs if not pair[2]]
    columns = {theirs.strip(): ours.strip() for ours, _, theirs in pairs}
    name = request.file.name
    try:
        weather, of_file = read_station(
            request.file, hourly=request.hourly, zone=zone, columns=columns, refuse_impossible=not request.replace_impossible
        )
    except OSError as error:
        raise WeatherUnavailable(f"{name or request.file} cannot be read: {error.strerror}", source=name, hint="Check the path.") from error
    except UnicodeDecodeError as error:
        raise WeatherMalformed(f"{name} is not UTF-8 text (byte {error.start})", source=name, hint="Save it as CSV in UTF-8.") from error
    mistakes += [f"{name} {mistake}" for mistake in of_file]
    if request.wind_height_m is None and weather is not None and {"wind_speed_ms", "nearby_wind_speed_ms"} & set(weather.series):
        mistakes.append(f"--wind-height: {name} has wind: say how high above the ground it was measured, in metres")
    if mistakes or weather is None:
        more = len(mistakes) - SHOWN_MISTAKES
        shown = [*mistakes[:SHOWN_MISTAKES], *([f"and {more} more"] if more > 0 else [])]
        raise WeatherMalformed(
            f"{len(mistakes)} mistake{'s' if len(mistakes) != 1 else ''}:\n  " + "\n  ".join(shown),
            source=name,
            hint="Nothing was computed." + (OUT_OF_RANGE_HINT if any("must be a number" in mistake for mistake in of_file) else ""),
        )
    return weather


def _notes_by_row(result: Evaporation) -> list[str]:
    notes = result.notes()
    return ["; ".join(told for told, where in notes if where[row]) for row in range(len(result.et0_mm))]


def _number(value: float, digits: int) -> str:
    return "" if np.isnan(value) else f"{value:.{digits}f}"


def _write_csv(stamps: Sequence[str], result: Evaporation, notes: Sequence[str], *, hourly: bool) -> None:
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(("time_utc" if hourly else "date", "et0_mm", "vapour_pressure_kpa", "shortwave_mj", "wind_speed_2m_ms", "estimated"))
    columns = (result.et0_mm, result.vapour_pressure_kpa, result.shortwave_mj, result.wind_speed_2m_ms)
    for row, stamp in enumerate(stamps):
        writer.writerow((stamp, *(_number(column[row], 4) for column in columns), notes[row]))


def _print_table(stamps: Sequence[str], result: Evaporation, notes: Sequence[str], *, hourly: bool) -> None:
    table = Table()
    table.add_column("hour (UTC)" if hourly else "day", no_wrap=True)
    table.add_column("ET0 mm", justify="right", no_wrap=True)
    table.add_column("estimated or taken out")
    for row, stamp in enumerate(stamps):
        table.add_row(stamp, _number(result.et0_mm[row], 3 if hourly else 2) or "missing", notes[row])
    Console().print(table)


def _summary(request: Request, weather: StationWeather, stamps: Sequence[str], result: Evaporation) -> list[str]:
    total, known = len(stamps), int(np.isfinite(result.et0_mm).sum())
    what = "hours" if request.hourly else "days"
    lines = [
        f"{VARIANTS[request.variant].described}: {known} of {total} {what} from {stamps[0]} to {stamps[-1]}; "
        f"ET0 {float(np.nansum(result.et0_mm)):.1f} mm in all."
    ]
    if known < total:
        want = "air temperature, their own or that of most of their day" if request.hourly else "air temperature"
        lines.append(f"Missing: {total - known} {what} have no result, for want of {want}.")
    for told, where in result.removed:
        lines.append(f"On {int(where.sum())} of {total} {what}: {told}.")
    for row, where in result.resolved.used:
        kind = "Estimated" if row.estimate else "Worked out"
        lines.append(
            f"{kind} on {int(where.sum())} of {total} {what}: {row.told} ({row.source}).{' ' + row.caution if row.caution else ''}"
        )
    for told, where in result.assumed:
        if where.any():
            lines.append(f"Assumed on {int(where.sum())} of {total} {what}: {told}.")
    if not any(row.estimate for row, _ in result.resolved.used) and not any(where.any() for _, where in result.assumed):
        lines.append("Nothing had to be estimated.")
    if weather.unused:
        lines.append(f"Columns not used: {', '.join(weather.unused)}.")
    return lines
