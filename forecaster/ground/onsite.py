"""A ground's own instruments and logs as files: which column means what, in which unit, on which clock. Checked when read from config/."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time, tzinfo
from typing import Literal

from forecaster.units import (
    ENERGIES_IN_WHM2,
    FRACTIONS,
    LENGTHS_IN_MM,
    PERCENTAGES,
    POWERS_IN_WM2,
    SPEEDS_IN_MS,
    TEMPERATURES_IN_C,
    Conversion,
)

Kind = Literal["rain-gauge", "weather-station", "soil-probe", "irrigation-log"]
Quantity = Literal[
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
# Where two files, or two lines, say something of the same time: what may stand in which file.
QUANTITIES_OF_KIND: dict[Kind, tuple[Quantity, ...]] = {
    "rain-gauge": ("rain", "air-temperature"),
    "weather-station": (
        "rain",
        "air-temperature",
        "dew-point",
        "relative-humidity",
        "wind-speed",
        "radiation",
        "soil-temperature",
    ),
    "soil-probe": ("soil-water", "soil-temperature"),
    "irrigation-log": ("irrigation",),
}
UNITS_OF_QUANTITY: dict[Quantity, dict[str, Conversion]] = {
    "rain": LENGTHS_IN_MM,
    "air-temperature": TEMPERATURES_IN_C,
    "dew-point": TEMPERATURES_IN_C,
    "relative-humidity": PERCENTAGES,
    "wind-speed": SPEEDS_IN_MS,
    "radiation": POWERS_IN_WM2 | ENERGIES_IN_WHM2,
    "soil-temperature": TEMPERATURES_IN_C,
    "soil-water": FRACTIONS,
    "irrigation": LENGTHS_IN_MM,
}
OUR_UNIT: dict[Quantity, str] = {
    "rain": "mm",
    "air-temperature": "°C",
    "dew-point": "°C",
    "relative-humidity": "%",
    "wind-speed": "m/s",
    "radiation": "W/m²",
    "soil-temperature": "°C",
    "soil-water": "m³/m³",
    "irrigation": "mm",
}


def conversion(quantity: Quantity, unit: str, *, interval_minutes: int) -> Conversion:
    """How a column's numbers become ours; energy of an interval becomes the interval's mean power."""
    found = UNITS_OF_QUANTITY[quantity][unit]
    return Conversion(found.factor * 60.0 / interval_minutes) if unit in ENERGIES_IN_WHM2 else found


@dataclass(frozen=True)
class RainTotal:
    """A rain column that counts up. ``reset_at``: the local times of day at which it begins anew; empty where it never does on purpose."""

    reset_at: tuple[time, ...] = ()


@dataclass(frozen=True)
class OnsiteColumn:
    """One column of a file: its name there, or its number as ``#3``, and what it means."""

    column: str
    quantity: Quantity
    unit: str
    total: RainTotal | None = None
    """None for everything but rain as a running total."""
    tips: bool = False
    """Whether each line is one event, a tip of the bucket, and dry weather writes none."""
    depth_cm: float | None = None
    """Of a soil probe."""
    surface: str | None = None
    """The surface that an irrigation column is about; None where a column of the log names it."""

    @property
    def key(self) -> tuple[Quantity, float | None, str | None]:
        """What the column measures: no two columns of one file may measure the same."""
        return self.quantity, self.depth_cm, self.surface

    @property
    def called(self) -> str:
        """The quantity in words, with its depth."""
        depth = f" at {self.depth_cm:g} cm" if self.depth_cm is not None else ""
        return self.quantity.replace("-", " ") + depth


@dataclass(frozen=True)
class FileShape:
    """How the text of a file is laid out."""

    delimiter: str
    decimal: Literal[".", ","]
    encoding: Literal["utf-8", "cp1252"]
    header_lines: int
    names_lines: tuple[int, ...]
    """The header lines, counted from 1, that name the columns; with several, a column's name is theirs, joined by a space."""
    missing: tuple[str, ...]


@dataclass(frozen=True)
class FileClock:
    """What the times of a file mean."""

    columns: tuple[str, ...]
    format: str
    zone: tzinfo | None
    """None where the format itself has an offset."""
    clock_changes: bool
    """False: the zone's winter time all year round."""
    stamp: Literal["start", "end"]
    """Whether a time labels the start or the end of its interval."""
    interval_minutes: int
    read_at: time | None = None
    """The time of day that belongs to a file that has days only; None where times stand in it."""

    @property
    def long(self) -> bool:
        """Whether a line stands for more than an hour, as readings by hand do: then nobody knows in which hour rain fell."""
        return self.interval_minutes > 60

    @property
    def slack_minutes(self) -> int:
        """How much earlier or later than its interval a reading may come and still end it: nobody reads a gauge to the minute.

        Three hours for a day, less for less; nothing for an instrument. Status: assumption.
        """
        return min(180, self.interval_minutes // 4) if self.long else 0

    @property
    def days_only(self) -> bool:
        """True for a log that has days and no times."""
        return not any(directive in self.format for directive in ("%H", "%I", "%R", "%T", "%X", "%c"))


@dataclass(frozen=True)
class OnsiteSource:
    """One ``[[onsite]]`` of a ground: a file, or a folder with a pattern, and how it is to be read."""

    id: str
    kind: Kind
    folder: str
    """Absolute."""
    files: str
    """A pattern of file names in the folder, or one name."""
    shape: FileShape
    clock: FileClock
    columns: tuple[OnsiteColumn, ...]
    wind_height_m: float | None = None
    surface_column: str | None = None
    surface_names: tuple[tuple[str, str], ...] = ()
    """What the log calls a surface → the surface's id."""

    @property
    def tips(self) -> bool:
        """Whether lines are events and not intervals."""
        return any(column.tips for column in self.columns)
