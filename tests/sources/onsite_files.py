"""The invented files of tests/sources/onsite/, read through the mapping beside each, and ways to spoil them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from forecaster.ground.onsite import OnsiteSource
from forecaster.settings.mistakes import MistakeList
from forecaster.settings.onsite import OnsiteEntry, read_onsite_entry
from forecaster.settings.reading import check
from forecaster.sources.onsite import read_onsite
from forecaster.sources.onsite_reading import OnsiteReading, Rejected

FILES = Path(__file__).resolve().parent / "onsite"
NOW = datetime(2026, 9, 20, 12, tzinfo=UTC)
SURFACES = ["green", "top-pitch"]


def entry(raw: Mapping[str, Any], *, folder: Path = FILES) -> OnsiteSource:
    """A source from an entry without mistakes."""
    mistakes = MistakeList()
    check(OnsiteEntry, raw, "x.toml", mistakes)
    found = read_onsite_entry(raw, prefix="onsite[1]", folder=folder, surfaces=SURFACES, file="x.toml", mistakes=mistakes)
    assert found is not None, mistakes.found
    assert not mistakes.found
    return found


def raw(name: str, **changes: Any) -> dict[str, Any]:
    """The mapping of a file, with keys replaced; None takes a key away."""
    merged = tomllib.loads((FILES / f"{name}.toml").read_text(encoding="utf-8")) | changes
    return {key: value for key, value in merged.items() if value is not None}


def source(name: str, **changes: Any) -> OnsiteSource:
    return entry(raw(name, **changes))


def reading(name: str, *, now: datetime = NOW, **changes: Any) -> OnsiteReading:
    return read_onsite(source(name, **changes), FILES / f"{name}.csv", now=now)


def hours(read: OnsiteReading, variable: str) -> dict[str, float]:
    """The known hours of a variable: "09-01 23" → value, rounded far below what any instrument tells."""
    series = read.frame.values[variable].dropna()
    return {f"{hour:%m-%d %H}": round(float(value), 6) for hour, value in series.items()}


def told(rejected: tuple[Rejected, ...]) -> list[tuple[int, str, str]]:
    return [(fault.line, fault.column, fault.value) for fault in rejected]


def csv_of(start: str, values: Mapping[str, np.ndarray], *, minutes: int) -> str:
    """A plain file: ``time`` and the columns given, one line per interval."""
    first = np.datetime64(start, "m")
    size = len(next(iter(values.values())))
    lines = [",".join(("time", *values))]
    for row in range(size):
        stamp = str(first + np.timedelta64(minutes * row, "m")).replace("T", " ")
        lines.append(",".join((stamp, *(f"{column[row]:.4f}" for column in values.values()))))
    return "\n".join(lines) + "\n"
