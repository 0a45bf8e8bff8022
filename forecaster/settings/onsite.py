"""``[[onsite]]`` of a ground: a file of the ground's own instruments, described column by column; nothing about it is guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, time, timedelta, timezone, tzinfo
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, Field

from forecaster.ground.onsite import (
    QUANTITIES_OF_KIND,
    UNITS_OF_QUANTITY,
    FileClock,
    FileShape,
    OnsiteColumn,
    OnsiteSource,
    RainTotal,
)
from forecaster.settings.mistakes import Missing, MistakeList, Note, nearest
from forecaster.settings.reading import Entry, Id, entries, valid_or_none

DIRECTIVES = frozenset("YymdjbBHIpMSfzZaA%")
TIME_OF_DAY = r"^([01]\d|2[0-3]):[0-5]\d$"
OFFSET = r"^[+-](0\d|1[0-4]):[0-5]\d$"
TimeOfDay = Annotated[str, Field(pattern=TIME_OF_DAY, description='a local time of day from "00:00" to "23:59"')]
ColumnName = Annotated[str, Field(min_length=1, max_length=120, description='a column\'s name in the file, or its number: "#3"')]


class OnsiteColumnEntry(Entry):
    """[[onsite.column]]. Depths: from just under the thatch to below any turf root."""

    column: ColumnName
    quantity: Literal[
        "rain",
        "air-temperature",
        "dew-point",
        "relative-humidity",
        "wind-speed",
        "radiation",
        "soil-temperature",
        "soil-water",
        "irrigation",
    ]
    unit: str
    counting: Literal["interval", "running-total", "tips"] | None = None
    resets: Literal["never", "daily"] | None = None
    reset_at: Annotated[list[str] | None, BeforeValidator(lambda told: [told] if isinstance(told, str) else told)] = Field(
        default=None, min_length=1, max_length=24, description='a local time of day, "00:00", or a list of them'
    )
    depth_cm: float | None = Field(default=None, ge=0.5, le=200.0)
    surface: str | None = None


class OnsiteEntry(Entry):
    """[[onsite]]."""

    id: Id
    kind: Literal["rain-gauge", "weather-station", "soil-probe", "irrigation-log"]
    file: str | None = None
    folder: str | None = None
    files: str | None = Field(default=None, pattern=r"^[^/\\]+$", description='a pattern of file names, "*.csv"')
    delimiter: Literal[",", ";", "\t", "|", " "] = Field(description='one of "," ";" "\\t" "|" " "')
    decimal: Literal[".", ","] = Field(description='"." or ","')
    encoding: Literal["utf-8", "cp1252"] = "utf-8"
    header_lines: int = Field(ge=0, le=20)
    names_lines: list[int] | None = Field(default=None, min_length=1, max_length=3, description="up to three lines of the header")
    time_columns: list[ColumnName] = Field(min_length=1, max_length=3, description="one to three names of columns")
    time_format: str
    zone: str | None = None
    clock_changes: bool | None = None
    stamp: Literal["start", "end"] | None = None
    interval_minutes: int | None = Field(default=None, ge=1, le=1440)
    read_at: TimeOfDay | None = None
    missing: list[str] = Field(default=[], max_length=20, description='a list of texts, ["---", "-999"]')
    wind_height_m: float | None = Field(default=None, ge=0.5, le=50.0)
    surface_column: ColumnName | None = None
    surface_names: dict[str, str] = Field(default={}, description="a table: what the log calls a surface = the surface's id")
    column: list[OnsiteColumnEntry] = Field(min_length=1, description="at least one [[onsite.column]]")


def read_onsite_entry(raw: Any, *, prefix: str, folder: Path, surfaces: list[str], file: str, mistakes: MistakeList) -> OnsiteSource | None:
    """Check one entry beyond its single values, and note what does not agree; None where anything about it is wrong.

    ``folder``: the configuration folder, from which paths are given. ``surfaces``: ids that an irrigation log may name.
    """
    found_id = raw.get("id") if isinstance(raw, Mapping) else None
    name = found_id if isinstance(found_id, str) else ""
    before = len(mistakes.found)
    columns = []
    raw_columns = entries(raw, "column") if isinstance(raw, Mapping) else []
    for number, raw_column in enumerate(raw_columns, start=1):
        column = valid_or_none(OnsiteColumnEntry, raw_column)
        if column is not None:
            columns.append((column, mistakes.noter(file, f"{prefix}.column[{number}]", name)))
    note = mistakes.noter(file, prefix, name)
    # One wrong column does not hide what is wrong with the clock, nor the other way round.
    stand_in = {"column": "x", "quantity": "rain", "unit": "mm"}
    entry = valid_or_none(OnsiteEntry, {**raw, "column": [stand_in]} if isinstance(raw, Mapping) else raw)
    if entry is None:
        return None
    place = _place(entry, folder, note)
    tips = any(column.counting == "tips" for column, _ in columns)
    clock = _clock(entry, note, tips=tips)
    shape = _shape(entry, note)
    found = [_column(column, entry, surfaces, column_note) for column, column_note in columns]
    _check_columns_together([column for column, _ in columns], entry, surfaces, note)
    complete = len(columns) == len(raw_columns)
    if len(mistakes.found) > before or place is None or clock is None or not complete:
        return None
    return OnsiteSource(
        id=entry.id,
        kind=entry.kind,
        folder=place[0],
        files=place[1],
        shape=shape,
        clock=clock,
        columns=tuple(found),
        wind_height_m=entry.wind_height_m,
        surface_column=entry.surface_column,
        surface_names=tuple(sorted((entry.surface_names or {surface: surface for surface in surfaces}).items())),
    )


def _place(entry: OnsiteEntry, folder: Path, note: Note) -> tuple[str, str] | None:
    if (entry.file is None) == (entry.folder is None):
        note("file", entry.file or Missing(), 'either file = "…", or folder = "…" with files = "*.csv"')
        return None
    if entry.file is not None:
        if entry.files is not None:
            note("files", entry.files, "only with folder")
        path = (folder / entry.file).resolve()
        if not path.is_file():
            note("file", entry.file, "an existing file, given from the configuration folder")
            return None
        return str(path.parent), path.name
    path = (folder / (entry.folder or "")).resolve()
    if not path.is_dir():
        note("folder", entry.folder, "an existing folder, given from the configuration folder")
        return None
    return str(path), entry.files or "*.csv"


def _shape(entry: OnsiteEntry, note: Note) -> FileShape:
    lines = entry.names_lines if entry.names_lines is not None else [entry.header_lines] if entry.header_lines else []
    if any(not 1 <= line <= entry.header_lines for line in lines):
        note("names_lines", entry.names_lines, f"lines of the header, 1 to {entry.header_lines}")
    if not lines:
        named = [*entry.time_columns, *([entry.surface_column] if entry.surface_column else [])]
        for name in named:
            if not re.fullmatch(r"#\d+", name):
                note("time_columns" if name in entry.time_columns else "surface_column", name, 'with header_lines = 0, a number: "#1"')
    return FileShape(entry.delimiter, entry.decimal, entry.encoding, entry.header_lines, tuple(lines), tuple(entry.missing))


def _clock(entry: OnsiteEntry, note: Note, *, tips: bool) -> FileClock | None:
    log, interval = entry.kind == "irrigation-log", entry.interval_minutes
    if tips:
        beside = {"interval_minutes": interval, "stamp": entry.stamp, "read_at": entry.read_at}
        if any(beside.values()):
            key = next(key for key, value in beside.items() if value is not None)
            note(key, beside[key], f'no {", ".join(beside)} with counting = "tips": each line is a moment')
    elif not log and interval is None:
        note("interval_minutes", Missing(), "required: how many minutes one line stands for")
    if interval is not None and (60 % interval if interval <= 60 else interval % 60 or 1440 % interval):
        allowed = "a number of minutes that goes into an hour: 1, 5, 15, 60 …; for rain alone also hours that go into a day: 120 … 1440"
        note("interval_minutes", interval, allowed)
    if not log and not tips and entry.stamp is None:
        note("stamp", Missing(), 'required: "start" or "end", which of its interval a time labels')
    if entry.read_at is not None and (interval != 1440 or log):
        note("read_at", entry.read_at, "only with interval_minutes = 1440, for a file that has days and no times")
    _check_format(entry.time_format, days=log or entry.read_at is not None, timed=entry.read_at is None or interval != 1440, note=note)
    zone, clock_changes = _zone(entry, note)
    return FileClock(
        columns=tuple(entry.time_columns),
        format=entry.time_format,
        zone=zone,
        clock_changes=clock_changes,
        stamp=entry.stamp or "start",
        interval_minutes=60 if tips else interval or 1,
        read_at=time.fromisoformat(entry.read_at) if entry.read_at else None,
    )


def _check_format(text: str, *, days: bool, timed: bool, note: Note) -> None:
    """A format must leave nothing to guess: year, month, day, hour and minute, and which half of the day a 12-hour clock means."""
    found = set(re.findall(r"%(.)", text))
    unknown = sorted(found - DIRECTIVES)
    needs: list[str] = []
    if not found & set("Yy"):
        needs.append("%Y (year) or %y")
    if "j" not in found:
        needs += ["%m (month)"] if not found & set("mbB") else []
        needs += ["%d (day)"] if "d" not in found else []
    if not (days and not found & set("HIpMS")):
        needs += ["%H (hour), or %I with %p"] if "H" not in found and not {"I", "p"} <= found else []
        needs += ["%M (minute)"] if "M" not in found else []
    if not timed and found & set("HIpMS"):
        note("time_format", text, "a format of days, %d.%m.%Y: read_at says the time of day")
    elif "H" in found and "p" in found:
        note("time_format", text, "%I with %p for a 12-hour clock, or %H without %p")
    elif unknown:
        note("time_format", text, f"directives such as %d.%m.%Y %H:%M; not known: {', '.join('%' + letter for letter in unknown)}")
    elif needs:
        note("time_format", text, f"an exact format such as %d.%m.%Y %H:%M; it lacks {', '.join(needs)}")


def _zone(entry: OnsiteEntry, note: Note) -> tuple[tzinfo | None, bool]:
    name = entry.zone
    if "%z" in entry.time_format:
        for key, value in (("zone", name), ("clock_changes", entry.clock_changes)):
            if value is not None:
                note(key, value, "nothing: time_format has the offset, %z")
        return None, False
    if name is None:
        note("zone", Missing(), 'required: "UTC", an offset such as "+01:00", or a zone such as "Europe/London"')
        return None, False
    zone: tzinfo | None = None
    if name == "UTC":
        zone = UTC
    elif re.fullmatch(OFFSET, name):
        sign = -1 if name[0] == "-" else 1
        zone = timezone(sign * timedelta(hours=int(name[1:3]), minutes=int(name[4:6])))
    if zone is not None:
        if entry.clock_changes:
            note("clock_changes", True, f"false: {name} has no clock changes; name a zone such as Europe/London")
        return zone, False
    if name not in (zones := available_timezones()):
        note("zone", name, f'"UTC", an offset such as "+01:00", or an IANA zone; {nearest(name, zones) if "/" in name else "Area/City"}')
        return None, False
    if entry.clock_changes is None:
        note("clock_changes", Missing(), "required: true where this clock goes to summer time, false where it keeps winter time all year")
    return ZoneInfo(name), bool(entry.clock_changes)


def _column(column: OnsiteColumnEntry, entry: OnsiteEntry, surfaces: list[str], note: Note) -> OnsiteColumn:
    allowed = QUANTITIES_OF_KIND[entry.kind]
    if column.quantity not in allowed:
        note("quantity", column.quantity, f"in a file of kind {entry.kind}: {', '.join(allowed)}")
    units = UNITS_OF_QUANTITY[column.quantity]
    if column.unit not in units:
        note("unit", column.unit, f"a unit of {column.quantity}: {', '.join(units)}")
    if entry.header_lines == 0 and not re.fullmatch(r"#\d+", column.column):
        note("column", column.column, 'with header_lines = 0, a number: "#3"')
    rain, soil, total = column.quantity == "rain", column.quantity.startswith("soil-"), column.counting == "running-total"
    for key, value, wanted, why in (
        ("counting", column.counting, rain, '"interval", "running-total" or "tips"'),
        ("resets", column.resets, rain and total, '"never" or "daily"'),
        ("reset_at", column.reset_at, rain and total and column.resets == "daily", 'the local time at which it begins anew, "00:00"'),
        ("depth_cm", column.depth_cm, soil, "how deep the probe is"),
    ):
        if wanted and value is None:
            note(key, Missing(), f"required: {why}")
        if not wanted and value is not None:
            only = {"counting": "for rain", "resets": "with a running total", "reset_at": 'with resets = "daily"'}
            note(key, value, f"only {only.get(key, 'for a soil probe')}")
    if column.counting == "tips" and entry.kind != "rain-gauge":
        note("counting", "tips", "only in a file of kind rain-gauge")
    if column.reset_at is not None and "%z" in entry.time_format:
        note("reset_at", column.reset_at, "only with a zone: time_format has the offset, %z, which does not tell a local day")
    if column.quantity == "irrigation" and (column.surface is None) == (entry.surface_column is None):
        note("surface", column.surface or Missing(), "either the id of a surface here, or surface_column for the whole log")
    elif column.surface is not None and column.quantity != "irrigation":
        note("surface", column.surface, "only for irrigation")
    elif column.surface is not None and column.surface not in surfaces:
        note("surface", column.surface, f"the id of a surface of this ground; {nearest(column.surface, surfaces)}")
    told = column.reset_at or []
    wrong = [at for at in told if not re.fullmatch(TIME_OF_DAY, at)]
    if wrong:
        note("reset_at", wrong[0], 'a local time of day from "00:00" to "23:59"')
    resets = tuple(sorted({time.fromisoformat(at) for at in told})) if column.resets == "daily" and not wrong else ()
    return OnsiteColumn(
        column=column.column,
        quantity=column.quantity,
        unit=column.unit,
        total=RainTotal(resets) if total else None,
        tips=column.counting == "tips",
        depth_cm=column.depth_cm,
        surface=column.surface,
    )


def _check_columns_together(columns: list[OnsiteColumnEntry], entry: OnsiteEntry, surfaces: list[str], note: Note) -> None:
    seen: set[tuple[object, ...]] = set()
    for number, column in enumerate(columns, start=1):
        key = (column.quantity, column.depth_cm, column.surface)
        if key in seen:
            note(f"column[{number}].quantity", column.quantity, "one column each; another column is this quantity already")
        seen.add(key)
    other = next((column for column in columns if column.quantity != "rain"), None)
    if other is not None and entry.kind != "irrigation-log" and (entry.interval_minutes or 0) > 60:
        note(
            "interval_minutes",
            entry.interval_minutes,
            f"at most 60 beside {other.quantity}: only rain can be shared out over hours",
        )
    if len(columns) > 1 and any(column.counting == "tips" for column in columns):
        note("column", len(columns), 'one column in a file with counting = "tips"')
    wind = any(column.quantity == "wind-speed" for column in columns)
    if wind and entry.wind_height_m is None:
        note("wind_height_m", Missing(), "required with wind-speed: how high above the ground it is measured")
    if entry.kind != "irrigation-log" and (entry.surface_column is not None or entry.surface_names):
        note("surface_column", entry.surface_column or Missing(), "only for an irrigation-log")
    for called, surface in entry.surface_names.items():
        if surface not in surfaces:
            note(f"surface_names.{called}", surface, f"the id of a surface of this ground; {nearest(surface, surfaces)}")
