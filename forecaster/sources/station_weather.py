"""Weather of a user's own station by the day or by the hour, from a CSV file with our column names, for reference evapotranspiration.

    date,air_temperature_min_c,air_temperature_max_c,dew_point_c,wind_speed_ms,shortwave_mj
    2026-07-01,11.2,23.4,10.1,2.3,21.7

Hours carry ``time_utc`` (2026-07-01T13:00Z), or ``time_local`` with a zone; the time labels the start of the hour. Empty cells and columns
that are not there are missing data. Everything wrong is told at once.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from difflib import get_close_matches
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.units import MEGAJOULES_PER_WATT_HOUR
from forecaster.weather.quality import DAILY_RANGES, STATION_HOUR_RANGES, Plausible

Floats = npt.NDArray[np.float64]

DATE, TIME_UTC, TIME_LOCAL = "date", "time_utc", "time_local"
MISSING_WORDS = frozenset(("", "na", "nan"))
# Other units and names that station files use: column → (ours, factor).
OTHER_UNITS_DAILY = {
    "shortwave_wm2": ("shortwave_mj", 24.0 * MEGAJOULES_PER_WATT_HOUR),
    "relative_humidity_percent": ("relative_humidity_mean_percent", 1.0),
    "vapour_pressure_hpa": ("vapour_pressure_kpa", 0.1),
    "wind_speed_kmh": ("wind_speed_ms", 1.0 / 3.6),
}
OTHER_UNITS_HOURLY = {
    "shortwave_mj": ("shortwave_wm2", 1.0 / MEGAJOULES_PER_WATT_HOUR),
    "vapour_pressure_hpa": ("vapour_pressure_kpa", 0.1),
    "wind_speed_kmh": ("wind_speed_ms", 1.0 / 3.6),
}
NEEDED_DAILY = ("air_temperature_min_c", "air_temperature_max_c")
NEEDED_HOURLY = ("air_temperature_c",)


@dataclass(frozen=True)
class StationWeather:
    """What a file says; series have shape (row,), NaN = missing. Times are days, or UTC hours without a gap."""

    times: pd.DatetimeIndex
    series: dict[str, Floats]
    unused: tuple[str, ...]
    """Columns of the file that evapotranspiration does not ask for."""


@dataclass
class _Reading:
    ranges: Mapping[str, Plausible]
    other_units: Mapping[str, tuple[str, float]]
    time_column: str
    zone: tzinfo
    refuse_impossible: bool
    mistakes: list[str] = field(default_factory=list)
    lines: dict[datetime, int] = field(default_factory=dict)

    @property
    def known(self) -> tuple[str, ...]:
        return (self.time_column, *self.ranges, *self.other_units)


def zone_of(text: str) -> tzinfo:
    """A zone by its name ("Europe/London") or as a fixed offset ("-08:00"). Raises ValueError where there is no such zone."""
    if text[:1] in "+-":
        offset = datetime.strptime(text, "%z").utcoffset()
        assert offset is not None  # %z was asked for
        return timezone(offset)
    try:
        return ZoneInfo(text)
    except (KeyError, OSError) as error:
        raise ValueError(f"no zone is called {text!r}") from error


def read_station(
    path: Path, *, hourly: bool, zone: tzinfo | None = None, columns: Mapping[str, str], refuse_impossible: bool = True
) -> tuple[StationWeather | None, list[str]]:
    """Read a file: its weather (None where anything is wrong) and every mistake in it, with line, column, value and what is allowed.

    ``zone``: of ``time_local``. ``columns``: the file's names → ours, where they differ. ``refuse_impossible``: whether a number outside
    its range is a mistake; if not, it is handed on for the checks to take it out. Raises OSError and UnicodeDecodeError.
    """
    rows = csv.reader(path.read_bytes().decode("utf-8-sig").splitlines())
    found_names = [name.strip() for name in next(rows, [])]
    header = [columns.get(name, name) for name in found_names]
    reading = _Reading(
        ranges=STATION_HOUR_RANGES if hourly else DAILY_RANGES,
        other_units=OTHER_UNITS_HOURLY if hourly else OTHER_UNITS_DAILY,
        time_column=(TIME_LOCAL if TIME_LOCAL in header and TIME_UTC not in header else TIME_UTC) if hourly else DATE,
        zone=zone or UTC,
        refuse_impossible=refuse_impossible,
    )
    _check_mapping(reading, found_names, columns)
    _check_header(reading, header, needed=NEEDED_HOURLY if hourly else NEEDED_DAILY, zone_given=zone is not None)
    if reading.mistakes:
        return None, reading.mistakes
    found = dict(_rows(reading, header, rows))
    if not found and not reading.mistakes:
        reading.mistakes.append("line 2: there is no weather in the file")
    if reading.mistakes:
        return None, reading.mistakes
    return _station_weather(reading, header, found, hourly=hourly), []


def _check_mapping(reading: _Reading, found_names: list[str], columns: Mapping[str, str]) -> None:
    for theirs, ours in columns.items():
        if theirs not in found_names:
            reading.mistakes.append(f"line 1: no column {theirs!r}, which {ours!r} is said to stand in")
        if ours not in reading.known:
            reading.mistakes.append(f"line 1: column {theirs!r} cannot be {ours!r}: names are {', '.join(reading.known)}")


def _check_header(reading: _Reading, header: list[str], *, needed: tuple[str, ...], zone_given: bool) -> None:
    say = reading.mistakes.append
    ours = {reading.other_units.get(name, (name, 1.0))[0] for name in header}
    for name in sorted({name for name in header if header.count(name) > 1}):
        say(f"line 1: column {name!r}: stands there twice")
    for name, (meant, _) in reading.other_units.items():
        if name in header and meant in header:
            say(f"line 1: columns {name!r} and {meant!r}: one of them is enough")
    for name in header:
        close = get_close_matches(name, reading.known, n=1, cutoff=0.85)
        if name not in reading.known and close and close[0] not in header:
            say(f"line 1: column {name!r}: unknown; did you mean {close[0]!r}?")
    missing = [name for name in (reading.time_column, *needed) if name not in ours]
    if missing:
        say(f"line 1: missing {', '.join(repr(name) for name in missing)}; columns used are {', '.join(reading.known)}")
    if reading.time_column == TIME_LOCAL and not zone_given:
        say(f"line 1: column {TIME_LOCAL!r}: needs the zone of its clock (--zone, such as Europe/London or -08:00)")


def _rows(reading: _Reading, header: list[str], rows: Iterator[list[str]]) -> Iterator[tuple[datetime, list[float]]]:
    """Every line's time and the values of the columns in use, in the order of the header."""
    for number, cells in enumerate(rows, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            reading.mistakes.append(f"line {number}: {len(cells)} cells where the header has {len(header)}")
            continue
        values = [_value(reading, number, name, cell.strip()) for name, cell in zip(header, cells, strict=True)]
        moment = _moment(reading, number, cells[header.index(reading.time_column)].strip())
        if moment is not None:
            reading.lines[moment] = number
            yield moment, values


def _moment(reading: _Reading, number: int, text: str) -> datetime | None:
    column = reading.time_column
    allowed = {DATE: "a day such as 2026-07-01", TIME_UTC: "a full UTC hour such as 2026-07-01T13:00Z"}.get(
        column, "a full hour such as 2026-07-01T13:00, without an offset"
    )
    try:
        if column == DATE:
            day = date.fromisoformat(text)
            moment = datetime(day.year, day.month, day.day, tzinfo=UTC)
        else:
            moment = datetime.fromisoformat(text)
            if (column == TIME_UTC) != text.endswith("Z") or (column == TIME_LOCAL and moment.tzinfo is not None):
                raise ValueError
            if moment.minute or moment.second or moment.microsecond:
                raise ValueError
            moment = moment if column == TIME_UTC else moment.replace(tzinfo=reading.zone)
    except ValueError:
        reading.mistakes.append(f"line {number}: {column} = {text!r}: must be {allowed}")
        return None
    if column == TIME_LOCAL:
        utc = moment.astimezone(UTC)
        if utc.astimezone(reading.zone).replace(tzinfo=None) != moment.replace(tzinfo=None):
            reading.mistakes.append(f"line {number}: {column} = {text!r}: the clock went forward over this hour")
            return None
        # The hour that the clock shows twice in autumn: the second line with it is the later one.
        moment = moment.replace(fold=1).astimezone(UTC) if utc in reading.lines else utc
        if moment.minute:
            reading.mistakes.append(f"line {number}: {column} = {text!r}: is no full hour of UTC, which zones by the half hour do not have")
            return None
    if moment in reading.lines:
        reading.mistakes.append(f"line {number}: {column} = {text!r}: stands in line {reading.lines[moment]} already")
        return None
    return moment


def _value(reading: _Reading, number: int, name: str, text: str) -> float:
    ours, factor = reading.other_units.get(name, (name, 1.0))
    if ours not in reading.ranges or text.lower() in MISSING_WORDS:
        return math.nan
    allowed = reading.ranges[ours]
    try:
        value = float(text) * factor
    except ValueError:
        value = math.nan
    inside = allowed.lowest <= value <= allowed.highest
    if math.isnan(value) or (reading.refuse_impossible and not inside):
        low, high = allowed.lowest / factor, allowed.highest / factor
        unit = f" {allowed.unit}" if factor == 1.0 else ""
        reading.mistakes.append(f"line {number}: {name} = {text!r}: must be a number from {low:g} to {high:g}{unit}, or empty")
    return value


def _station_weather(reading: _Reading, header: list[str], found: dict[datetime, list[float]], *, hourly: bool) -> StationWeather:
    moments = sorted(found)
    table = np.array([found[moment] for moment in moments])
    stamps = pd.DatetimeIndex(moments).tz_convert("UTC")
    times = stamps
    if hourly:
        times = pd.date_range(moments[0], moments[-1], freq=timedelta(hours=1), tz="UTC")
        whole = np.full((len(times), len(header)), np.nan)
        whole[times.get_indexer(stamps)] = table
        table = whole
    used = {reading.other_units.get(name, (name, 1.0))[0]: position for position, name in enumerate(header)}
    series = {name: np.ascontiguousarray(table[:, position]) for name, position in used.items() if name in reading.ranges}
    return StationWeather(times, series, tuple(name for name in header if name not in reading.known))
