"""Hand-made answers in the shape of the Open-Meteo forecast service, with invented values.

The shape (keys, units block, unix times, grid cell in place of the asked place, nulls) follows the provider's public documentation.
"""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

URL = "https://weather.example/v1/forecast"
BASE_URL = "https://weather.example"
PLACE = SimpleNamespace(latitude=52.52, longitude=13.41, elevation_m=44.0)
NOW = datetime(2026, 9, 2, 6, 20, tzinfo=UTC)
START = datetime(2026, 9, 1, tzinfo=UTC)
HOURS = 72

UNITS = {
    "time": "unixtime",
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "relative_humidity_2m": "%",
    "wind_speed_10m": "m/s",
    "shortwave_radiation": "W/m²",
    "precipitation": "mm",
    "soil_temperature_6cm": "°C",
}


def an_answer(hours: int = HOURS, **columns: list[Any]) -> dict[str, Any]:
    """A good answer; ``columns`` replace the values of single variables."""
    start = int(START.timestamp())
    hourly: dict[str, list[Any]] = {
        "time": [start + 3600 * hour for hour in range(hours)],
        "temperature_2m": [14.0 + hour % 24 / 10 for hour in range(hours)],
        "dew_point_2m": [10.1] * hours,
        "relative_humidity_2m": [77] * hours,
        "wind_speed_10m": [3.2] * hours,
        "shortwave_radiation": [0.0 if hour % 24 < 7 or hour % 24 > 18 else 350.0 for hour in range(hours)],
        "precipitation": [0.0] * hours,
        "soil_temperature_6cm": [15.5] * hours,
    }
    return {
        "latitude": 52.52,
        "longitude": 13.419998,
        "generationtime_ms": 0.5,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 38.0,
        "hourly_units": dict(UNITS),
        "hourly": {**hourly, **columns},
    }
