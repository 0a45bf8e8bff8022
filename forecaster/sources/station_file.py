"""Reads daily station files with measured soil: CSV with the columns of the climate reference network, or others by a mapping."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

from forecaster.errors import WeatherMalformed, WeatherUnavailable

Floats = npt.NDArray[np.float64]

SOURCE = "station file"
SHOWN_MISTAKES = 20

# Our name → the names it has in files, in lower case, the first found wins. The network's daily product and its usual extracts.
KNOWN_COLUMNS: dict[str, tuple[str, ...]] = {
    "station": ("wban", "wbanno", "station"),
    "date": ("lst_date", "date"),
    "latitude": ("latitude",),
    "elevation_m": ("elevation_m", "elevation"),
    "air_temperature_max_c": ("t_daily_max",),
    "air_temperature_min_c": ("t_daily_min",),
    "air_temperature_mean_c": ("t_daily_avg", "t_daily_mean"),
    "precipitation_mm": ("p_daily_calc",),
    "shortwave_mj": ("solarad_daily",),
    "relative_humidity_max_percent": ("rh_daily_max",),
    "relative_humidity_min_percent": ("rh_daily_min",),
    "wind_speed_2m_ms": ("wind_speed_2m_ms",),
    "soil_temperature_5cm_c": ("soil_temp_5_daily",),
}
SOIL_WATER = re.compile(r"soil_water_(\d+)cm_m3m3")
SOIL_WATER_COLUMN = re.compile(r"soil_moisture_(\d+)_daily")
REQUIRED = ("date", "air_temperature_max_c", "air_temperature_min_c", "precipitation_mm")

# Limits beyond which a number is a fault. Air: as for hourly weather. Rain of a day: the most ever measured is 1825 mm (Réunion 1966;
# memory). Radiation: a little above the day's most at the top of the atmosphere (some 45 MJ/m², FAO-56 eq. 21). Soil: own limits.
RANGES: dict[str, tuple[float, float]] = {
    "latitude": (-90.0, 90.0),
    "elevation_m": (-430.0, 9000.0),
    "air_temperature_max_c": (-80.0, 60.0),
    "air_temperature_min_c": (-80.0, 60.0),
    "air_temperature_mean_c": (-80.0, 60.0),
    "precipitation_mm": (0.0, 1825.0),
    "shortwave_mj": (-1.0, 50.0),
    "relative_humidity_max_percent": (0.0, 110.0),
    "relative_humidity_min_percent": (0.0, 110.0),
    "wind_speed_2m_ms": (0.0, 75.0),
    "soil_temperature_5cm_c": (-50.0, 80.0),
}
SOIL_WATER_RANGE = (0.0, 1.0)
MISSING_WORDS = frozenset(("", "na", "nan"))
MISSING_CODES = frozenset((-9999.0, -99.0))


@dataclass(frozen=True)
class StationSeries:
    """One station: consecutive days, arrays of shape (day,) with NaN where nothing was measured, and what is known of the place.

    ``values`` by our names; a name the file has no column for is absent. ``soil_water_m3m3`` by depth [cm].
    """

    id: str
    days: tuple[date, ...]
    values: Mapping[str, Floats]
    soil_water_m3m3: Mapping[int, Floats]
    latitude: float | None
    elevation_m: float | None

    def value(self, name: str) -> Floats:
        """A series by our name; NaN where the file has no such column."""
        return self.values.get(name, np.full(len(self.days), np.nan))


def joined(first: StationSeries, second: StationSeries) -> StationSeries:
    """One series from two of the same station; days of neither are NaN. Raises ValueError where they share a day."""
    if common := set(first.days) & set(second.days):
        raise ValueError(f"station {first.id}: {min(common)} stands in two files")
    start, end = min(first.days[0], second.days[0]), max(first.days[-1], second.days[-1])
    days = tuple(start + timedelta(days=number) for number in range((end - start).days + 1))

    def laid(of_first: Floats | None, of_second: Floats | None) -> Floats:
        row = np.full(len(days), np.nan)
        for series, values in ((first, of_first), (second, of_second)):
            if values is not None:
                begin = (series.days[0] - start).days
                own = np.isfinite(values)
                row[begin : begin + len(values)][own] = values[own]
        return row

    names, depths = {**first.values, **second.values}, {**first.soil_water_m3m3, **second.soil_water_m3m3}
    return StationSeries(
        id=first.id,
        days=days,
        values={name: laid(first.values.get(name), second.values.get(name)) for name in names},
        soil_water_m3m3={depth: laid(first.soil_water_m3m3.get(depth), second.soil_water_m3m3.get(depth)) for depth in sorted(depths)},
        latitude=first.latitude if first.latitude is not None else second.latitude,
        elevation_m=first.elevation_m if first.elevation_m is not None else second.elevation_m,
    )


def our_names() -> list[str]:
    """Every name that a mapping may give a column for."""
    return [*KNOWN_COLUMNS, "soil_water_<depth>cm_m3m3"]


def read_station_file(path: Path, *, columns: Mapping[str, str], soil_needed: bool = True) -> list[StationSeries]:
    """Read the stations of a file, in the order in which they appear.

    ``columns``: our name → the file's column, where it is not the network's. Names are compared without regard to case. Days are
    YYYY-MM-DD or YYYYMMDD; empty cells and the network's -9999 and -99 are missing. A file without station column is one station, named
    by the file. Days that no line names become NaN. ``soil_needed``: a file without any measured soil is a mistake.

    Raises: WeatherUnavailable when the file cannot be opened; WeatherMalformed with every mistake, of which at most 20 are spelt out.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        hint = "Check the path and who may read it."
        raise WeatherUnavailable(f"{path.name} cannot be read: {error.strerror}", source=SOURCE, hint=hint) from error
    except UnicodeDecodeError as error:
        hint = "Save it as CSV in UTF-8."
        raise WeatherMalformed(f"{path.name} is not UTF-8 text (byte {error.start})", source=SOURCE, hint=hint) from error
    reading = _Reading(path.stem, columns, soil_needed)
    reading.read(text)
    if reading.mistakes:
        count = len(reading.mistakes)
        shown = "; ".join(reading.mistakes[:SHOWN_MISTAKES])
        more = f"; and {count - SHOWN_MISTAKES} more" if count > SHOWN_MISTAKES else ""
        raise WeatherMalformed(
            f"{path.name} has {count} mistake{'s' if count != 1 else ''}: {shown}{more}",
            source=SOURCE,
            hint="Correct the lines named, or name the columns with --map NAME=COLUMN; names are " + ", ".join(our_names()) + ".",
        )
    return [_series(name, rows) for name, rows in reading.stations.items()]


@dataclass
class _Reading:
    """The lines of one file as they are checked: rows by station and day, and every mistake met on the way."""

    file_station: str
    columns: Mapping[str, str]
    soil_needed: bool
    mistakes: list[str] = field(default_factory=list)
    stations: dict[str, dict[date, dict[str, float]]] = field(default_factory=dict)

    def read(self, text: str) -> None:
        lines = csv.reader(text.splitlines())
        header = [name.strip().lower() for name in next(lines, [])]
        self.mistakes += [
            f"line 1: column {name!r}: stands there twice" for name in sorted({n for n in header if n and header.count(n) > 1})
        ]
        places = dict(self._places(header))
        self.mistakes += [
            f"line 1: no column for {name}: looked for {' or '.join(self._sought(name))}" for name in REQUIRED if name not in places
        ]
        if self.soil_needed and "soil_temperature_5cm_c" not in places and not any(SOIL_WATER.fullmatch(name) for name in places):
            self.mistakes.append("line 1: no measured soil: neither soil temperature at 5 cm nor soil water of any depth")
        if self.mistakes:
            return
        for cells in lines:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(header):
                self.mistakes.append(f"line {lines.line_num}: {len(cells)} cells where the header has {len(header)}")
                continue
            self._line(lines.line_num, {name: cells[place].strip() for name, place in places.items()})
        if not self.stations and not self.mistakes:
            self.mistakes.append("line 2: there is no day in the file")

    def _sought(self, name: str) -> tuple[str, ...]:
        return (self.columns[name].lower(),) if name in self.columns else KNOWN_COLUMNS[name]

    def _places(self, header: list[str]) -> Iterator[tuple[str, int]]:
        for name in KNOWN_COLUMNS:
            found = [header.index(column) for column in self._sought(name) if column in header]
            if found:
                yield name, found[0]
        for place, column in enumerate(header):
            if match := SOIL_WATER_COLUMN.fullmatch(column):
                yield f"soil_water_{match[1]}cm_m3m3", place
        for name, column in self.columns.items():
            if name not in KNOWN_COLUMNS and not SOIL_WATER.fullmatch(name):
                self.mistakes.append(f"mapping: {name} = {column}: names are {', '.join(our_names())}")
            elif column.lower() not in header:
                self.mistakes.append(f"mapping: {name} = {column}: the file has no such column")
            else:
                yield name, header.index(column.lower())

    def _line(self, number: int, cells: dict[str, str]) -> None:
        day = _day(cells["date"])
        if day is None:
            self.mistakes.append(f"line {number}: date = {cells['date']!r}: must be a day as YYYY-MM-DD or YYYYMMDD")
            return
        station = cells.get("station", self.file_station)
        if not station:
            self.mistakes.append(f"line {number}: station is empty")
            return
        row = {name: self._value(number, name, text) for name, text in cells.items() if name not in ("date", "station")}
        if row["air_temperature_min_c"] > row["air_temperature_max_c"]:
            self.mistakes.append(f"line {number}: lowest air temperature {row['air_temperature_min_c']:g} above the highest")
        rows = self.stations.setdefault(station, {})
        if day in rows:
            self.mistakes.append(f"line {number}: {day} of station {station} stands there twice")
            return
        rows[day] = row

    def _value(self, number: int, name: str, text: str) -> float:
        if text.lower() in MISSING_WORDS:
            return math.nan
        lowest, highest = RANGES.get(name, SOIL_WATER_RANGE)
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if value in MISSING_CODES:
            return math.nan
        if not lowest <= value <= highest:  # also true of text
            self.mistakes.append(f"line {number}: {name} = {text!r}: must be a number from {lowest:g} to {highest:g}, or empty")
            return math.nan
        return value


def _day(text: str) -> date | None:
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}|\d{8}", text):
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _series(name: str, rows: Mapping[date, Mapping[str, float]]) -> StationSeries:
    first, last = min(rows), max(rows)
    days = tuple(first + timedelta(days=number) for number in range((last - first).days + 1))
    columns = list(next(iter(rows.values())))
    empty = dict.fromkeys(columns, math.nan)
    table = {column: np.array([rows.get(day, empty)[column] for day in days]) for column in columns}
    for column in ("relative_humidity_max_percent", "relative_humidity_min_percent"):
        if column in table:
            table[column] = np.minimum(table[column], 100.0)
    if "shortwave_mj" in table:
        table["shortwave_mj"] = np.maximum(table["shortwave_mj"], 0.0)
    water = {int(match[1]): table.pop(column) for column in columns if (match := SOIL_WATER.fullmatch(column))}
    place = {column: _constant(table.pop(column)) for column in ("latitude", "elevation_m") if column in table}
    return StationSeries(name, days, table, dict(sorted(water.items())), place.get("latitude"), place.get("elevation_m"))


def _constant(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(known[0]) if known.size else None
