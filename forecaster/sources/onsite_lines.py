"""The lines of on-site files in order of time, each time once: files are read one by one and then laid together."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from forecaster.ground.onsite import FileClock, OnsiteSource
from forecaster.sources.onsite_clock import EPOCH, Times, local_minutes, read_times, written_like
from forecaster.sources.onsite_reading import Rejected
from forecaster.sources.onsite_table import decoded, read_table
from forecaster.sources.onsite_values import read_column
from forecaster.weather.series_checks import DOUBLED_HOURS

Floats = npt.NDArray[np.float64]
Minutes = npt.NDArray[np.int64]

# A clock that is a little ahead is not a wrong clock. No instrument of a ground is older than the year (assumption): earlier dates are
# those of a clock that has lost its battery.
AHEAD_MINUTES = 10
EARLIEST_YEAR = 1980


@dataclass
class Lines:
    """Lines that have a time, in order of time. ``values``: shape (column, line), our units, NaN = missing; totals stay totals."""

    starts: Minutes
    local: Minutes
    """Starts on the file's clock."""
    values: Floats
    raw: list[list[str]]
    """Cells of the mapped columns as they are written, by line."""
    names: list[str]
    """What the log calls the surface; empty strings where there is no such column."""
    numbers: list[int]
    files: list[str]
    written: list[str]

    def __len__(self) -> int:
        return len(self.starts)

    def picked(self, rows: Sequence[int]) -> Lines:
        """Only these lines, in this order."""
        return Lines(
            self.starts[list(rows)],
            self.local[list(rows)],
            self.values[:, list(rows)],
            [self.raw[row] for row in rows],
            [self.names[row] for row in rows],
            [self.numbers[row] for row in rows],
            [self.files[row] for row in rows],
            [self.written[row] for row in rows],
        )


@dataclass(frozen=True)
class FileRead:
    """One file by itself. With ``problems``, nothing of it may be used."""

    file: str
    lines: Lines | None
    count: int
    rejected: tuple[Rejected, ...]
    doubts: tuple[str, ...]
    doubted: frozenset[int]
    """Columns, by position, that are not used."""
    unused: tuple[str, ...]
    problems: tuple[str, ...]


def read_file(source: OnsiteSource, raw: bytes, file: str, *, now: datetime) -> FileRead:
    """Read one file: everything wrong with it as a whole in ``problems``, every line or cell that is wrong by itself in ``rejected``."""
    problems: list[str] = []
    text = decoded(raw, source.shape, problems)
    table = read_table(source, text, file, problems)
    if table is None:
        return FileRead(file, None, 0, (), (), frozenset(), (), tuple(problems))
    clock = source.clock
    rejected = list(table.rejected)
    times: Times | None = None
    if table.cells and all(name in table.places for name in clock.columns):
        parts = [table.column(name) for name in clock.columns]
        written = [" ".join(cells) for cells in zip(*parts, strict=True)]
        times = read_times(clock, written)
        problems += times.problems
        problems += _interval_problem(source, times)
    elif not table.cells:
        problems.append("no line has as many cells as the header" if table.count else "there is no line below the header")
    columns = [read_column(source, column, table, problems) for column in source.columns if column.column in table.places and table.cells]
    if problems or times is None:
        return FileRead(file, None, table.count, (), (), frozenset(), (), tuple(problems))
    faults = times.faults | _impossible_times(source, times, now=now)
    for row, rule in sorted(faults.items()):
        rejected.append(Rejected(table.lines[row], " ".join(clock.columns), written[row], rule, file))
    for column in columns:
        # Lines without a time are told once, not for every cell in them.
        lost = {table.lines[row] for row in faults}
        rejected += [fault for fault in column.rejected if fault.line not in lost]
    names = table.column(source.surface_column) if source.surface_column else [""] * len(table.lines)
    cells = [table.column(column.column) for column in source.columns]
    every = Lines(
        times.starts,
        local_minutes(clock, times.starts),
        np.array([column.values for column in columns]),
        [list(row) for row in zip(*cells, strict=True)],
        names,
        table.lines,
        [file] * len(table.lines),
        written,
    )
    mapped = {table.places[name] for name in table.places}
    return FileRead(
        file,
        every.picked([row for row in range(len(every)) if row not in faults]),
        table.count,
        tuple(rejected),
        tuple(column.doubt for column in columns if column.doubt),
        frozenset(place for place, column in enumerate(columns) if column.doubt),
        tuple(name for place, name in enumerate(table.names) if place not in mapped and name),
        (),
    )


def joined_lines(source: OnsiteSource, parts: Sequence[Lines]) -> tuple[Lines, int, list[Rejected]]:
    """Lay files together: lines in order of time, what stands there twice once, and how many lines were the same as another.

    Of two lines of one time that disagree, the first read stays; where one is silent, the other speaks.
    """
    whole = _laid_together(parts)
    log = source.kind == "irrigation-log"
    shortest = source.clock.interval_minutes - source.clock.slack_minutes
    kept: list[int] = []
    first_of: dict[tuple[object, ...], int] = {}
    doubled = 0
    rejected: list[Rejected] = []
    for row in range(len(whole)):
        # Two waterings may begin in the same minute, or on the same day of a log of days: only the very same line is a double.
        key = (int(whole.starts[row]), whole.names[row], *(whole.raw[row] if log else ()))
        if key in first_of:
            differing = _fill_from(whole, first_of[key], row)
            doubled += not differing
            rejected += [_disagreement(source, whole, first_of[key], row, column) for column in differing]
            continue
        if kept and not log and whole.starts[row] - whole.starts[kept[-1]] < shortest:
            rule = f"begins before the {source.clock.interval_minutes} minutes of {_named(whole, kept[-1], row)} are over"
            rejected.append(Rejected(whole.numbers[row], " ".join(source.clock.columns), whole.written[row], rule, whole.files[row]))
            continue
        first_of[key] = row
        kept.append(row)
    return whole.picked(kept), doubled, rejected


def joined_tips(parts: Sequence[Lines]) -> tuple[Lines, int, list[Rejected]]:
    """Tips of the bucket, laid together, as whole hours with their sums: from the hour of the first line to that of the last.

    Several tips in one minute are several; but of two files that tell of the same minute, as copies of one do, the one that has more of it
    counts. The hours of the first and the last line are not whole. Status: practice.
    """
    of_minute: dict[int, dict[str, list[int]]] = {}
    whole = _laid_together(parts)
    for row, minute in enumerate(whole.starts.tolist()):
        of_minute.setdefault(minute, {}).setdefault(whole.files[row], []).append(row)
    kept: list[int] = []
    doubled = 0
    for files in of_minute.values():
        most = max(files.values(), key=len)
        kept += most
        doubled += sum(len(rows) for rows in files.values()) - len(most)
    tips = whole.picked(sorted(kept))
    if not len(tips):
        return tips, doubled, []
    hours = tips.starts // 60
    first, last = int(hours[0]) + (tips.starts[0] % 60 > 0), int(hours[-1])
    every = np.arange(first, last, dtype=np.int64)
    values = np.zeros((len(tips.values), len(every)))
    inside = (hours >= first) & (hours < last)
    for row in range(len(values)):
        amounts = np.where(np.isfinite(tips.values[row]), tips.values[row], 0.0)
        values[row] = np.bincount(hours[inside] - first, weights=amounts[inside], minlength=len(every))
    # Each hour stands where its last tip stands in the files, or the one before it.
    at = np.searchsorted(hours, every, side="right") - 1
    shown = tips.picked([max(int(place), 0) for place in at])
    shift = tips.local[np.maximum(at, 0)] - tips.starts[np.maximum(at, 0)]
    raw = [[f"{amount:g}" for amount in column] for column in values.T]
    return Lines(every * 60, every * 60 + shift, values, raw, shown.names, shown.numbers, shown.files, shown.written), doubled, []


def _laid_together(parts: Sequence[Lines]) -> Lines:
    """All lines in order of time; those of one time in the order in which they were read."""
    whole = Lines(
        np.concatenate([part.starts for part in parts]),
        np.concatenate([part.local for part in parts]),
        np.concatenate([part.values for part in parts], axis=1),
        [row for part in parts for row in part.raw],
        [name for part in parts for name in part.names],
        [number for part in parts for number in part.numbers],
        [file for part in parts for file in part.files],
        [text for part in parts for text in part.written],
    )
    return whole.picked([int(row) for row in np.argsort(whole.starts, kind="stable")])


def _fill_from(lines: Lines, first: int, second: int) -> list[int]:
    """Take from the second what the first does not say; return the columns in which they disagree."""
    ours, theirs = lines.values[:, first], lines.values[:, second]
    differing = np.isfinite(ours) & np.isfinite(theirs) & ~np.isclose(ours, theirs, rtol=0.0, atol=1e-9)
    lines.values[:, first] = np.where(np.isnan(ours), theirs, ours)
    return [int(column) for column in np.flatnonzero(differing)]


def _disagreement(source: OnsiteSource, lines: Lines, first: int, second: int, column: int) -> Rejected:
    rule = f"{_named(lines, first, second)} has this time already, with {lines.raw[first][column]!r}"
    return Rejected(
        lines.numbers[second], source.columns[column].column, lines.raw[second][column], rule, lines.files[second], DOUBLED_HOURS.check
    )


def _named(lines: Lines, row: int, beside: int) -> str:
    file = f"{lines.files[row]} " if lines.files[row] != lines.files[beside] else ""
    return f"{file}line {lines.numbers[row]}"


def _interval_problem(source: OnsiteSource, times: Times) -> list[str]:
    """Say that lines come at another interval than the mapping says: then every sum would be wrong."""
    if source.kind == "irrigation-log" or source.tips:
        return []
    good = np.array([row for row in range(len(times.starts)) if row not in times.faults], dtype=np.int64)
    steps = np.diff(np.unique(times.starts[good])) if good.size else np.array([], dtype=np.int64)
    if steps.size < 3:
        return []
    ((usual, count),) = Counter(steps.tolist()).most_common(1)
    interval = source.clock.interval_minutes
    near = int(np.count_nonzero(np.abs(steps - interval) <= source.clock.slack_minutes))
    if usual == interval or (source.clock.long and near * 2 >= steps.size):
        return []
    steady = "" if count * 2 >= steps.size else "at no steady interval, most often "
    return [f"interval_minutes = {interval}: lines come {steady or 'every '}{usual} minutes{' apart' if steady else ''}"]


def _impossible_times(source: OnsiteSource, times: Times, *, now: datetime) -> dict[int, str]:
    latest = (now - EPOCH).total_seconds() / 60 + AHEAD_MINUTES
    earliest = (datetime(EARLIEST_YEAR, 1, 1, tzinfo=EPOCH.tzinfo) - EPOCH).total_seconds() / 60
    length = 0 if source.kind == "irrigation-log" or source.tips else source.clock.interval_minutes
    faults = {}
    for row in np.flatnonzero((times.starts + length > latest) | (times.starts < earliest)):
        if int(row) not in times.faults:
            ahead = times.starts[row] > earliest
            faults[int(row)] = (
                f"lies after now, {now:%Y-%m-%d %H:%M} UTC: is the zone right?"
                if ahead
                else f"lies before {EARLIEST_YEAR}: was the clock set?"
            )
    return faults


def clock_words(clock: FileClock) -> str:
    """The file's clock in words."""
    example = f"times like {written_like(clock.format)}"
    if clock.zone is None:
        return f"{example}, with the offset in each"
    name = re.sub(r"^UTC(?=[+-])", "", str(clock.zone))
    summer = "" if not hasattr(clock.zone, "key") else ", with clock changes" if clock.clock_changes else ", winter time all year round"
    return f"{example}, on the clock of {name}{summer}"
