"""Cells of an on-site file → numbers in our units, and columns whose numbers do not look like the unit they are said to have."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.ground.onsite import OUR_UNIT, UNITS_OF_QUANTITY, OnsiteColumn, OnsiteSource, Quantity, conversion
from forecaster.sources.onsite_reading import Rejected
from forecaster.sources.onsite_table import Table
from forecaster.weather import frame
from forecaster.weather.quality import HOURLY_RANGES, Plausible

Floats = npt.NDArray[np.float64]

# Frame variable of each quantity that has one.
VARIABLE: dict[Quantity, str] = {
    "rain": frame.PRECIPITATION,
    "air-temperature": frame.AIR_TEMPERATURE,
    "dew-point": frame.DEW_POINT,
    "relative-humidity": frame.RELATIVE_HUMIDITY,
    "wind-speed": frame.WIND_SPEED,
    "radiation": frame.SHORTWAVE,
    "soil-temperature": frame.SOIL_TEMPERATURE,
}
# Water fills pores, and no soil is only pores; an open probe in the air shows 0. One watering above 100 mm is no watering (assumption).
_OTHER_RANGES: dict[Quantity, Plausible] = {
    "soil-water": Plausible("soil water", 0.0, 1.0, "m³/m³"),
    "irrigation": Plausible("irrigation", 0.0, 100.0, "mm"),
}
# Humidity sensors of 3 % show up to this in fog (practice): they mean saturated air.
SATURATED_UP_TO_PERCENT = 105.0
# Numbers needed before a column's unit is doubted: a day of hours.
ENOUGH = 24


def limits(quantity: Quantity) -> Plausible:
    """Beyond these a value of one interval is a fault."""
    return _OTHER_RANGES[quantity] if quantity in _OTHER_RANGES else HOURLY_RANGES[VARIABLE[quantity]]


@dataclass(frozen=True)
class ColumnValues:
    """One column in our unit, shape (line,), NaN where missing or rejected; a running total of rain stays a total, in mm."""

    column: OnsiteColumn
    values: Floats
    rejected: tuple[Rejected, ...]
    doubt: str | None
    """Why the column as a whole is not to be used."""


def read_column(source: OnsiteSource, column: OnsiteColumn, table: Table, problems: list[str]) -> ColumnValues:
    """Read one column. A cell that is no number, or no possible value, is rejected by itself; missing markers are NaN and no fault."""
    texts = table.column(column.column)
    number = _number_reader(source)
    known = {text: number(text) for text in set(texts)}
    raw = np.array([value if (value := known[text]) is not None else np.nan for text in texts])
    numbers = {text for text, value in known.items() if value is not None and not np.isnan(value)}
    wrong = {text for text, value in known.items() if value is None}
    if wrong and not numbers:
        problems.append(_no_numbers(source, column, sorted(wrong)))
    convert = conversion(column.quantity, column.unit, interval_minutes=source.clock.interval_minutes)
    values = np.array([convert(value) for value in raw])
    doubt = None if column.total is not None else _doubt(column, raw, interval_minutes=source.clock.interval_minutes)
    if column.quantity == "relative-humidity":
        values[(values > 100.0) & (values <= SATURATED_UP_TO_PERCENT)] = 100.0
    allowed = limits(column.quantity)
    highest = np.inf if column.total is not None else allowed.highest
    outside = (values < allowed.lowest) | (values > highest)
    rules = {int(row): f"not a number with decimal {source.shape.decimal!r}, and not a missing marker" for row in _rows_of(texts, wrong)}
    at_most = f"{allowed.called} not within {allowed}" if column.total is None else "a running total is not negative"
    rules |= {int(row): at_most for row in np.flatnonzero(outside)}
    kinds = {int(row): "range" for row in np.flatnonzero(outside)}
    values[outside] = np.nan
    if column.quantity == "radiation":
        values = np.maximum(values, 0.0)  # pyranometers show a little less than nothing at night
    rejected = tuple(
        Rejected(table.lines[row], column.column, texts[row], rules[row], table.file, kinds.get(row, "file")) for row in sorted(rules)
    )
    return ColumnValues(column, values, rejected, doubt)


def marker_hint(rejected: tuple[Rejected, ...]) -> tuple[str, ...]:
    """A value that is rejected again and again is hardly a measurement."""
    counts: dict[tuple[str, str], int] = {}
    for fault in rejected:
        if fault.column and ("not within" in fault.rule or "not a number" in fault.rule):
            counts[fault.column, fault.value] = counts.get((fault.column, fault.value), 0) + 1
    return tuple(
        f"{value!r} stands {count} times in {column!r} and is no measurement: it may be a missing marker (missing = [{value!r}])"
        for (column, value), count in counts.items()
        if count >= 3
    )


def _rows_of(texts: list[str], wanted: set[str]) -> list[int]:
    return [row for row, text in enumerate(texts) if text in wanted] if wanted else []


def _number_reader(source: OnsiteSource) -> Callable[[str], float | None]:
    """Reads one cell: a number, NaN for a missing marker, None for anything else."""
    decimal = source.shape.decimal
    markers = {marker.strip() for marker in source.shape.missing} | {""}
    marker_numbers = {value for marker in markers if (value := _plain_number(marker.replace(",", "."))) is not None}

    def number(text: str) -> float | None:
        if text in markers:
            return np.nan
        if decimal == ",":
            if "." in text:
                return None  # 1.234 may be a little more than one, or more than a thousand
            text = text.replace(",", ".", 1)
        value = _plain_number(text)
        return np.nan if value is not None and value in marker_numbers else value

    return number


def _plain_number(text: str) -> float | None:
    """A finite number in digits; not what Python takes besides (nan, infinity, 1_000)."""
    if not text or text.strip("+-0123456789.eE"):
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def _no_numbers(source: OnsiteSource, column: OnsiteColumn, wrong: list[str]) -> str:
    other = "," if source.shape.decimal == "." else "."
    shown = next((text for text in wrong if other in text), wrong[0])
    meant = _plain_number(shown.replace(",", ".")) is not None and other in shown
    tail = f"decimal = {other!r} may be meant" if meant else "is it the right column?"
    return f"column {column.column!r}: no cell is a number with decimal {source.shape.decimal!r}, such as {shown!r}; {tail}"


# How the numbers of a season look, far from any limit, so that a whole column in another unit stands out: least and most of the median,
# least and most of the largest value. Status: assumption; a wind in miles per hour taken for m/s does not show by itself.
_LOOKS: dict[Quantity, tuple[float, float, float, float]] = {
    "air-temperature": (-45.0, 42.0, -40.0, 60.0),
    "dew-point": (-50.0, 32.0, -45.0, 38.0),
    "soil-temperature": (-30.0, 42.0, -30.0, 60.0),
    "relative-humidity": (4.0, 105.0, 8.0, 112.0),
    "wind-speed": (0.0, 12.0, 0.0, 60.0),
    "radiation": (-10.0, 900.0, 0.0, 1800.0),
    "soil-water": (0.005, 0.9, 0.01, 1.05),
}


def _looks_right(quantity: Quantity, values: Floats, *, whole_days: bool) -> bool:
    low, high, low_most, high_most = _LOOKS[quantity]
    if quantity == "radiation" and whole_days:
        low_most = 15.0  # even a dark winter day has more in its brightest interval
    # One spike is a fault of one value, not of the unit.
    return low <= float(np.median(values)) <= high and low_most <= float(np.quantile(values, 0.99)) <= high_most


def _doubt(column: OnsiteColumn, raw: Floats, *, interval_minutes: int) -> str | None:
    """Say that a column does not look like its unit, and which unit would fit, or that rain looks like a running total."""
    known = raw[np.isfinite(raw)]
    sentinel = np.abs(known) >= 900.0  # forgotten missing markers are told one by one
    if column.quantity != "radiation" and sentinel.mean() < 0.5 if known.size else False:
        known = known[~sentinel]
    if known.size < ENOUGH:
        return None
    if column.quantity == "rain":
        return _total_taken_for_amounts(column, known)
    if column.quantity not in _LOOKS:
        return None
    whole_days = known.size * interval_minutes >= 2 * 1440
    fits = []
    for unit in UNITS_OF_QUANTITY[column.quantity]:
        convert = conversion(column.quantity, unit, interval_minutes=interval_minutes)
        if _looks_right(column.quantity, np.array([convert(value) for value in known]), whole_days=whole_days):
            fits.append(unit)
    if column.unit in fits:
        return None
    convert = conversion(column.quantity, column.unit, interval_minutes=interval_minutes)
    shown = f"median {convert(float(np.median(known))):.3g}, highest {convert(float(known.max())):.3g} {OUR_UNIT[column.quantity]}"
    meant = f"; unit = {' or '.join(repr(unit) for unit in fits)} may be meant" if fits else ""
    return f"column {column.column!r}: {column.called} does not look like {column.unit} ({shown}){meant}. The column is not used."


def _total_taken_for_amounts(column: OnsiteColumn, known: Floats) -> str | None:
    """Rain of intervals is mostly nothing and falls back to nothing; a total climbs and stays."""
    rises, falls = int((np.diff(known) > 0).sum()), int((np.diff(known) < 0).sum())
    if (known > 0).mean() > 0.5 and rises >= 5 and falls <= rises // 5:
        return (
            f"column {column.column!r}: the numbers climb from {known[0]:g} to {known.max():g} and hardly ever fall; "
            "counting = 'running-total' may be meant. The column is not used."
        )
    return None
