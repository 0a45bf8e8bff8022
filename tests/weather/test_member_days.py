"""Days of members follow the rules of the days of a single forecast, hour for hour."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from forecaster.settings.shipped import shipped_folder
from forecaster.sources.sample import Sample, load_sample
from forecaster.weather import frame
from forecaster.weather.daily import DailyWeather, Place, daily_weather
from forecaster.weather.frame import HourlyWeather
from forecaster.weather.member_days import NEEDED, MemberDays, member_days
from forecaster.weather.members import MemberWeather

LONDON = ZoneInfo("Europe/London")
SAME = (
    "rain_mm",
    "air_temperature_mean_c",
    "air_temperature_min_c",
    "air_temperature_max_c",
    "vapour_pressure_kpa",
    "relative_humidity_min_percent",
    "wind_speed_2m_ms",
    "shortwave_mj",
    "et0_mm",
)


@pytest.fixture(scope="module")
def sample() -> Sample:
    return load_sample(shipped_folder("sample_weather"))


def place_of(sample: Sample) -> Place:
    return Place(sample.place.latitude, sample.place.longitude, sample.place.elevation_m)


def members_of(weather: HourlyWeather, *, since: datetime, count: int = 1, wetter: float = 0.0) -> MemberWeather:
    """Members that tell what a frame tells, each with ``wetter`` mm an hour more than the one before."""
    rows = weather.values[pd.Timestamp(since) :]
    values = {name: np.stack([rows[name].to_numpy(dtype=np.float32)] * count) for name in NEEDED}
    values[frame.PRECIPITATION] += np.float32(wetter) * np.arange(count, dtype=np.float32)[:, None]
    return MemberWeather(
        values=values,
        hours=pd.DatetimeIndex(rows.index),
        step_hours=np.ones(len(rows), dtype=np.int8),
        source=weather.source,
        issued_at=weather.issued_at,
        model="invented",
        wind_height_m=weather.wind_height_m,
    )


def made(sample: Sample, members: MemberWeather, *, known: HourlyWeather | None = None, now: datetime | None = None) -> MemberDays:
    now = now or sample.now
    midnight = datetime.combine(now.astimezone(LONDON).date(), time.min, tzinfo=LONDON)
    heat = daily(sample).soil_heat[daily(sample).days.index(midnight.date()) - 1]
    return member_days(members, known, place=place_of(sample), time_zone=LONDON, since=midnight, now=now, previous_heat=heat)


_DAILY: dict[int, DailyWeather] = {}


def daily(sample: Sample) -> DailyWeather:
    return _DAILY.setdefault(id(sample), daily_weather(sample.weather, place=place_of(sample), time_zone=LONDON))


def test_a_member_that_tells_the_forecast_has_the_forecasts_days(sample: Sample) -> None:
    """Float32 hours against float64 ones: equal to 5 digits. Soil temperature too, as the sample has none of its own."""
    found = made(sample, members_of(sample.weather, since=sample.now, count=3), known=sample.weather).daily
    first = daily(sample).days.index(found.days[0])
    assert len(found.days) == 15
    for name in (*SAME, "soil_temperature_c"):
        for member in range(3):
            expected = getattr(daily(sample), name)[first:]
            np.testing.assert_allclose(getattr(found, name)[:, member], expected, rtol=2e-5, atol=2e-5, err_msg=name)
    assert found.complete.all()


def test_hours_before_now_are_the_known_ones_whatever_a_member_told(sample: Sample) -> None:
    now = datetime(2026, 9, 12, 17, tzinfo=UTC)
    wet = members_of(sample.weather, since=sample.now, count=2, wetter=1.0)
    found = made(sample, wet, known=sample.weather, now=now)
    assert found.daily.rain_mm[0] == pytest.approx([0.0, 6.0], abs=1e-6)  # 17:00 to 23:00 UTC is left of the local day
    assert found.daily.rain_mm[1] == pytest.approx([0.0, 24.0], abs=1e-6)


def test_known_wind_is_moved_to_the_height_of_the_members(sample: Sample) -> None:
    """FAO-56 eq. 47: 2 m/s at 2 m are 2 / 0.748 at 10 m."""
    low = replace(sample.weather, wind_height_m=2.0)
    now = datetime(2026, 9, 12, 22, tzinfo=UTC)
    found = made(sample, members_of(sample.weather, since=now), known=low, now=now)
    hours = sample.weather.values[frame.WIND_SPEED][pd.Timestamp("2026-09-11 23:00", tz="UTC") : pd.Timestamp("2026-09-12 22:00", tz="UTC")]
    expected = (hours[:-1].sum() + hours.iloc[-1] * 0.748) / 24
    assert found.daily.wind_speed_2m_ms[0, 0] == pytest.approx(expected, rel=2e-3)


def test_a_day_that_a_member_lacks_is_not_known_for_it_alone(sample: Sample) -> None:
    members = members_of(sample.weather, since=sample.now, count=2)
    members.values[frame.PRECIPITATION][1, 48:60] = np.nan
    found = made(sample, members, known=sample.weather).daily
    assert found.complete[:, 0].all()
    assert list(np.flatnonzero(~found.complete[:, 1])) == [2]


def test_without_known_hours_today_rests_on_the_members(sample: Sample) -> None:
    since = datetime(2026, 9, 11, 23, tzinfo=UTC)
    found = made(sample, members_of(sample.weather, since=since), known=None).daily
    assert found.complete.all()
    gone = made(sample, members_of(sample.weather, since=sample.now), known=None).daily
    assert not gone.complete[0].any(), "six hours of today are told by nobody"
