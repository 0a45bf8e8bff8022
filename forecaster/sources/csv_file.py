"""Weather from a CSV file with our own column names: a club's station, or an export from anywhere.

    time_utc,air_temperature_c,precipitation_mm,origin
    2026-09-01T00:00Z,14.2,0.0,observed

One line per UTC hour; the time labels the *start* of the hour. Columns may be left out, cells may be empty: both mean missing.
"""

from __future__ import annotations

import csv
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.quantities import Origin
from forecaster.weather.frame import ORIGIN_CODES, SHORTWAVE, VARIABLES, HourlyWeather, WeatherSource
from forecaster.weather.quality import HOURLY_RANGES

TIME_COLUMN, ORIGIN_COLUMN = "time_utc", "origin"
ORIGIN_WORDS = {origin.value: ORIGIN_CODES[origin] for origin in (Origin.OBSERVED, Origin.MODELLED, Origin.FORECAST)}
SHOWN_MISTAKES = 20
EARLIEST = datetime(1900, 1, 1, tzinfo=UTC)
# No forecast of use here reaches further; a later year is a slip of the finger that would make a frame of a million rows.
LATEST_AHEAD = timedelta(days=60)


def read_weather_csv(
    path: Path, *, source: WeatherSource, wind_height_m: float, now: datetime, past: Origin = Origin.OBSERVED
) -> HourlyWeather:
    """Read a CSV file into the canonical frame.

    Hours that no line names become rows of NaN. Where no ``origin`` stands, hours before ``now`` are ``past`` and the rest
    forecast. Slightly negative radiation becomes 0. ``issued_at`` is the end of the last hour that is not forecast, so that a
    file which stopped growing is seen to age; with forecast hours only it is the start of the first, and never later than ``now``.

    Raises: WeatherUnavailable when the file cannot be opened; WeatherMalformed with every mistake (line, column, value, what is
    allowed), of which at most 20 are spelt out.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise WeatherUnavailable(
            f"{path.name} cannot be read: {error.strerror}", source=source.name, hint="Check the path and who may read it."
        ) from error
    except UnicodeDecodeError as error:
        raise WeatherMalformed(
            f"{path.name} is not UTF-8 text (byte {error.start})", source=source.name, hint="Save it as CSV in UTF-8."
        ) from error
    reading = _Reading(now=now, past_code=ORIGIN_CODES[past])
    reading.read(text)
    if reading.mistakes:
        hint = "Correct the lines named; nothing was taken in."
        raise WeatherMalformed(_said(path.name, reading.mistakes), source=source.name, hint=hint)
    return _frame(reading, source=source, wind_height_m=wind_height_m, now=now)


class _Reading:
    """The lines of one file as they are checked: rows by hour, and every mistake met on the way."""

    def __init__(self, *, now: datetime, past_code: int) -> None:
        self.mistakes: list[str] = []
        self.rows: dict[datetime, tuple[list[float], int]] = {}
        self._lines: dict[datetime, int] = {}
        self._hour_now = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        self._latest = self._hour_now + LATEST_AHEAD
        self._past_code = past_code

    def read(self, text: str) -> None:
        """Check the header, then every line."""
        lines = csv.reader(text.splitlines())
        header = [name.strip() for name in next(lines, [])]
        allowed = (TIME_COLUMN, *VARIABLES, ORIGIN_COLUMN)
        for name in sorted({name for name in header if name not in allowed}):
            self.mistakes.append(f"line 1: column {name!r}: allowed are {', '.join(allowed)}")
        for name in sorted({name for name in header if header.count(name) > 1}):
            self.mistakes.append(f"line 1: column {name!r}: stands there twice")
        if TIME_COLUMN not in header:
            self.mistakes.append(f"line 1: column {TIME_COLUMN!r} is missing")
        elif not set(header) & set(VARIABLES):
            self.mistakes.append(f"line 1: no weather column; allowed are {', '.join(VARIABLES)}")
        if self.mistakes:
            return
        for cells in lines:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(header):
                self.mistakes.append(f"line {lines.line_num}: {len(cells)} cells where the header has {len(header)}")
                continue
            self._line(lines.line_num, dict(zip(header, (cell.strip() for cell in cells), strict=True)))
        if not self.rows and not self.mistakes:
            self.mistakes.append("line 2: there is no hour in the file")

    def _line(self, number: int, cells: dict[str, str]) -> None:
        hour = self._hour(number, cells[TIME_COLUMN])
        values = [self._value(number, name, cells.get(name, "")) for name in VARIABLES]
        word = cells.get(ORIGIN_COLUMN, "")
        if word and word not in ORIGIN_WORDS:
            self.mistakes.append(f"line {number}: {ORIGIN_COLUMN} = {word!r}: allowed are {', '.join(ORIGIN_WORDS)} or nothing")
        if hour is None:
            return
        if hour in self._lines:
            self.mistakes.append(f"line {number}: {TIME_COLUMN} = {cells[TIME_COLUMN]!r}: line {self._lines[hour]} has this hour already")
            return
        by_time = self._past_code if hour < self._hour_now else ORIGIN_CODES[Origin.FORECAST]
        self._lines[hour] = number
        self.rows[hour] = (values, ORIGIN_WORDS.get(word, by_time))

    def _hour(self, number: int, text: str) -> datetime | None:
        allowed = "a full UTC hour such as 2026-09-01T13:00Z"
        try:
            # Only Z: an offset or a bare local time is the way in which summer time shifts a series by an hour.
            hour = datetime.fromisoformat(text) if text.endswith("Z") and "T" in text else None
        except ValueError:
            hour = None
        if hour is None or hour.minute or hour.second or hour.microsecond:
            self.mistakes.append(f"line {number}: {TIME_COLUMN} = {text!r}: must be {allowed}")
            return None
        if not EARLIEST <= hour <= self._latest:
            self.mistakes.append(f"line {number}: {TIME_COLUMN} = {text!r}: must lie between {EARLIEST.year} and {self._latest:%Y-%m-%d}")
            return None
        return hour

    def _value(self, number: int, name: str, text: str) -> float:
        if not text:
            return math.nan
        lowest, highest = HOURLY_RANGES[name].lowest, HOURLY_RANGES[name].highest
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not lowest <= value <= highest:  # also true of "nan" and of text: missing is an empty cell
            self.mistakes.append(f"line {number}: {name} = {text!r}: must be a number from {lowest:g} to {highest:g}, or empty")
            return math.nan
        return max(value, 0.0) if name == SHORTWAVE else value + 0.0  # + 0.0 turns -0.0 into 0.0


def _said(name: str, mistakes: list[str]) -> str:
    count = len(mistakes)
    shown = "; ".join(mistakes[:SHOWN_MISTAKES])
    more = f"; and {count - SHOWN_MISTAKES} more" if count > SHOWN_MISTAKES else ""
    return f"{name} has {count} mistake{'s' if count != 1 else ''}: {shown}{more}"


def _frame(reading: _Reading, *, source: WeatherSource, wind_height_m: float, now: datetime) -> HourlyWeather:
    hours = sorted(reading.rows)
    index = pd.date_range(hours[0], hours[-1], freq="h", tz="UTC")
    values = np.full((len(index), len(VARIABLES)), np.nan)
    row_codes = np.zeros(len(index), dtype=np.int8)
    for hour in hours:
        row = int((hour - hours[0]).total_seconds()) // 3600
        values[row], row_codes[row] = reading.rows[hour]
    codes = np.where(np.isnan(values), 0, row_codes[:, None]).astype(np.int8)
    return HourlyWeather(
        values=pd.DataFrame(values, index=index, columns=list(VARIABLES)),
        origins=pd.DataFrame(codes, index=index, columns=list(VARIABLES)),
        source=source,
        issued_at=_issued_at(index, codes, now=now),
        wind_height_m=wind_height_m,
    )


def _issued_at(index: pd.DatetimeIndex, codes: npt.NDArray[np.int8], *, now: datetime) -> datetime:
    known = np.flatnonzero(((codes > 0) & (codes != ORIGIN_CODES[Origin.FORECAST])).any(axis=1))
    last: datetime = (index[known[-1]] + pd.Timedelta(hours=1) if known.size else index[0]).to_pydatetime()
    return min(last, now.astimezone(UTC))
