"""The canonical hourly frame: every source delivers this, nothing after a source knows the provider."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.quantities import Origin

# Columns of the frame, with the unit in the name. Sums and means cover the hour that *starts* at the label.
AIR_TEMPERATURE = "air_temperature_c"  # mean or instant at the hour's start, 2 m
DEW_POINT = "dew_point_c"  # 2 m
RELATIVE_HUMIDITY = "relative_humidity_percent"  # 2 m
WIND_SPEED = "wind_speed_ms"  # at the frame's wind_height_m
SHORTWAVE = "shortwave_wm2"  # mean of the hour, global horizontal
PRECIPITATION = "precipitation_mm"  # sum of the hour, rain and melted snow
SOIL_TEMPERATURE = "soil_temperature_c"  # at the frame's soil_temperature_depth_cm

VARIABLES: tuple[str, ...] = (
    AIR_TEMPERATURE,
    DEW_POINT,
    RELATIVE_HUMIDITY,
    WIND_SPEED,
    SHORTWAVE,
    PRECIPITATION,
    SOIL_TEMPERATURE,
)

# How people are told of the variables, and their units.
CALLED: dict[str, tuple[str, str]] = {
    AIR_TEMPERATURE: ("air temperature", "°C"),
    DEW_POINT: ("dew point", "°C"),
    RELATIVE_HUMIDITY: ("humidity", "%"),
    WIND_SPEED: ("wind", "m/s"),
    SHORTWAVE: ("radiation", "W/m²"),
    PRECIPITATION: ("rain", "mm"),
    SOIL_TEMPERATURE: ("soil temperature", "°C"),
}

# Origins as small integers inside the frame: a larger code is less sure. 0 is missing.
ORIGIN_CODES: dict[Origin, int] = {Origin.MISSING: 0, Origin.OBSERVED: 1, Origin.MODELLED: 2, Origin.FORECAST: 3}
ORIGINS_BY_CODE: dict[int, Origin] = {code: origin for origin, code in ORIGIN_CODES.items()}


# Soil temperature is wanted at 5 cm, and is used as such within these depths: a daily mean changes little there (5 and 10 cm differ by
# 0.35 °C, median of 12 stations of the US Climate Reference Network 2020), far less than a simulated one is wrong by (1.3 °C).
USED_SOIL_DEPTH_CM = (4.0, 8.0)

# From the fourth day on global models are made in steps of three or six hours, which services spread evenly over the hours between.
# Where a source does not say where its hours end, this is taken. Status: assumption; models differ between 3 and 7 days.
HOURLY_FOR = timedelta(hours=72)


@dataclass(frozen=True)
class WeatherSource:
    """Who a frame comes from, as people must be told."""

    name: str
    attribution: str
    licence: str
    link: str | None = None
    sample: bool = False


@dataclass(frozen=True)
class TakenOut:
    """Values of one variable that a check took out of a frame, with what stood there; shape (hour,) each.

    ``told``: the rule in words; ``check``, ``limits`` and ``basis``: its name, its numbers and where they come from.
    """

    variable: str
    told: str
    hours: pd.DatetimeIndex
    values: npt.NDArray[np.float64]
    check: str = ""
    limits: str = ""
    basis: str = ""

    def at(self, hours: pd.DatetimeIndex) -> TakenOut:
        """Only what was taken out at these hours."""
        keep = np.asarray(self.hours.isin(hours))
        return replace(self, hours=self.hours[keep], values=self.values[keep])


@dataclass(frozen=True)
class HourlyWeather:
    """Hourly weather of one place as one source issued it.

    ``values``: DataFrame, index UTC hours (tz-aware, unique, increasing, hourly without gaps; a missing hour is a row of NaN),
    columns exactly ``VARIABLES``, float64, NaN = missing. ``origins``: the same index and columns, int8 codes of
    ``ORIGIN_CODES``; 0 exactly where the value is NaN. ``issued_at``: UTC time at which the source made or handed out the data.
    ``rough``: hours whose values the source does not tell hour by hour, shape (hour,); None where it does not say: then those
    later than ``HOURLY_FOR`` after the issue are. ``taken_out``: what checks have removed from the values.
    """

    values: pd.DataFrame
    origins: pd.DataFrame
    source: WeatherSource
    issued_at: datetime
    wind_height_m: float
    soil_temperature_depth_cm: float | None = None
    notes: tuple[str, ...] = ()
    rough: npt.NDArray[np.bool_] | None = None
    taken_out: tuple[TakenOut, ...] = ()

    def __post_init__(self) -> None:
        index = self.values.index
        if not isinstance(index, pd.DatetimeIndex) or str(index.tz) != "UTC":
            raise ValueError("hourly weather needs a UTC DatetimeIndex")
        if tuple(self.values.columns) != VARIABLES or tuple(self.origins.columns) != VARIABLES:
            raise ValueError(f"hourly weather needs exactly the columns {VARIABLES}")
        if not index.equals(self.origins.index):
            raise ValueError("values and origins need the same hours")
        if len(index) > 1 and not (np.diff(index.as_unit("s").asi8) == 3600).all():
            raise ValueError("hourly weather needs every hour once, in order")
        if ((self.origins.to_numpy() == 0) != self.values.isna().to_numpy()).any():
            raise ValueError("an origin is missing exactly where the value is")
        if self.issued_at.tzinfo is None:
            raise ValueError("issued_at needs a time zone")
        if self.rough is not None and self.rough.shape != (len(index),):
            raise ValueError("rough needs one mark for every hour")

    @property
    def rough_hours(self) -> npt.NDArray[np.bool_]:
        """True where nothing may rest on the exact hour of a value: it is spread from steps of several hours; shape (hour,)."""
        if self.rough is not None:
            return self.rough
        return np.asarray(self.values.index >= pd.Timestamp(self.issued_at + HOURLY_FOR))


def frame_since(frame: HourlyWeather, moment: datetime) -> HourlyWeather:
    """The frame from the hour of a moment on; the same one where it begins no earlier."""
    keep = np.asarray(frame.values.index >= pd.Timestamp(moment).tz_convert("UTC").floor("h"))
    if keep.all():
        return frame
    rough = None if frame.rough is None else frame.rough[keep]
    taken = tuple(one.at(pd.DatetimeIndex(frame.values.index[keep])) for one in frame.taken_out)
    return replace(frame, values=frame.values[keep], origins=frame.origins[keep], rough=rough, taken_out=taken)


def origins_by_time(values: pd.DataFrame, *, now: datetime, past: Origin = Origin.MODELLED) -> pd.DataFrame:
    """Give each present value an origin by its hour: ``past`` before ``now``, forecast from the hour that contains it on.

    ``values``: canonical values, shape (hour, variable). NaN becomes missing. Source of the rule: own; status: assumption
    (a provider that mixes analysis and forecast does not say where one ends).
    """
    stamp = pd.Timestamp(now).tz_convert("UTC").floor("h")
    by_hour = np.where(values.index < stamp, ORIGIN_CODES[past], ORIGIN_CODES[Origin.FORECAST]).astype(np.int8)
    codes = np.where(values.isna().to_numpy(), np.int8(0), by_hour[:, None]).astype(np.int8)
    return pd.DataFrame(codes, index=values.index, columns=values.columns)
