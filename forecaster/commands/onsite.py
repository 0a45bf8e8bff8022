"""``forecaster onsite``: a dry run of one file of a ground's own instruments; shows what was understood, and stores nothing."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from forecaster.errors import NotFound
from forecaster.ground.onsite import OUR_UNIT, OnsiteSource
from forecaster.settings.configuration import Configuration
from forecaster.sources.onsite import logged_irrigation, read_onsite
from forecaster.sources.onsite_reading import OnsiteReading

SHOWN_REJECTIONS = 10
SHOWN_DAYS = 7


def chosen(configuration: Configuration, ground_id: str, entry_id: str) -> OnsiteSource:
    """The entry of a ground, by ids. Raises NotFound, which names those there are."""
    ground = configuration.ground(ground_id)
    source = next((source for source in ground.onsite if source.id == entry_id), None)
    if source is None:
        known = ", ".join(source.id for source in ground.onsite)
        hint = f"Entries: {known}." if known else "The ground's file has no [[onsite]]; config/onsite/ has examples to copy."
        raise NotFound(f"{ground.name} has no [[onsite]] called {entry_id!r}", hint=hint)
    return source


def dry_run(file: Path, source: OnsiteSource, *, now: datetime, console: Console) -> bool:
    """Read a file and print what was understood; say whether anything was. Raises WeatherError where the file cannot be read as a whole."""
    reading = read_onsite(source, file, now=now)
    understood = reading.understood
    period = "no line has a usable time"
    if understood.first is not None and understood.last is not None:
        period = f"{understood.first:%Y-%m-%d %H:%M} to {understood.last:%Y-%m-%d %H:%M} UTC"
    say = _plain(console)
    say(f"{file.name}, read as {source.id!r} ({source.kind})")
    say(f"Clock: {understood.zone}.")
    if understood.interval_minutes is not None:
        say(f"Interval: {understood.interval_minutes} minutes; a time labels the {source.clock.stamp} of its interval.")
    say(f"Period: {period}.")
    for column in understood.columns:
        say(f"Column {column}.")
    if understood.unused:
        say(f"Columns not used: {', '.join(understood.unused)}.")
    if understood.first_rows:
        console.print(_first_rows(reading))
    say(_count(reading))
    for line in (*reading.doubts, *understood.notes):
        say(line)
    for line in _rejections(reading):
        say(line)
    if understood.rain_by_day:
        say(f"Rain of the last {min(SHOWN_DAYS, len(understood.rain_by_day))} days of the file, by its own clock:")
        for day, amount in list(understood.rain_by_day.items())[-SHOWN_DAYS:]:
            say(f"  {day}  {amount:.1f} mm")
    for line in _would_store(reading):
        say(line)
    return not reading.empty


def _plain(console: Console) -> Callable[[str], None]:
    """Prints a line as it is: what stands in a file is no markup."""

    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    return say


def _first_rows(reading: OnsiteReading) -> Table:
    rows = reading.understood.first_rows
    table = Table(title="The first lines, as understood")
    table.add_column("line", justify="right")
    table.add_column("as written", no_wrap=True)
    table.add_column("from (UTC)", no_wrap=True)
    for name, _ in rows[0].values:
        table.add_column(name, justify="right")
    for row in rows:
        values = ["-" if math.isnan(value) else f"{value:.3g}" if abs(value) < 1 else f"{value:.1f}" for _, value in row.values]
        table.add_row(str(row.line), escape(row.as_written), f"{row.start:%Y-%m-%d %H:%M}", *values)
    return table


def _count(reading: OnsiteReading) -> str:
    understood = reading.understood
    doubled = f", {understood.doubled} doubled" if understood.doubled else ""
    return f"Lines: {understood.lines}, of which {understood.taken} taken{doubled}. Values or lines rejected: {len(reading.rejected)}."


def _rejections(reading: OnsiteReading) -> Iterator[str]:
    for fault in reading.rejected[:SHOWN_REJECTIONS]:
        yield f"  line {fault.line}: {f'{fault.column} = ' if fault.column else ''}{fault.value!r}: {fault.rule}"
    more = reading.rejected[SHOWN_REJECTIONS:]
    if more:
        rules = Counter(fault.rule for fault in more)
        (rule, count), *_ = rules.most_common(1)
        yield f"  and {len(more)} more, {count} of them: {rule}"


def _would_store(reading: OnsiteReading) -> Iterator[str]:
    values, nothing = reading.frame.values, True
    for name in values.columns:
        hours = values[name].dropna()
        if len(hours):
            nothing = False
            yield f"Would be used: {len(hours)} whole hours of {name}, {hours.min():.1f} to {hours.max():.1f}."
    for series in reading.soil:
        if len(series.hours):
            nothing = False
            called = f"{series.quantity.replace('-', ' ')} at {series.depth_cm:g} cm"
            unit = OUR_UNIT[series.quantity]
            least, most = series.values.min(), series.values.max()
            yield f"Would be used: {len(series.hours)} whole hours of {called}, {least:.3g} to {most:.3g} {unit}."
    for surface, days in logged_irrigation([reading]).items():
        nothing = False
        yield f"Would be used: irrigation of {surface} on {len(days)} days, {sum(days.values()):.1f} mm in all."
    yield "Nothing would be used." if nothing else "This was a dry run: nothing was stored."
