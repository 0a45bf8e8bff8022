"""What is done where weather is missing (FAO-56 chapters 3 and 4): a table, read from top to bottom, for days and for hours alike.

Each row says what it gives, from what, in which words people are told, and by which equation. The first row whose inputs are there wins,
value by value; what was given itself comes before every row. Rows that are marked ``estimate`` stand for a measurement that does not
exist; the others only turn one measurement into another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from forecaster.physics import evapotranspiration, humidity, radiation

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Series = Mapping[str, Floats]

VAPOUR_PRESSURE, SHORTWAVE_AMOUNT, WIND_2M = "vapour_pressure_kpa", "shortwave_mj", "wind_speed_2m_ms"
WIND_ASSUMED = "wind taken as 2 m/s"
HUMIDITY_ESTIMATED = "humidity from the lowest temperature of the day"
SHORTWAVE_ESTIMATED = "radiation from the temperature range"
HARGREAVES = "evapotranspiration from temperatures alone, by Hargreaves"
NIGHT_CLOUD_ASSUMED = "cloud of the night assumed"
ARID_CAUTION = (
    "The lowest temperature is close to the dew point only over well-watered ground; in dry places it makes the air too moist and the "
    "result too small. State that the place is arid there."
)


@dataclass(frozen=True)
class Circumstances:
    """What a place is like, as far as the procedures ask: how far from the sea, and whether the air is dry."""

    setting: Literal["inland", "coast", "island"] = "inland"
    arid: bool = False

    @property
    def words(self) -> frozenset[str]:
        """The words that rows of the table may ask for."""
        return frozenset((self.setting, "arid" if self.arid else "humid"))

    @property
    def night_cloud_ratio(self) -> float:
        """Rs/Rso of a night whose afternoon is not known."""
        return radiation.NIGHT_CLOUD_RATIO_ARID if self.arid else radiation.NIGHT_CLOUD_RATIO_HUMID


@dataclass(frozen=True)
class Procedure:
    """One way to get one quantity from others."""

    gives: str
    needs: tuple[str, ...]
    told: str
    source: str
    value: Callable[..., Floats]
    """Called with the series named in ``needs``, in that order."""
    estimate: bool = True
    only: str | None = None
    """A word of the circumstances without which the row does not count."""
    caution: str = ""


def _temperature_range(adjustment: float) -> Callable[..., Floats]:
    """Eq. 50, at most a clear sky (own: a range of 30 °C would give more than eq. 37 allows)."""

    def value(warm: Floats, cold: Floats, top: Floats, clear: Floats) -> Floats:
        rising = np.maximum(warm, cold)  # a warm front can turn a day over; NaN stays NaN
        return np.minimum(radiation.shortwave_from_temperature_range(rising, cold, top, adjustment=adjustment), clear)

    return value


def _sunshine(hours: Floats, daylight: Floats, top: Floats) -> Floats:
    """Eq. 35; a day without sunrise has no radiation, and a recorder may say a little more than the daylight."""
    possible = np.where(daylight > 0.0, daylight, 1.0)
    return radiation.shortwave_from_sunshine(np.minimum(hours, possible), possible, top)


def _from_minimum(*, arid: bool) -> Callable[..., Floats]:
    return lambda cold: humidity.vapour_pressure_from_dew_point(humidity.dew_point_from_minimum(cold, arid=arid))


_MAX, _MIN = "air_temperature_max_c", "air_temperature_min_c"
_RH_MAX, _RH_MIN, _RH_MEAN = "relative_humidity_max_percent", "relative_humidity_min_percent", "relative_humidity_mean_percent"
_RANGE = (_MAX, _MIN, "extraterrestrial_mj", "clear_sky_mj")

_HUMIDITY_FROM_MINIMUM = (
    Procedure(VAPOUR_PRESSURE, (_MIN,), HUMIDITY_ESTIMATED, "FAO-56 eq. 48", _from_minimum(arid=False), only="humid", caution=ARID_CAUTION),
    Procedure(
        VAPOUR_PRESSURE, (_MIN,), "humidity from 2 °C below the lowest temperature of the day", "FAO-56 eq. 48, note on arid places",
        _from_minimum(arid=True), only="arid",
    ),
)  # fmt: skip


def _wind(temperature: str) -> tuple[Procedure, ...]:
    """Where not even the temperature is known there is no day or hour to assume wind for."""
    return (
        Procedure(WIND_2M, ("nearby_wind_speed_2m_ms",), "wind of a nearby station", "FAO-56 ch. 3, missing wind", lambda u: u),
        Procedure(
            WIND_2M, (temperature,), WIND_ASSUMED, "FAO-56 ch. 3, missing wind",
            lambda t: np.where(np.isnan(t), np.nan, evapotranspiration.WIND_DEFAULT_MS),
        ),
    )  # fmt: skip


DAILY: tuple[Procedure, ...] = (
    Procedure(
        VAPOUR_PRESSURE, ("dew_point_c",), "humidity from the dew point", "FAO-56 eq. 14", humidity.vapour_pressure_from_dew_point,
        estimate=False,
    ),
    Procedure(
        VAPOUR_PRESSURE, ("dry_bulb_c", "wet_bulb_c", "pressure_kpa"), "humidity from dry and wet bulb", "FAO-56 eq. 15",
        humidity.vapour_pressure_from_psychrometer, estimate=False,
    ),
    Procedure(
        VAPOUR_PRESSURE, (_MAX, _MIN, _RH_MAX, _RH_MIN), "humidity from highest and lowest relative humidity", "FAO-56 eq. 17",
        humidity.vapour_pressure_from_humidity_extremes, estimate=False,
    ),
    Procedure(
        VAPOUR_PRESSURE, (_MIN, _RH_MAX), "humidity from the highest relative humidity alone", "FAO-56 eq. 18",
        humidity.vapour_pressure_from_highest_humidity,
    ),
    Procedure(
        VAPOUR_PRESSURE, (_MAX, _MIN, _RH_MEAN), "humidity from the mean relative humidity", "FAO-56 eq. 19",
        humidity.vapour_pressure_from_mean_humidity,
    ),
    *_HUMIDITY_FROM_MINIMUM,
    Procedure(
        SHORTWAVE_AMOUNT, ("sunshine_h", "daylight_h", "extraterrestrial_mj"), "radiation from hours of sunshine",
        "FAO-56 eq. 35", _sunshine,
    ),
    Procedure(SHORTWAVE_AMOUNT, ("nearby_shortwave_mj",), "radiation of a nearby station", "FAO-56 eq. 49 (same latitude)", lambda rs: rs),
    Procedure(
        SHORTWAVE_AMOUNT, ("nearby_sunshine_h", "daylight_h", "extraterrestrial_mj"), "radiation from sunshine of a nearby station",
        "FAO-56 eqs 35 and 49", _sunshine,
    ),
    Procedure(
        SHORTWAVE_AMOUNT, _RANGE, SHORTWAVE_ESTIMATED, "FAO-56 eq. 50, kRs 0.16", _temperature_range(radiation.TEMPERATURE_RANGE_INLAND),
        only="inland",
    ),
    Procedure(
        SHORTWAVE_AMOUNT, _RANGE, "radiation from the temperature range by the sea", "FAO-56 eq. 50, kRs 0.19",
        _temperature_range(radiation.TEMPERATURE_RANGE_COAST), only="coast",
    ),
    Procedure(
        SHORTWAVE_AMOUNT, ("extraterrestrial_mj", _MIN), "radiation usual on a low island", "FAO-56 eq. 51 (meant for months)",
        lambda top, cold: np.where(np.isnan(cold), np.nan, radiation.shortwave_on_island(top)), only="island",
    ),
    *_wind(_MIN),
)  # fmt: skip

# Of hours: radiation per hour; the temperature range, its radiation and the lowest temperature are those of the hour's day.
HOURLY: tuple[Procedure, ...] = (
    DAILY[0],
    Procedure(
        VAPOUR_PRESSURE, ("air_temperature_c", "relative_humidity_percent"), "humidity from relative humidity", "FAO-56 eq. 54",
        lambda t, rh: humidity.saturation_vapour_pressure(t) * rh / 100.0, estimate=False,
    ),
    *_HUMIDITY_FROM_MINIMUM,
    Procedure(
        SHORTWAVE_AMOUNT, ("extraterrestrial_mj",), "no radiation at night", "astronomy", lambda top: np.where(top > 0.0, np.nan, 0.0),
        estimate=False,
    ),
    Procedure(
        SHORTWAVE_AMOUNT, ("shortwave_of_day_mj", "extraterrestrial_mj", "extraterrestrial_of_day_mj"), SHORTWAVE_ESTIMATED,
        "FAO-56 eqs 50 and 51 for the day, shared out as the sun stands (assumption)",
        lambda day, top, top_of_day: day * top / np.where(top_of_day > 0.0, top_of_day, 1.0),
    ),
    *_wind("air_temperature_c"),
)  # fmt: skip

MEASURED_HUMIDITY_OF_HOURS = tuple(row for row in HOURLY if row.gives == VAPOUR_PRESSURE and not row.estimate)


@dataclass(frozen=True)
class Resolved:
    """Series made complete as far as the table goes, and how each value came about; arrays of one shape."""

    values: dict[str, Floats]
    used: tuple[tuple[Procedure, Flags], ...]
    """Rows that gave at least one value, in the order of the table."""

    def estimated(self, quantity: str) -> Flags:
        """Where the quantity stands for a measurement that does not exist."""
        masks = [where for row, where in self.used if row.gives == quantity and row.estimate]
        return np.logical_or.reduce(masks) if masks else np.zeros(self.values[quantity].shape, dtype=np.bool_)

    def notes(self) -> list[tuple[str, Flags]]:
        """What to tell, and where."""
        return [(row.told, where) for row, where in self.used if row.estimate]


def resolve(table: Sequence[Procedure], series: Series, circumstances: Circumstances, shape: tuple[int, ...]) -> Resolved:
    """Fill what is NaN or absent among the quantities of the table, row by row.

    ``series``: what was given, NaN where it is missing; arrays that broadcast to ``shape``. Source: FAO-56 ch. 3-4, each row its own.
    Status: published unless a row says otherwise.
    """
    values = {row.gives: np.array(np.broadcast_to(series.get(row.gives, np.nan), shape), dtype=np.float64) for row in table}
    used = []
    for row in table:
        found = values[row.gives]
        gaps = np.isnan(found)
        if not gaps.any() or not all(name in series for name in row.needs) or (row.only and row.only not in circumstances.words):
            continue
        offered = np.broadcast_to(row.value(*(np.asarray(series[name], dtype=np.float64) for name in row.needs)), shape)
        filled = gaps & np.isfinite(offered)
        if filled.any():
            found[filled] = offered[filled]
            used.append((row, filled))
    return Resolved(values, tuple(used))
