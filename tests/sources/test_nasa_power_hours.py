"""Whole days made into hours: what must come out again when the hours are put together over the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from forecaster.sources.nasa_power import DailySeries, TimeStandard
from forecaster.sources.nasa_power_hours import as_hours
from forecaster.weather import frame
from forecaster.weather.codec import decode, encode
from forecaster.weather.daily import daily_weather
from forecaster.weather.frame import ORIGIN_CODES, Origin
from forecaster.weather.place import Place
from tests.references.fao56 import Example18

UCCLE = Place(50.8, 4.35, 100.0)


def a_series(
    count: int = 5, *, place: Place = UCCLE, start: date = date(2015, 7, 4), time_standard: TimeStandard = "LST", seed: int = 1
) -> DailySeries:  # fmt: skip
    """Invented days, each different from the next."""
    draw = np.random.default_rng(seed)
    low = draw.uniform(5.0, 14.0, count)
    high = low + draw.uniform(4.0, 15.0, count)
    return DailySeries(
        days=tuple(start + timedelta(days=number) for number in range(count)),
        time_standard=time_standard,
        place=place,
        precipitation_mm=draw.uniform(0.0, 20.0, count),
        air_temperature_min_c=low,
        air_temperature_max_c=high,
        air_temperature_mean_c=(low + high) / 2.0,
        dew_point_c=low + np.resize([-2.0, 1.5], count),  # a mean of the day may lie above its lowest temperature
        relative_humidity_mean_percent=np.full(count, 70.0),
        wind_speed_2m_ms=draw.uniform(0.5, 6.0, count),
        shortwave_mj=draw.uniform(5.0, 25.0, count),
    )


@pytest.mark.parametrize("time_standard", ["LST", "UTC"])
@pytest.mark.parametrize("longitude", [-179.9, -122.4, 4.35, 151.2, 179.9])
@pytest.mark.parametrize(("latitude", "month"), [(50.8, 7), (-37.8, 1), (-37.8, 7), (69.6, 12), (69.6, 6)])
def test_sums_and_extremes_of_each_day_come_out_again(time_standard: TimeStandard, longitude: float, latitude: float, month: int) -> None:
    series = a_series(place=Place(latitude, longitude, 20.0), start=date(2015, month, 4), time_standard=time_standard)
    values = as_hours(series).values
    days = {name: values[name].to_numpy().reshape(-1, 24) for name in values.columns}
    assert days[frame.AIR_TEMPERATURE].min(axis=1) == pytest.approx(series.air_temperature_min_c)
    assert days[frame.AIR_TEMPERATURE].max(axis=1) == pytest.approx(series.air_temperature_max_c)
    assert days[frame.PRECIPITATION].sum(axis=1) == pytest.approx(series.precipitation_mm)
    assert (days[frame.PRECIPITATION].std(axis=1) < 1e-12).all()
    assert days[frame.WIND_SPEED].mean(axis=1) == pytest.approx(series.wind_speed_2m_ms)
    dark = latitude > 66 and month == 12  # polar night
    assert days[frame.SHORTWAVE].sum(axis=1) * 0.0036 == pytest.approx(0.0 * series.shortwave_mj if dark else series.shortwave_mj)
    assert (days[frame.DEW_POINT] <= days[frame.AIR_TEMPERATURE]).all()
    assert days[frame.RELATIVE_HUMIDITY].max() <= 100.0
    if time_standard == "LST":
        # Cut at the sun's midnight it does not jump: 20 °C at most, by half a cosine over 3 hours at least, is 10 °C in an hour at most.
        assert np.abs(np.diff(values[frame.AIR_TEMPERATURE])).max() < 10.0


@pytest.mark.parametrize("time_standard", ["LST", "UTC"])
@pytest.mark.parametrize(("longitude", "noon_utc"), [(-122.4, 20), (0.0, 12), (151.2, 2), (179.9, 0)])
def test_it_is_brightest_at_noon_by_the_sun_and_warmest_three_hours_later(
    time_standard: TimeStandard, longitude: float, noon_utc: int
) -> None:
    """Noon by the sun is 12 h less one hour for each 15° east (definition)."""
    series = a_series(1, place=Place(40.0, longitude, 0.0), start=date(2015, 6, 21), time_standard=time_standard)
    values = as_hours(series).values
    brightest, warmest, coldest = (
        values.index[int(np.argmax(values[name] * sign))].hour
        for name, sign in ((frame.SHORTWAVE, 1), (frame.AIR_TEMPERATURE, 1), (frame.AIR_TEMPERATURE, -1))
    )
    assert (brightest - noon_utc + 12) % 24 - 12 in (-1, 0)  # the label is the start of the hour
    assert (warmest - noon_utc) % 24 == 3
    # Sunrise at 40° N on 21 June: 4:31 by the sun's time (15 hours of daylight; FAO-56 table 2.7 prints 15.0; memory).
    assert (coldest - noon_utc) % 24 in (16, 17)


@pytest.mark.parametrize(
    ("longitude", "time_standard", "first"),
    [(-179.9, "LST", "12:00"), (-122.4, "LST", "08:00"), (4.35, "LST", "00:00"), (-122.4, "UTC", "00:00"), (151.2, "LST", "14:00")],
)
def test_days_begin_at_midnight_of_their_own_clock(longitude: float, time_standard: TimeStandard, first: str) -> None:
    weather = as_hours(a_series(place=Place(40.0, longitude, 0.0), time_standard=time_standard))
    assert f"{weather.values.index[0]:%H:%M}" == first
    day = 3 if longitude > 100 else 4  # east of Greenwich the day begins earlier
    assert weather.values.index[0].day == day
    assert any("UTC" in note and "midnight" in note for note in weather.notes)


def test_everything_is_modelled_and_says_what_was_made_of_it() -> None:
    weather = as_hours(replace(a_series(), notes=("a note",)))
    assert set(np.unique(weather.origins.drop(columns=frame.SOIL_TEMPERATURE))) == {ORIGIN_CODES[Origin.MODELLED]}
    assert weather.values[frame.SOIL_TEMPERATURE].isna().all()
    assert (weather.wind_height_m, weather.source.name) == (2.0, "NASA POWER")
    assert any("daily total spread over 24 hours" in note for note in weather.notes)
    assert weather.notes[-1] == "a note"
    assert decode(encode(weather)).values.equals(weather.values)


def test_missing_days_stay_missing_and_the_last_known_one_dates_the_frame() -> None:
    series = a_series(5)
    for values in (series.air_temperature_min_c, series.shortwave_mj, series.precipitation_mm):
        values[2] = np.nan
    for name in ("air_temperature_max_c", "dew_point_c", "relative_humidity_mean_percent", "wind_speed_2m_ms", "shortwave_mj"):
        getattr(series, name)[4] = np.nan
    series.precipitation_mm[4] = np.nan
    weather = as_hours(series)
    days = {name: weather.values[name].to_numpy().reshape(-1, 24) for name in weather.values.columns}
    for name in (frame.AIR_TEMPERATURE, frame.DEW_POINT, frame.RELATIVE_HUMIDITY, frame.SHORTWAVE, frame.PRECIPITATION):
        assert np.isnan(days[name]).all(axis=1).tolist() == [False, False, True, False, True]
        assert not np.isnan(days[name][[0, 1, 3]]).any()
    assert days[frame.AIR_TEMPERATURE][[1, 3]].max(axis=1) == pytest.approx(series.air_temperature_max_c[[1, 3]])
    assert weather.issued_at == datetime(2015, 7, 8, tzinfo=UTC)


def test_without_a_dew_point_it_follows_from_the_mean_humidity() -> None:
    """FAO-56 eq. 19 with the temperatures of example 5 (25 and 18 °C): 70 % of (3.168 + 2.064)/2 kPa; table 2.3: 14.4 °C (memory)."""
    series = replace(
        a_series(1), air_temperature_min_c=np.array([18.0]), air_temperature_max_c=np.array([25.0]), dew_point_c=np.array([np.nan])
    )  # fmt: skip
    # Table 2.3 prints 1.818 kPa at 16.0 and 1.877 kPa at 16.5 °C; 0.7 x 2.616 = 1.831 kPa lies between.
    assert 16.0 < as_hours(series).values[frame.DEW_POINT].max() < 16.5


def test_reference_evapotranspiration_of_a_day_made_into_hours_is_that_of_the_papers_example() -> None:
    """FAO-56 example 18 (Uccle, 6 July): from the day's numbers ET0 is 3.88 mm."""
    example = Example18()
    count = 3
    ratio = np.log(example.vapour_pressure_kpa.value / 0.6108)
    dew = 237.3 * ratio / (17.27 - ratio)  # eq. 11 solved for the temperature
    series = replace(
        a_series(count, start=date(2015, 7, 5)),
        air_temperature_min_c=np.full(count, example.air_temperature_min_c),
        air_temperature_max_c=np.full(count, example.air_temperature_max_c),
        dew_point_c=np.full(count, dew),
        wind_speed_2m_ms=np.full(count, example.wind_speed_2m_ms.value),
        shortwave_mj=np.full(count, example.shortwave_mj.value),
    )
    days = daily_weather(as_hours(series), place=UCCLE, time_zone=ZoneInfo("UTC"))
    assert days.days[1] == date(2015, 7, 6)
    assert days.et0_mm[1] == pytest.approx(example.et0_mm.value, abs=0.02)
    assert days.rain_mm == pytest.approx(series.precipitation_mm)
    assert pd.Timestamp(days.days[0]) == pd.Timestamp("2015-07-05")
