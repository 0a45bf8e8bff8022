"""Days of 23 and 25 hours, zones of half and quarter hours, and the leap day, through a whole cycle."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from forecaster.quantities import Origin
from tests.pipeline.conftest import Service

# Of each zone a day and how many hours it has. Europe changes its clocks on the last Sundays of March and October (Directive 2000/84/EC),
# Newfoundland on the second Sunday of March and the first of November; India and the Chatham Islands lie 5:30 and 12:45 ahead (13:45 in
# summer, until the first Sunday of April): IANA time zone database.
DAYS = [
    ("Europe/London", date(2026, 3, 29), 23),
    ("America/St_Johns", date(2026, 3, 8), 23),
    ("America/St_Johns", date(2026, 11, 1), 25),
    ("Asia/Kolkata", date(2026, 6, 10), 24),
    ("Pacific/Chatham", date(2026, 4, 5), 25),
    ("Europe/London", date(2028, 2, 29), 24),
]


def invented(around: date) -> pd.DataFrame:
    """A tenth of a millimetre of rain in every hour, and mild air that no check takes for a sensor that is stuck."""
    index = pd.date_range(pd.Timestamp(around, tz="UTC") - timedelta(days=40), periods=24 * 70, freq="h")
    wave = np.sin(np.arange(len(index)) * 0.7)
    values = {
        "air_temperature_c": 10.0 + wave,
        "dew_point_c": 6.0 + wave,
        "relative_humidity_percent": 76.0 + wave,
        "wind_speed_ms": 2.0 + 0.5 * wave,
        "shortwave_wm2": np.nan,
        "precipitation_mm": 0.1,
    }
    return pd.DataFrame(values, index=index).round(2)


@pytest.fixture
def database_kind() -> str:
    """Days do not depend on the database."""
    return "sqlite"


@pytest.mark.parametrize(("zone", "day", "hours"), DAYS, ids=[f"{zone} {day}" for zone, day, _ in DAYS])
def test_the_day_has_the_rain_of_its_own_hours_and_no_day_is_missing_or_twice(service: Service, zone: str, day: date, hours: int) -> None:
    ground = replace(service.ground, time_zone=ZoneInfo(zone))
    service.configuration = replace(service.configuration, grounds=(ground,))
    service.weather = invented(day)
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=ground.time_zone)
    for shift in (-1, 0, 1):
        service.now = (noon + timedelta(days=shift)).astimezone(UTC).replace(minute=0)
        service.write_weather(days_back=30)
        assert service.cycle().status == "ok"
        outlook = service.outlooks()["main-pitch"]
        assert outlook.today == day + timedelta(days=shift)
        days = [one.day for one in outlook.days]
        assert days == [days[0] + timedelta(days=number) for number in range(len(days))], "every day once, in order"
        by_day = {one.day: one for one in outlook.days}
        assert by_day[day].rain_mm == pytest.approx(0.1 * hours)
        assert by_day[day + timedelta(days=2)].rain_mm == pytest.approx(2.4)
        assert all(by_day[day + timedelta(days=near)].origin is not Origin.MISSING for near in range(-5, 6))
    assert len({mail["Message-ID"] for mail in service.mails()}) == len(service.mails()) > 0
