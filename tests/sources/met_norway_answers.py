"""Hand-made answers in the shape of MET Norway's Locationforecast, with invented values.

The shape (GeoJSON, units in meta, instants, periods that begin at the step, hourly then six-hourly steps, last steps without periods, any
field missing) follows the provider's public documentation.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

BASE_URL = "https://weather.example"
URL = "https://weather.example/weatherapi/locationforecast/2.0/complete"
PLACE = SimpleNamespace(latitude=59.91273, longitude=10.74609, elevation_m=23.4)
START = datetime(2026, 9, 1, 6, tzinfo=UTC)
NOW = datetime(2026, 9, 1, 6, 20, tzinfo=UTC)
LAST_MODIFIED = "Tue, 01 Sep 2026 06:11:02 GMT"
EXPIRES = "Tue, 01 Sep 2026 06:43:22 GMT"
HEADERS = {"Last-Modified": LAST_MODIFIED, "Expires": EXPIRES}
HOURLY_STEPS = 48
STEPS = (*range(HOURLY_STEPS), *range(HOURLY_STEPS, 217, 6))

UNITS = {
    "air_pressure_at_sea_level": "hPa",
    "air_temperature": "celsius",
    "air_temperature_max": "celsius",
    "air_temperature_min": "celsius",
    "cloud_area_fraction": "%",
    "dew_point_temperature": "celsius",
    "precipitation_amount": "mm",
    "relative_humidity": "%",
    "wind_from_direction": "degrees",
    "wind_speed": "m/s",
}


def a_step(hour: int, *, one: dict[str, Any] | None = None, six: dict[str, Any] | None = None, **instant: Any) -> dict[str, Any]:
    """One step: ``instant`` replaces instants (None leaves one out); ``one`` and ``six`` are the details of the periods."""
    details = {
        "air_pressure_at_sea_level": 1015.2,
        "air_temperature": 14.0,
        "cloud_area_fraction": 58.0,
        "dew_point_temperature": 9.5,
        "relative_humidity": 74.4,
        "wind_from_direction": 151.8,
        "wind_speed": 2.5,
        **instant,
    }
    data: dict[str, Any] = {"instant": {"details": {name: value for name, value in details.items() if value is not None}}}
    for name, period in (("next_1_hours", one), ("next_6_hours", six)):
        if period is not None:
            data[name] = {"summary": {"symbol_code": "cloudy"}, "details": period}
    return {"time": f"{START + timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ}", "data": data}


def an_answer(steps: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    """A good answer of nine days: hourly for two, then six-hourly; the last step has no period."""
    if steps is None:
        steps = [
            a_step(
                hour,
                one={"precipitation_amount": 0.1} if hour < HOURLY_STEPS else None,
                six={"precipitation_amount": 0.6} if hour < STEPS[-1] else None,
            )
            for hour in STEPS
        ]
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [10.7461, 59.9127, 23]},
        "properties": {"meta": {"updated_at": "2026-09-01T05:44:26Z", "units": dict(UNITS)}, "timeseries": steps},
    }


def a_body(answer: dict[str, Any] | None = None) -> bytes:
    return json.dumps(answer if answer is not None else an_answer()).encode()
