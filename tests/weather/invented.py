"""Small hourly frames with invented values for the tests of this folder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from forecaster.quantities import Origin
from forecaster.weather.frame import ORIGIN_CODES, VARIABLES, HourlyWeather, WeatherSource

SOURCE = WeatherSource(name="Test station", attribution="Invented for a test", licence="none", link="https://example.org/")


def hourly(
    start: str,
    columns: Mapping[str, Sequence[float]],
    *,
    issued_at: datetime = datetime(2026, 9, 1, tzinfo=UTC),
    origin: Origin = Origin.MODELLED,
    source: WeatherSource = SOURCE,
    wind_height_m: float = 10.0,
    soil_temperature_depth_cm: float | None = 6.0,
    notes: tuple[str, ...] = (),
) -> HourlyWeather:
    """A frame from ``start`` on with the given columns; the others are missing."""
    hours = len(next(iter(columns.values())))
    index = pd.date_range(pd.Timestamp(start, tz="UTC"), periods=hours, freq="h")
    values = pd.DataFrame({name: np.asarray(columns.get(name, [np.nan] * hours), dtype=float) for name in VARIABLES}, index=index)
    codes = pd.DataFrame(np.where(values.isna(), 0, ORIGIN_CODES[origin]).astype(np.int8), index=index, columns=list(VARIABLES))
    return HourlyWeather(values, codes, source, issued_at, wind_height_m, soil_temperature_depth_cm, notes)
