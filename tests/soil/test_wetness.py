"""Wetness by the hour from the frame, the place and the watering plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from forecaster.ground.surface import Irrigation, Surface
from forecaster.physics.leaf_wetness import Cause
from forecaster.soil.wetness import HourlyWetness, hourly_wetness
from forecaster.weather.daily import SHORTWAVE_FILLED, WIND_ASSUMED, Place
from forecaster.weather.frame import DEW_POINT, PRECIPITATION, RELATIVE_HUMIDITY, SHORTWAVE, WIND_SPEED, HourlyWeather
from tests.risk.builders import surface
from tests.weather.frames import frame_of, plain_values

NOW = datetime(2024, 6, 10, 6, 30, tzinfo=UTC)
PLACE = Place(52.0, 8.0, 40.0)
ZONE = ZoneInfo("Europe/Berlin")
EVERY_DAY = Irrigation(amount_mm=5.0, every_days=1, first_month=1, last_month=12)


def dry_frame(*, days: int = 20) -> HourlyWeather:
    """From five days before NOW on: dry air, wind, no rain."""
    values = plain_values("2024-06-05", 24 * days)
    values[PRECIPITATION], values[DEW_POINT], values[RELATIVE_HUMIDITY] = 0.0, 0.0, 45.0
    return replace(frame_of(values), issued_at=NOW)


def wetness(frame: HourlyWeather | None, *surfaces: Surface) -> HourlyWetness:
    return hourly_wetness(frame, surfaces or (surface(),), place=PLACE, time_zone=ZONE, now=NOW)


def changed(frame: HourlyWeather, name: str, hours: slice | None, value: float) -> HourlyWeather:
    values = frame.values.copy()
    if hours is None:
        values[name] = value
    else:
        values.loc[hours, name] = value
    return replace(frame_of(values), issued_at=frame.issued_at)


def test_it_covers_a_day_back_and_fourteen_ahead() -> None:
    found = wetness(dry_frame())
    assert found.hours[0] == pd.Timestamp("2024-06-09T06:00Z")
    assert found.hours[-1] == pd.Timestamp("2024-06-24T05:00Z")
    assert found.film.wet.shape == (15 * 24, 1)
    assert not found.film.wet.any()
    assert found.estimated == ()


def test_impossible_values_of_the_frame_make_no_wet_leaf() -> None:
    hour = pd.Timestamp(NOW) + pd.Timedelta(hours=12)
    broken = changed(dry_frame(), PRECIPITATION, slice(hour.floor("h"), hour.floor("h")), 9999.0)  # mm in one hour
    found = wetness(broken)
    assert not found.film.wet.any()
    assert not found.film.known[found.hours == hour.floor("h"), 0].any()


def test_planned_water_comes_at_five_in_the_morning_local_time() -> None:
    found = wetness(dry_frame(), surface(), surface(name="green", irrigation=EVERY_DAY))
    watered = found.hours[found.added_water[:, 1]]
    assert set(watered.tz_convert(ZONE).hour) == {5}
    assert len(watered) == 15
    assert not found.film.wet[:, 0].any()
    assert (found.film.cause[found.added_water[:, 1], 1] == Cause.IRRIGATION).all()
    assert found.surface_wet[found.added_water[:, 1], 1].all()


def test_water_comes_once_on_days_of_23_and_25_hours() -> None:
    for day in (datetime(2024, 3, 31, 12, tzinfo=UTC), datetime(2024, 10, 27, 12, tzinfo=UTC)):  # EU clock changes
        frame = frame_of(plain_values((day - timedelta(days=4)).strftime("%Y-%m-%d"), 24 * 8))
        found = hourly_wetness(frame, (surface(irrigation=EVERY_DAY),), place=PLACE, time_zone=ZONE, now=day)
        rainless = hourly_wetness(
            changed(frame, PRECIPITATION, None, 0.0), (surface(irrigation=EVERY_DAY),), place=PLACE, time_zone=ZONE, now=day
        )
        local = rainless.hours[rainless.added_water[:, 0]].tz_convert(ZONE)
        assert [stamp.date() for stamp in local].count(day.date()) == 1
        assert found.added_water[: 24 * 4].all()  # 0.1 mm of rain in every hour of the frame


def test_hours_after_three_days_of_forecast_are_not_exact() -> None:
    found = wetness(dry_frame())
    assert found.exact.tolist() == [hour < pd.Timestamp(NOW) + pd.Timedelta(hours=72) for hour in found.hours]
    older = wetness(replace(dry_frame(), issued_at=NOW - timedelta(days=2)))
    assert found.exact.sum() - older.exact.sum() == 48


def test_hours_without_weather_are_there_and_not_known() -> None:
    found = wetness(dry_frame(days=7))  # ends on 12 June, 00:00 UTC
    assert found.film.known[:, 0].tolist() == [hour < pd.Timestamp("2024-06-12T00:00Z") for hour in found.hours]
    nothing = wetness(None)
    assert not nothing.film.known.any()
    assert not nothing.exact.any()


def test_wind_sun_and_dew_point_can_be_done_without_and_it_is_said() -> None:
    frame = dry_frame()
    calm = wetness(changed(frame, WIND_SPEED, None, np.nan))
    assert calm.estimated == (WIND_ASSUMED,)
    assert calm.film.known.all()
    dark = wetness(changed(frame, SHORTWAVE, slice("2024-06-10T10:00Z", "2024-06-10T11:00Z"), np.nan))
    assert dark.estimated == (SHORTWAVE_FILLED,)
    assert dark.film.known.all()
    humid = wetness(changed(frame, DEW_POINT, None, np.nan))
    assert humid.film.known.all()
    neither = wetness(changed(changed(frame, DEW_POINT, None, np.nan), RELATIVE_HUMIDITY, None, np.nan))
    assert not neither.film.known.any()


def test_three_days_of_weather_make_the_film_forget_how_it_began() -> None:
    # Rain that ended four days before the first hour shown leaves no trace in it: the assumed dry start does not matter.
    frame = dry_frame()
    rained = changed(frame, PRECIPITATION, slice("2024-06-05T00:00Z", "2024-06-07T00:00Z"), 2.0)
    assert np.array_equal(wetness(rained).film.water_mm, wetness(frame).film.water_mm)


def test_the_frame_is_left_as_it_was() -> None:
    frame = dry_frame(days=7)
    before = frame.values.copy()
    wetness(frame)
    pd.testing.assert_frame_equal(frame.values, before)
