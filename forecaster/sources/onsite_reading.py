"""What reading a ground's own files gives: hours, probe series, irrigation, everything that was not taken in, and what was understood."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.ground.onsite import Quantity
from forecaster.weather.frame import HourlyWeather
from forecaster.weather.series_checks import DOUBLED_HOURS
from forecaster.weather_report import NotUsed

Floats = npt.NDArray[np.float64]
SOURCE = "on-site file"


@dataclass(frozen=True)
class Rejected:
    """A value (or, with ``column`` empty, a whole line) that was read and is not used, and the rule that says so."""

    line: int
    column: str
    value: str
    rule: str
    file: str = ""
    check: str = "file"
    """The kind of rule: "file", "range", "doubled hours", "tipping bucket" or "running total"."""

    def __str__(self) -> str:
        what = f"{self.column} = {self.value!r}" if self.column else repr(self.value)
        return f"{self.file + ' ' if self.file else ''}line {self.line}: {what}: {self.rule}"


@dataclass(frozen=True)
class ProbeSeries:
    """Hourly means of a soil probe at one depth: whole hours only, shape (hour,), every hour once and in order."""

    quantity: Quantity
    depth_cm: float
    hours: pd.DatetimeIndex
    """UTC, starts of hours."""
    values: Floats
    """m³/m³ or °C."""


@dataclass(frozen=True)
class Watering:
    """One line of an irrigation log. ``at`` is None in a log of days."""

    surface_id: str
    day: date
    at: datetime | None
    amount_mm: float
    line: int


@dataclass(frozen=True)
class ShownRow:
    """A line as it was understood: its time in UTC (the start of its interval), and its values in our units."""

    line: int
    as_written: str
    start: datetime
    values: tuple[tuple[str, float], ...]
    """Quantity with its unit, and the value; NaN where nothing usable stands."""


@dataclass(frozen=True)
class Understood:
    """What a file, or a folder of files, was taken to say."""

    files: tuple[str, ...]
    columns: tuple[str, ...]
    """Each column: its name there, the quantity, the unit and ours."""
    unused: tuple[str, ...]
    zone: str
    interval_minutes: int | None
    lines: int
    taken: int
    """Lines of which at least one value is used."""
    doubled: int
    """Lines that stand there more than once, with the same values."""
    first: datetime | None
    last: datetime | None
    """Start of the first and end of the last interval, UTC."""
    first_rows: tuple[ShownRow, ...]
    rain_by_day: Mapping[date, float]
    """mm of every local day (of the file's clock) with rain readings, also where only a part of the day is known."""
    unplaced_rain_mm: float
    """Rain that a running total counted while readings were missing: it fell, but nobody knows in which hour."""
    notes: tuple[str, ...]


@dataclass(frozen=True)
class OnsiteReading:
    """The files of one ``[[onsite]]`` entry, read."""

    frame: HourlyWeather
    """Whole hours only, all of origin observed; without any hour where there is none."""
    soil: tuple[ProbeSeries, ...]
    irrigation: tuple[Watering, ...]
    rejected: tuple[Rejected, ...]
    doubts: tuple[str, ...]
    """Columns that are not used because their numbers do not look like their unit, with what may be meant."""
    problems: tuple[str, ...]
    """Files of a folder that could not be read at all, and why; a single file raises instead."""
    understood: Understood

    @property
    def empty(self) -> bool:
        """True where nothing would be stored."""
        return not (len(self.frame.values) or self.irrigation or any(len(series.hours) for series in self.soil))


EXAMPLES = 3
FILE_BASIS = "the mapping of the file"


def lines_not_used(reading: OnsiteReading) -> list[NotUsed]:
    """What was not taken in, by kind of rule and column, for the report on the ground's weather."""
    groups: dict[tuple[str, str], list[Rejected]] = {}
    for fault in reading.rejected:
        groups.setdefault((fault.check, fault.column), []).append(fault)
    source = reading.frame.source.name
    return [
        NotUsed(
            source=source,
            quantity=column or "whole lines",
            unit="",
            check=check,
            why=Counter(fault.rule for fault in faults).most_common(1)[0][0],
            limits=DOUBLED_HOURS.told if check == DOUBLED_HOURS.check else "",
            basis=f"{DOUBLED_HOURS.source} ({DOUBLED_HOURS.status})" if check == DOUBLED_HOURS.check else FILE_BASIS,
            count=len(faults),
            first_hour_utc=None,
            last_hour_utc=None,
            examples=tuple(f"{fault.file} line {fault.line}: {fault.value!r}: {fault.rule}".strip() for fault in faults[:EXAMPLES]),
        )
        for (check, column), faults in groups.items()
    ]
