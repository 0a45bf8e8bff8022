"""Small invented documents for the database tests."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from forecaster.documents import AlertDocument, GroundSummary, SoilMarks, SurfaceOutlook, WeatherStatus
from forecaster.quantities import Severity
from forecaster.storage.messages import NewMessage

NOON = datetime(2026, 9, 14, 12, tzinfo=UTC)
DAY = date(2026, 9, 14)


def ground(**changes: Any) -> GroundSummary:
    values: dict[str, Any] = {
        "id": "hollow",
        "name": "Hollow Lane",
        "time_zone": "Europe/Dublin",
        "latitude": 52.5,
        "longitude": -7.5,
        "elevation_m": 60.0,
        "sample": True,
        "surfaces": (),
        "fixtures": (),
    }
    return GroundSummary(**values | changes)


def weather(**changes: Any) -> WeatherStatus:
    values: dict[str, Any] = {
        "state": "fresh",
        "text": "Forecast of 14 September, 1 hour old.",
        "source": "sample",
        "attribution": "Invented weather",
        "licence": "CC0 1.0",
    }
    return WeatherStatus(**values | changes)


def outlook(**changes: Any) -> SurfaceOutlook:
    values: dict[str, Any] = {
        "ground_id": "hollow",
        "ground_name": "Hollow Lane",
        "surface_id": "meadow",
        "surface_name": "Long Meadow",
        "use": "pitch",
        "time_zone": "Europe/Dublin",
        "today": DAY,
        "issued_at_utc": NOON,
        "severity": None,
        "headline": "Nothing to report.",
        "known": True,
        "signals": (),
        "days": (),
        "marks": SoilMarks(
            field_capacity_m3m3=0.23,
            wilting_point_m3m3=0.1,
            critical_water_sound_m3m3=0.16,
            critical_water_band_m3m3=0.16,
            total_available_water_mm=26.0,
            root_depth_m=0.2,
            surface_depth_m=0.05,
        ),
        "rings": (),
        "weather": weather(),
        "simulated_from": date(2026, 6, 1),
        "assumptions": (),
        "notes": (),
    }
    return SurfaceOutlook(**values | changes)


def alert(**changes: Any) -> AlertDocument:
    values: dict[str, Any] = {
        "id": "hollow.meadow.flush.2026-09-14",
        "ground_id": "hollow",
        "surface_id": "meadow",
        "rule_id": "flush",
        "title": "Toadstool flush",
        "status": "expected",
        "severity": Severity.MODERATE,
        "first_day": date(2026, 9, 20),
        "last_day": date(2026, 9, 25),
        "raised_at_utc": NOON,
        "ended_at_utc": None,
        "reason": "44%",
        "advice": "Gloves.",
    }
    return AlertDocument(**values | changes)


def message(**changes: Any) -> NewMessage:
    values: dict[str, Any] = {
        "key": "digest:hollow:2026-09-14:head@ground.example",
        "ground_id": "hollow",
        "recipient": "head@ground.example",
        "kind": "digest",
        "local_day": DAY,
        "subject": "Hollow Lane",
        "text": "Text.\n",
        "html": "<p>Text.</p>\n",
        "created_at": NOON,
        "not_before": NOON,
        "expires_at": datetime(2026, 9, 14, 23, tzinfo=UTC),
    }
    return NewMessage(**values | changes)
