"""A ground's own instruments and logs: files by a mapping → whole hours of observed weather, probe series and irrigation.

Reading is idempotent: all files of a folder are read in every cycle, equal files count once, and a time that stands in two files is one
time. One bad line never loses the others; a file that cannot be read at all never loses the other files.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
import pandas as pd

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.ground.ground import Ground
from forecaster.ground.onsite import OUR_UNIT, FileClock, OnsiteColumn, OnsiteSource
from forecaster.quantities import Origin
from forecaster.sources.onsite_clock import DAY, EPOCH, local_minutes
from forecaster.sources.onsite_hours import Minutes, reaches_over_hours, reading_intervals, whole_hours
from forecaster.sources.onsite_lines import FileRead, Floats, Lines, clock_words, joined_lines, joined_tips, read_file
from forecaster.sources.onsite_rain import amounts_from_totals, rain_faults, reset_doubt
from forecaster.sources.onsite_reading import SOURCE, OnsiteReading, ProbeSeries, Rejected, ShownRow, Understood, Watering
from forecaster.sources.onsite_values import VARIABLE, limits, marker_hint
from forecaster.weather.frame import ORIGIN_CODES, PRECIPITATION, SOIL_TEMPERATURE, VARIABLES, HourlyWeather, WeatherSource

FIRST_ROWS = 5
WANTED_DEPTH_CM = 5.0
NO_WIND_HEIGHT_M = 2.0
"""Stands in the frame of an instrument without wind, where it means nothing."""


def read_onsite(source: OnsiteSource, content: bytes | str | Path, *, now: datetime, name: str = "") -> OnsiteReading:
    """Read one file: its path, or what stands in it.

    Raises: WeatherUnavailable when the file cannot be opened; WeatherMalformed with everything that is wrong with the file as a whole.
    """
    if isinstance(content, Path):
        path = content
        try:
            content = path.read_bytes()
        except OSError as error:
            hint = "Check the path and who may read it."
            raise WeatherUnavailable(f"{path.name} cannot be read: {error.strerror}", source=SOURCE, hint=hint) from error
        name = name or path.name
    raw = content.encode(source.shape.encoding) if isinstance(content, str) else content
    read = read_file(source, raw, name or "the text", now=now)
    if read.problems:
        count = len(read.problems)
        shown = "\n  ".join(read.problems)
        message = f"{read.file} cannot be read as {source.id!r}, {count} mistake{'s' if count != 1 else ''}:\n  {shown}"
        hint = "Correct the mapping under [[onsite]], or the file; nothing was taken in."
        raise WeatherMalformed(message, source=SOURCE, hint=hint)
    return _reading(source, [read], problems=(), now=now)


def new_files(listing: Mapping[str, str], seen: Collection[str], *, pattern: str = "*") -> tuple[str, ...]:
    """Names of the files to read, in order of name. ``listing``: name → hash of the content; ``seen``: hashes that were read already.

    A file that has grown is new; a copy under another name is not, nor is what does not match the pattern.
    """
    taken = set(seen)
    names = []
    for name in sorted(listing):
        if fnmatchcase(name.lower(), pattern.lower()) and listing[name] not in taken:
            taken.add(listing[name])
            names.append(name)
    return tuple(names)


def read_folder(source: OnsiteSource, *, now: datetime) -> OnsiteReading:
    """Read every file of an entry that matches its pattern, together: a total goes on, and an hour may end, in the next file.

    A file that cannot be read is told in ``problems``, and the others are used. Raises: WeatherUnavailable when the folder is not there.
    """
    folder = Path(source.folder)
    try:
        paths = {path.name: path for path in folder.iterdir() if fnmatchcase(path.name.lower(), source.files.lower()) and path.is_file()}
    except OSError as error:
        hint = "Check that the folder is there and who may read it."
        raise WeatherUnavailable(f"the folder of {source.id!r} cannot be read: {error.strerror}", source=SOURCE, hint=hint) from error
    contents: dict[str, bytes] = {}
    problems: list[str] = []
    for name, path in sorted(paths.items()):
        try:
            contents[name] = path.read_bytes()
        except OSError as error:
            problems.append(f"{name}: cannot be read: {error.strerror}")
    listing = {name: hashlib.sha256(raw).hexdigest() for name, raw in contents.items()}
    reads = [read_file(source, contents[name], name, now=now) for name in new_files(listing, ())]
    problems += [f"{read.file}: {problem}" for read in reads for problem in read.problems]
    return _reading(source, [read for read in reads if not read.problems], problems=tuple(problems), now=now)


def onsite_readings(ground: Ground, *, now: datetime) -> tuple[OnsiteReading, ...]:
    """Everything the ground's own instruments and logs say, by entry. A folder that is not there is a problem, not an error."""
    readings = []
    for source in ground.onsite:
        try:
            readings.append(read_folder(source, now=now))
        except WeatherUnavailable as error:
            readings.append(_reading(source, [], problems=(error.message,), now=now))
    return tuple(readings)


def logged_irrigation(readings: Sequence[OnsiteReading]) -> dict[str, dict[date, float]]:
    """Irrigation by surface and local day [mm], from all logs; a day that no log names is not in it."""
    amounts: dict[str, dict[date, float]] = {}
    for reading in readings:
        for watering in reading.irrigation:
            days = amounts.setdefault(watering.surface_id, defaultdict(float))
            days[watering.day] += watering.amount_mm
    return {surface: dict(sorted(days.items())) for surface, days in sorted(amounts.items())}


def _reading(source: OnsiteSource, reads: list[FileRead], *, problems: tuple[str, ...], now: datetime) -> OnsiteReading:
    parts = [read.lines for read in reads if read.lines is not None]
    rejected = [fault for read in reads for fault in read.rejected]
    doubts = list(dict.fromkeys(doubt for read in reads for doubt in read.doubts))
    lines, doubled = None, 0
    unplaced = 0.0
    if parts:
        for read in reads:
            if read.lines is not None:
                read.lines.values[sorted(read.doubted)] = np.nan
        lines, doubled, faults = joined_tips(parts) if source.tips else joined_lines(source, parts)
        rejected += faults
        unplaced = _rain_to_amounts(source, lines, rejected, doubts)
    notes = list(marker_hint(tuple(rejected)))
    if lines is not None and source.clock.long:
        notes.append("Intervals are longer than an hour: rain is shared out evenly over each, and nothing leans on its exact hour.")
    elif source.tips:
        notes.append("Each line is a tip of the bucket: between the first and the last line, an hour without any is dry.")
    elif lines is not None and len(lines) and reaches_over_hours(lines.starts, interval_minutes=source.clock.interval_minutes):
        notes.append("Intervals reach over full hours of UTC: they are shared out by their minutes.")
    if unplaced > 0.05:
        notes.append(f"{unplaced:.1f} mm fell while readings were missing: it is in no hour.")
    irrigation = _waterings(source, lines, rejected) if lines is not None and source.kind == "irrigation-log" else ()
    rejected.sort(key=lambda fault: (fault.file, fault.line))
    return OnsiteReading(
        frame=_frame(source, lines, rejected, doubts, problems, now=now),
        soil=_probes(source, lines),
        irrigation=irrigation,
        rejected=tuple(rejected),
        doubts=tuple(doubts),
        problems=problems,
        understood=_understood(source, reads, lines, doubled, unplaced, tuple(notes)),
    )


def _rain_to_amounts(source: OnsiteSource, lines: Lines, rejected: list[Rejected], doubts: list[str]) -> float:
    """Turn totals into amounts and take out what no rain is, in place; return what fell in gaps [mm]."""
    interval = source.clock.interval_minutes
    unplaced = 0.0
    for row, column in enumerate(source.columns):
        if column.quantity != "rain":
            continue
        faults: dict[int, str] = {}
        if column.total is not None:
            ends = lines.starts + interval
            local_ends = local_minutes(source.clock, ends)
            resets = tuple(at.hour * 60 + at.minute for at in column.total.reset_at)
            doubt = reset_doubt(lines.values[row], local_ends, reset_minutes=resets)
            if doubt is not None:
                doubts.append(f"column {column.column!r}: {doubt}; resets and reset_at are to be corrected. The column is not used.")
                lines.values[row] = np.nan
                continue
            slack = source.clock.slack_minutes
            rain = amounts_from_totals(
                lines.values[row], ends, local_ends, interval_minutes=interval, reset_minutes=resets, slack_minutes=slack
            )
            lines.values[row], faults = rain.amounts, rain.faults
            unplaced += rain.unplaced_mm
        bursts = rain_faults(lines.values[row], lines.starts, interval_minutes=interval)
        for check, found in (("running total", faults), ("tipping bucket", bursts)):
            for place, rule in found.items():
                rejected.append(Rejected(lines.numbers[place], column.column, lines.raw[place][row], rule, lines.files[place], check))
                lines.values[row, place] = np.nan
    return unplaced


def _frame(
    source: OnsiteSource, lines: Lines | None, rejected: list[Rejected], doubts: list[str], problems: tuple[str, ...], *, now: datetime
) -> HourlyWeather:
    hours: dict[str, dict[int, float]] = {}
    soil = soil_column(source)
    for row, column in enumerate(source.columns):
        variable = VARIABLE.get(column.quantity)
        # The frame has room for one depth; all depths stand beside it as series of their own.
        if lines is None or variable is None or (variable == SOIL_TEMPERATURE and column is not soil):
            continue
        summed = variable == PRECIPITATION
        starts, lengths = _intervals(source.clock, lines)
        found = whole_hours(starts, lines.values[row], interval_minutes=lengths, summed=summed)
        hours[variable] = {hour: value for hour, value in found.items() if value <= limits(column.quantity).highest}
    every = {hour for found in hours.values() for hour in found}
    first = min(every, default=0)
    size = max(every) - first + 1 if every else 0
    values = np.full((size, len(VARIABLES)), np.nan)
    for variable, found in hours.items():
        place = VARIABLES.index(variable)
        for hour, value in found.items():
            values[hour - first, place] = value
    index = _hours(np.arange(first, first + size))
    codes = np.where(np.isnan(values), 0, ORIGIN_CODES[Origin.OBSERVED]).astype(np.int8)
    notes = [*problems, *doubts]
    deep = [column.depth_cm for column in source.columns if column.quantity == "soil-temperature" and column is not soil]
    if soil is not None and deep:
        notes.append(
            f"Soil temperature of {source.id} at {' and '.join(f'{depth:g}' for depth in deep)} cm is not used: "
            f"one depth is, {soil.depth_cm:g} cm, the nearest to 5 cm."
        )
    if rejected:
        shown = "; ".join(str(fault) for fault in rejected[:3])
        notes.append(f"{len(rejected)} values or lines of {source.id} were not taken in: {shown}{' …' if len(rejected) > 3 else ''}")
    return HourlyWeather(
        values=pd.DataFrame(values, index=index, columns=list(VARIABLES)),
        origins=pd.DataFrame(codes, index=index, columns=list(VARIABLES)),
        source=WeatherSource(f"own {source.kind.replace('-', ' ')} ({source.id})", "The ground's own measurements", "your own"),
        issued_at=min(now.astimezone(UTC), _moment((first + size) * 60) if size else now.astimezone(UTC)),
        wind_height_m=source.wind_height_m if source.wind_height_m is not None else NO_WIND_HEIGHT_M,
        soil_temperature_depth_cm=soil.depth_cm if soil is not None else None,
        notes=tuple(notes),
        rough=~np.isnan(values).all(axis=1) if source.clock.long else None,
    )


def _intervals(clock: FileClock, lines: Lines) -> tuple[Minutes, Minutes | int]:
    if not clock.long:
        return lines.starts, clock.interval_minutes
    end = clock.stamp == "end"
    return reading_intervals(lines.starts, interval_minutes=clock.interval_minutes, slack_minutes=clock.slack_minutes, labels_end=end)


def soil_column(source: OnsiteSource) -> OnsiteColumn | None:
    """Of several soil temperatures the one nearest to 5 cm, which is what the model asks for; None where there is none."""
    found = [column for column in source.columns if column.quantity == "soil-temperature"]
    return min(found, key=lambda column: abs((column.depth_cm or 0.0) - WANTED_DEPTH_CM), default=None)


def _probes(source: OnsiteSource, lines: Lines | None) -> tuple[ProbeSeries, ...]:
    series = []
    for row, column in enumerate(source.columns):
        if lines is None or column.depth_cm is None:
            continue
        found = whole_hours(lines.starts, lines.values[row], interval_minutes=source.clock.interval_minutes, summed=False)
        hours = np.array(sorted(found), dtype=np.int64)
        values: Floats = np.array([found[int(hour)] for hour in hours])
        series.append(ProbeSeries(column.quantity, column.depth_cm, _hours(hours), values))
    return tuple(series)


def _waterings(source: OnsiteSource, lines: Lines, rejected: list[Rejected]) -> tuple[Watering, ...]:
    names = dict(source.surface_names)
    waterings = []
    for place in range(len(lines)):
        for row, column in enumerate(source.columns):
            amount = float(lines.values[row, place])
            if not amount > 0.0:
                continue
            surface = column.surface or names.get(lines.names[place])
            if not surface:
                rule = f"no surface is called so; known: {', '.join(names)}"
                where = source.surface_column or ""
                rejected.append(Rejected(lines.numbers[place], where, lines.names[place], rule, lines.files[place]))
                continue
            day = date(1970, 1, 1) + timedelta(days=int(lines.local[place]) // DAY)
            at = None if source.clock.days_only else _moment(int(lines.starts[place]))
            waterings.append(Watering(surface, day, at, amount, lines.numbers[place]))
    return tuple(waterings)


def _understood(
    source: OnsiteSource, reads: list[FileRead], lines: Lines | None, doubled: int, unplaced: float, notes: tuple[str, ...]
) -> Understood:
    log = source.kind == "irrigation-log"
    interval = source.clock.interval_minutes
    used = np.isfinite(lines.values).any(axis=0) if lines is not None and len(lines) else np.zeros(0, dtype=np.bool_)
    known = lines is not None and len(lines) > 0
    return Understood(
        files=tuple(read.file for read in reads),
        columns=tuple(_column_words(column) for column in source.columns),
        unused=tuple(dict.fromkeys(name for read in reads for name in read.unused)),
        zone=clock_words(source.clock),
        interval_minutes=None if log else interval,
        lines=sum(read.count for read in reads),
        taken=int(used.sum()),
        doubled=doubled,
        first=_moment(int(lines.starts[0])) if lines is not None and known else None,
        last=_moment(int(lines.starts[-1]) + (0 if log else interval)) if lines is not None and known else None,
        first_rows=_first_rows(source, lines) if lines is not None else (),
        rain_by_day=_rain_by_day(source, lines) if lines is not None else {},
        unplaced_rain_mm=unplaced,
        notes=notes,
    )


def _column_words(column: OnsiteColumn) -> str:
    ours = OUR_UNIT[column.quantity]
    words = f"{column.column} is {column.called} in {column.unit}" + ("" if column.unit == ours else f", taken over in {ours}")
    if column.surface is not None:
        words += f", of {column.surface}"
    if column.total is not None:
        reset = column.total.reset_at
        words += ", a running total that "
        words += f"begins anew at {' and '.join(f'{at:%H:%M}' for at in reset)}" if reset else "never begins anew"
    if column.tips:
        words += ", one line a tip"
    return words


def _first_rows(source: OnsiteSource, lines: Lines) -> tuple[ShownRow, ...]:
    return tuple(
        ShownRow(
            lines.numbers[place],
            lines.written[place],
            _moment(int(lines.starts[place])),
            tuple((f"{c.called} {OUR_UNIT[c.quantity]}", float(lines.values[row, place])) for row, c in enumerate(source.columns)),
        )
        for place in range(min(FIRST_ROWS, len(lines)))
    )


def _rain_by_day(source: OnsiteSource, lines: Lines) -> dict[date, float]:
    amounts: dict[date, float] = {}
    for row, column in enumerate(source.columns):
        if column.quantity == "rain":
            for place in np.flatnonzero(np.isfinite(lines.values[row])):
                day = date(1970, 1, 1) + timedelta(days=int(lines.local[place]) // DAY)
                amounts[day] = amounts.get(day, 0.0) + float(lines.values[row, place])
    return dict(sorted(amounts.items()))


def _hours(since_epoch: np.ndarray) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(since_epoch.astype("datetime64[h]").astype("datetime64[s]"), tz="UTC")


def _moment(minutes: int) -> datetime:
    return EPOCH + timedelta(minutes=minutes)
