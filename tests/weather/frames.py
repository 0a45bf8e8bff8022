"""Small hourly frames for tests."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pandas as pd

from forecaster.quantities import Origin
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    DEW_POINT,
    ORIGIN_CODES,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    VARIABLES,
    WIND_SPEED,
    HourlyWeather,
    WeatherSource,
)

SOURCE = WeatherSource(name="made up", attribution="made up", licence="none")


def plain_values(first_hour: str, hours: int) -> pd.DataFrame:
    """Hours with everything present: a daily wave of temperature by UTC hour, dull light (60 W/m²) from 6 to 18 UTC,
    possible at any place, 0.1 mm of rain every hour."""
    index = pd.date_range(first_hour, periods=hours, freq="h", tz="UTC")
    hour = index.hour.to_numpy()
    values = pd.DataFrame(index=index, columns=list(VARIABLES), dtype=np.float64)
    values[AIR_TEMPERATURE] = 15.0 + 5.0 * np.cos(2 * np.pi * (hour - 14) / 24)
    values[DEW_POINT] = 9.0
    values[RELATIVE_HUMIDITY] = 70.0
    values[WIND_SPEED] = 3.0
    values[SHORTWAVE] = np.where((hour >= 6) & (hour < 18), 60.0, 0.0)
    values[PRECIPITATION] = 0.1
    values[SOIL_TEMPERATURE] = 14.0
    return values


def frame_of(
    values: pd.DataFrame,
    *,
    wind_height_m: float = 10.0,
    soil_temperature_depth_cm: float | None = 5.0,
    origin: Origin = Origin.OBSERVED,
) -> HourlyWeather:
    """A frame of one origin around values; origins missing exactly where a value is."""
    codes = np.where(values.isna().to_numpy(), 0, ORIGIN_CODES[origin]).astype(np.int8)
    return HourlyWeather(
        values=values,
        origins=pd.DataFrame(codes, index=values.index, columns=values.columns),
        source=SOURCE,
        issued_at=datetime(2024, 1, 1, tzinfo=UTC),
        wind_height_m=wind_height_m,
        soil_temperature_depth_cm=soil_temperature_depth_cm,
    )
