"""Local days, missing-data procedures and ET0 of the hourly frame."""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import refet

from forecaster.physics import evapotranspiration, humidity, radiation
from forecaster.physics.soil_heat import SoilHeat
from forecaster.quantities import Origin
from forecaster.weather import daily
from forecaster.weather.daily import DailyWeather, Place, daily_weather
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    DEW_POINT,
    ORIGIN_CODES,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    WIND_SPEED,
    HourlyWeather,
    origins_by_time,
)
from forecaster.weather.quality import DAY_RANGES, HOURLY_RANGES
from tests.references.fao56 import Example20
from tests.weather.frames import SOURCE, frame_of, plain_values

LONDON = ZoneInfo("Europe/London")
SOMEWHERE = Place(latitude=51.5, longitude=0.0, elevation_m=20.0)


def london_days(values: pd.DataFrame, **how: object) -> DailyWeather:
    return daily_weather(frame_of(values, **how), place=SOMEWHERE, time_zone=LONDON)  # type: ignore[arg-type]


def winter_days(count: int) -> pd.DataFrame:
    """Whole days from 10 January 2024, where London keeps UTC."""
    return plain_values("2024-01-10", 24 * count)


# ------------------------------------------------------------------------------------------------ local days


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/London", date(2024, 3, 31), 23),
        ("Europe/London", date(2024, 10, 27), 25),
        ("Australia/Sydney", date(2024, 4, 7), 25),
        ("Australia/Sydney", date(2024, 10, 6), 23),
        ("Europe/London", date(2024, 7, 1), 24),
        ("Asia/Kathmandu", date(2024, 7, 1), 24),
    ],
)
def test_a_day_has_the_hours_of_its_clock(zone: str, day: date, hours: int) -> None:
    """Clock changes of 2024 (tz database): 0.1 mm in every hour add up to the number of hours in the day."""
    around = plain_values((day - timedelta(days=3)).isoformat(), 7 * 24)
    result = daily_weather(frame_of(around), place=SOMEWHERE, time_zone=ZoneInfo(zone))
    at = result.days.index(day)
    assert result.rain_mm[at] == pytest.approx(0.1 * hours)
    assert result.complete[at]
    assert daily.RAIN_GAPS not in result.estimated[at]


@pytest.mark.parametrize(
    "zone", ["Europe/London", "Australia/Sydney", "Asia/Kathmandu", "America/St_Johns", "Australia/Lord_Howe", "America/Havana", "UTC"]
)
@pytest.mark.parametrize("start", ["2024-03-08 05:00", "2024-10-01 18:00"])
def test_hours_fall_into_days_as_a_clock_on_the_wall_would_say(zone: str, start: str) -> None:
    """Against the standard library, hour by hour: an hour belongs to the date on the wall at its start; only whole days are kept.

    Zones with changes at midnight (Havana), of half an hour (Lord Howe) and with offsets of 30 and 45 minutes.
    """
    place_zone = ZoneInfo(zone)
    values = plain_values(start, 24 * 40 + 7)
    values[PRECIPITATION] = np.random.default_rng(3).uniform(0, 3, len(values))
    expected: dict[date, float] = defaultdict(float)
    inside: Counter[date] = Counter()
    for stamp, rain in values[PRECIPITATION].items():
        wall = datetime.fromtimestamp(stamp.timestamp(), tz=UTC).astimezone(place_zone).date()
        expected[wall] += rain
        inside[wall] += 1
    whole: Counter[date] = Counter()
    for step in range(-48, len(values) + 48):
        whole[(datetime.fromisoformat(start + "+00:00") + timedelta(hours=step)).astimezone(place_zone).date()] += 1
    kept = [day for day in inside if inside[day] == whole[day]]

    result = daily_weather(frame_of(values), place=SOMEWHERE, time_zone=place_zone)
    assert list(result.days) == kept
    assert result.rain_mm == pytest.approx([expected[day] for day in kept])
    assert 38 <= len(kept) <= 40


def test_a_quarter_hour_zone_takes_the_hour_that_starts_before_midnight() -> None:
    """Kathmandu is UTC+5:45: the hour from 18:00 UTC starts at 23:45 on the wall and belongs to the old day."""
    values = plain_values("2024-07-01", 72)
    values[PRECIPITATION] = 0.0
    values.loc["2024-07-02 18:00+00:00", PRECIPITATION] = 5.0
    values.loc["2024-07-02 19:00+00:00", PRECIPITATION] = 7.0
    result = daily_weather(frame_of(values), place=SOMEWHERE, time_zone=ZoneInfo("Asia/Kathmandu"))
    assert dict(zip(result.days, result.rain_mm, strict=True)) == {date(2024, 7, 2): 5.0, date(2024, 7, 3): 7.0}


@pytest.mark.parametrize("hours", [0, 1, 20, 30])
def test_a_frame_without_a_whole_day_gives_no_days(hours: int) -> None:
    """30 hours from the middle of a day cover no day wholly."""
    result = london_days(plain_values("2024-01-10 12:00", hours))
    assert result.days == ()
    assert result.et0_mm.shape == (0,)
    assert result.estimated == ()


# ------------------------------------------------------------------------------------------------ values of a whole day


def test_a_complete_day_is_the_plain_sum_mean_and_extreme_of_its_hours() -> None:
    """Arithmetic: 12 h of 60 W/m² are 12 × 60 × 0.0036 MJ; wind to 2 m by FAO-56 eq. 47; nothing estimated."""
    result = london_days(winter_days(2))
    assert result.days == (date(2024, 1, 10), date(2024, 1, 11))
    assert result.rain_mm == pytest.approx([2.4, 2.4])
    assert result.air_temperature_mean_c == pytest.approx([15.0, 15.0])
    assert result.air_temperature_max_c == pytest.approx([20.0, 20.0])
    assert result.air_temperature_min_c == pytest.approx([10.0, 10.0])
    assert result.shortwave_mj == pytest.approx([2.592, 2.592])
    assert result.vapour_pressure_kpa == pytest.approx(2 * [float(humidity.saturation_vapour_pressure(9.0))])
    assert result.relative_humidity_min_percent == pytest.approx([70.0, 70.0])
    assert result.wind_speed_2m_ms == pytest.approx(2 * [3.0 * 4.87 / np.log(67.8 * 10 - 5.42)])
    assert result.soil_temperature_c == pytest.approx([14.0, 14.0])
    assert result.complete.all()
    assert result.estimated == ((), ())


def test_et0_from_hours_agrees_with_refet_on_the_same_days() -> None:
    """Library refet 0.5, method 'asce', fed with days that pandas made of the same hours; tolerance as in test_evapotranspiration."""
    values = plain_values("2024-04-01", 24 * 120)
    rng = np.random.default_rng(11)
    values[AIR_TEMPERATURE] += rng.normal(0, 3, len(values)).cumsum() * 0.05
    values[DEW_POINT] = values[AIR_TEMPERATURE] - rng.uniform(1, 10, len(values))
    values[WIND_SPEED] = rng.uniform(1, 7, len(values))
    values[SHORTWAVE] *= rng.uniform(0.1, 1.6, len(values))
    place = Place(latitude=-37.8, longitude=145.0, elevation_m=31.0)
    zone = ZoneInfo("Australia/Melbourne")
    result = daily_weather(frame_of(values, wind_height_m=10.0), place=place, time_zone=zone)

    by_day = values.assign(vapour=humidity.saturation_vapour_pressure(values[DEW_POINT])).groupby(values.index.tz_convert(zone).date)
    expected = [
        refet.Daily(
            tmin=day[AIR_TEMPERATURE].min(),
            tmax=day[AIR_TEMPERATURE].max(),
            ea=day["vapour"].mean(),
            rs=day[SHORTWAVE].sum() * 0.0036,
            uz=day[WIND_SPEED].mean(),
            zw=10.0,
            elev=place.elevation_m,
            lat=place.latitude,
            doy=name.timetuple().tm_yday,
            method="asce",
        ).eto()[0]
        for name, day in by_day
        if name in result.days
    ]
    assert len(expected) == len(result.days) == 119
    assert result.et0_mm == pytest.approx(expected, abs=0.002)


def test_et0_is_never_below_zero() -> None:
    """Own choice: on a cold, dark, damp day eq. 6 turns negative; dew is not counted as water for turf."""
    values = winter_days(1)
    values[AIR_TEMPERATURE] = values[DEW_POINT] = -10.0
    values[SHORTWAVE] = 4.0
    result = london_days(values)
    unclipped = evapotranspiration.reference_evapotranspiration(
        evapotranspiration.WeatherDay(
            air_temperature_max_c=-10.0,
            air_temperature_min_c=-10.0,
            vapour_pressure_kpa=result.vapour_pressure_kpa,
            wind_speed_2m_ms=result.wind_speed_2m_ms,
            shortwave_mj=result.shortwave_mj,
            day_of_year=10,
            latitude_deg=SOMEWHERE.latitude,
            elevation_m=SOMEWHERE.elevation_m,
        )
    )
    assert unclipped[0] < 0.0
    assert result.et0_mm.tolist() == [0.0]


def test_polar_night_has_a_number_too() -> None:
    """70°N in January: Ra and Rso are 0 and no ratio exists; the day is complete all the same."""
    values = winter_days(1)
    values[SHORTWAVE] = 0.0
    result = daily_weather(frame_of(values), place=Place(70.0, 25.0, 10.0), time_zone=ZoneInfo("UTC"))
    assert result.complete.all()
    assert result.shortwave_mj.tolist() == [0.0]
    assert result.estimated == ((),)


# ------------------------------------------------------------------------------------------------ missing data


def test_two_hours_without_rain_data_are_taken_as_dry_and_named_three_are_not() -> None:
    """The program's own rule (assumption): at most 2 hours."""
    values = winter_days(2)
    values.iloc[5:7, values.columns.get_loc(PRECIPITATION)] = np.nan
    values.iloc[30:33, values.columns.get_loc(PRECIPITATION)] = np.nan
    result = london_days(values)
    assert result.rain_mm[0] == pytest.approx(2.2)
    assert np.isnan(result.rain_mm[1])
    assert result.complete.tolist() == [True, False]
    assert result.estimated == ((daily.RAIN_GAPS,), ())
    assert np.isfinite(result.et0_mm).all()


def test_four_hours_without_temperature_are_borne_and_named_five_are_not() -> None:
    """The program's own rule (assumption): at most 4 hours; a day without temperature has no ET0 and is not complete."""
    values = winter_days(2)
    values.iloc[0:4, values.columns.get_loc(AIR_TEMPERATURE)] = np.nan
    values.iloc[24:29, values.columns.get_loc(AIR_TEMPERATURE)] = np.nan
    result = london_days(values)
    assert result.complete.tolist() == [True, False]
    assert result.air_temperature_max_c[0] == pytest.approx(20.0)
    assert np.isnan([result.air_temperature_min_c[1], result.air_temperature_mean_c[1], result.et0_mm[1]]).all()
    assert result.rain_mm[1] == pytest.approx(2.4)
    assert daily.TEMPERATURE_GAPS in result.estimated[0]
    assert daily.TEMPERATURE_GAPS not in result.estimated[1]


def test_example_20_temperature_alone_gives_the_et0_of_lyon() -> None:
    """FAO-56 Example 20 through the hourly frame: 15 July, 26.6/14.8 °C, nothing else: ET0 4.56, Rs 22.29, ea 1.68; all of it named."""
    e = Example20
    values = plain_values("2023-07-14 22:00", 24)
    middle, swing = (e.air_temperature_max_c + e.air_temperature_min_c) / 2, (e.air_temperature_max_c - e.air_temperature_min_c) / 2
    values[AIR_TEMPERATURE] = middle + swing * np.cos(2 * np.pi * (values.index.hour - 14) / 24)
    values[[DEW_POINT, RELATIVE_HUMIDITY, WIND_SPEED, SHORTWAVE, SOIL_TEMPERATURE]] = np.nan
    place = Place(latitude=e.latitude_deg, longitude=4.85, elevation_m=e.elevation_m)
    result = daily_weather(frame_of(values), place=place, time_zone=ZoneInfo("Europe/Paris"))
    assert result.days == (date(2023, 7, 15),)
    assert result.vapour_pressure_kpa[0] == e.vapour_pressure_kpa.approx
    assert result.shortwave_mj[0] == e.shortwave_mj.approx
    assert result.wind_speed_2m_ms[0] == e.wind_speed_2m_ms
    assert result.et0_mm[0] == e.et0_mm.approx
    assert result.estimated == (
        (daily.HUMIDITY_ESTIMATED, daily.SHORTWAVE_ESTIMATED, daily.WIND_ASSUMED, daily.SOIL_TEMPERATURE_SIMULATED),
    )
    assert result.relative_humidity_min_percent[0] == pytest.approx(
        100 * 1.6835 / float(humidity.saturation_vapour_pressure(e.air_temperature_max_c)), abs=0.05
    )
    assert result.complete.all()


def test_radiation_from_the_range_never_passes_a_clear_sky() -> None:
    """Eq. 50 with a range of 30 °C gives more than eq. 37 allows; the smaller one stands (own choice)."""
    values = winter_days(1)
    values[AIR_TEMPERATURE] = 15.0 + 15.0 * np.cos(2 * np.pi * (values.index.hour - 14) / 24)
    values[SHORTWAVE] = np.nan
    rso = radiation.clear_sky_radiation(radiation.extraterrestrial_radiation(SOMEWHERE.latitude, 10), SOMEWHERE.elevation_m)
    assert london_days(values).shortwave_mj[0] == pytest.approx(float(rso))


def test_relative_humidity_stands_in_for_a_missing_dew_point_hour_by_hour() -> None:
    """FAO-56 eq. 54 (memory: ea of an hour is e°(T) RH/100): constant 70 % over the wave of temperature; nothing has to be estimated."""
    values = winter_days(1)
    values[DEW_POINT] = np.nan
    result = london_days(values)
    expected = 0.7 * np.mean(humidity.saturation_vapour_pressure(values[AIR_TEMPERATURE].to_numpy()))
    assert result.vapour_pressure_kpa[0] == pytest.approx(expected)
    assert result.estimated == ((),)


def test_lowest_humidity_comes_from_the_dew_point_where_no_humidity_is_given() -> None:
    """RH = 100 ea/e°(T) (FAO-56 eq. 10, memory), lowest at the warmest hour."""
    values = winter_days(1)
    values[RELATIVE_HUMIDITY] = np.nan
    expected = 100 * float(humidity.saturation_vapour_pressure(9.0) / humidity.saturation_vapour_pressure(20.0))
    assert london_days(values).relative_humidity_min_percent[0] == pytest.approx(expected)


def test_missing_radiation_at_night_changes_nothing() -> None:
    """The sun is down at 51.5°N from 18 to 6 UTC on 10 January (astronomy): such hours may be missing and nothing is estimated."""
    values = winter_days(1)
    at_night = (values.index.hour < 6) | (values.index.hour >= 18)
    values.loc[at_night, SHORTWAVE] = np.nan
    result = london_days(values)
    assert result.shortwave_mj[0] == pytest.approx(2.592)
    assert result.estimated == ((),)


def test_missing_radiation_by_day_is_filled_in_proportion_to_the_sun_or_estimated() -> None:
    """Where radiation follows the potential one, a missing noon hour comes back exactly; with most of the day gone, eq. 50 is used."""
    values = plain_values("2024-06-10 23:00", 48)  # two days on the wall of British Summer Time
    hour = values.index.hour.to_numpy() + 0.5
    angle = radiation.solar_time_angle(hour, SOMEWHERE.longitude, 0.0, values.index.day_of_year.to_numpy())
    potential = radiation.extraterrestrial_radiation_hourly(SOMEWHERE.latitude, values.index.day_of_year.to_numpy(), angle)
    values[SHORTWAVE] = 0.5 * potential / 0.0036
    whole = london_days(values)
    values.loc["2024-06-11 12:00+00:00", SHORTWAVE] = np.nan
    values.loc["2024-06-12 08:00+00:00":"2024-06-12 13:00+00:00", SHORTWAVE] = np.nan
    result = london_days(values)
    assert result.shortwave_mj[0] == pytest.approx(whole.shortwave_mj[0], rel=1e-6)
    assert result.estimated == ((daily.SHORTWAVE_FILLED,), (daily.SHORTWAVE_ESTIMATED,))
    ra = radiation.extraterrestrial_radiation(SOMEWHERE.latitude, 164)
    assert result.shortwave_mj[1] == pytest.approx(float(radiation.shortwave_from_temperature_range(20.0, 10.0, ra)))


def test_wind_of_half_a_day_counts_and_less_becomes_two_metres_per_second() -> None:
    """FAO-56 chapter 3: 2 m/s where wind is missing; 12 hours at least are the program's own rule (assumption)."""
    values = winter_days(2)
    values.iloc[0:12, values.columns.get_loc(WIND_SPEED)] = np.nan
    values.iloc[24:37, values.columns.get_loc(WIND_SPEED)] = np.nan
    result = london_days(values, wind_height_m=2.0)
    assert result.wind_speed_2m_ms == pytest.approx([3.0, 2.0], rel=1e-3)
    assert result.estimated == ((), (daily.WIND_ASSUMED,))


def test_a_day_with_nothing_at_all_is_missing_and_claims_no_estimate() -> None:
    """Missing weather is a state; the days around it stand."""
    values = winter_days(3)
    values.iloc[24:48] = np.nan
    result = london_days(values)
    assert result.complete.tolist() == [True, False, True]
    for field in fields(DailyWeather):
        series = getattr(result, field.name)
        if isinstance(series, np.ndarray) and series.dtype == np.float64:
            assert np.isnan(series).tolist() == [False, True, False], field.name
    assert result.estimated == ((), (), ())
    assert result.origin_code.tolist() == [ORIGIN_CODES[Origin.OBSERVED], 0, ORIGIN_CODES[Origin.OBSERVED]]


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        ({PRECIPITATION: 300.0}, "rain of the day not within 0 to 2000 mm"),
        ({AIR_TEMPERATURE: 55.0, DEW_POINT: -60.0, WIND_SPEED: 60.0}, "evapotranspiration not within 0 to 25 mm"),
    ],
)
def test_hours_that_make_an_impossible_day_hold_it_instead_of_failing_the_ground(hours: dict[str, float], words: str) -> None:
    """Every hour is within the limits of stations, the day is not: the simulation would refuse it, and the whole ground with it."""
    values = winter_days(3)
    for name, value in hours.items():
        values.iloc[24:48, values.columns.get_loc(name)] = value
    result = london_days(values)
    assert result.complete.tolist() == [True, False, True]
    assert any(words in note for note in result.estimated[1])
    assert not any(words in note for note in result.estimated[0] + result.estimated[2])


@pytest.mark.parametrize("seed", range(12))
def test_every_complete_day_is_one_that_the_simulation_takes(seed: int) -> None:
    """Weather at random corners of what an hour may be, with holes: what comes out complete lies within what the forcing accepts."""
    rng = np.random.default_rng(seed)
    values = plain_values(f"2024-{seed + 1:02d}-01", 15 * 24)
    for name, allowed in HOURLY_RANGES.items():
        corner = rng.choice([allowed.lowest, allowed.highest, np.nan])
        where = rng.uniform(size=len(values)) < rng.choice([0.0, 0.3, 1.0])
        values.loc[where, name] = corner
    place = Place(float(rng.choice([-90, -70, 0, 52, 70, 90])), 0.0, 0.0)
    days = daily_weather(frame_of(values, wind_height_m=0.5), place=place, time_zone=LONDON)
    for name, possible in DAY_RANGES.items():
        complete = getattr(days, name)[days.complete]
        assert ((complete >= possible.lowest) & (complete <= possible.highest)).all(), name


# ------------------------------------------------------------------------------------------------ soil temperature


@pytest.mark.parametrize(("depth_cm", "used"), [(5.0, True), (4.0, True), (8.0, True), (3.5, False), (20.0, False), (None, False)])
def test_the_provider_s_soil_temperature_counts_from_four_to_eight_centimetres(depth_cm: float | None, used: bool) -> None:
    """Own choice; outside of it the soil is simulated and the day says so."""
    result = london_days(winter_days(2), soil_temperature_depth_cm=depth_cm)
    assert (result.soil_temperature_c[0] == pytest.approx(14.0)) == used
    assert (daily.SOIL_TEMPERATURE_SIMULATED in result.estimated[0]) != used


def test_simulated_soil_goes_on_from_the_day_before_the_frame() -> None:
    """The same weather in one frame or in two, the second one told where the first one ended."""
    values = winter_days(10)
    values[SOIL_TEMPERATURE] = np.nan
    values[AIR_TEMPERATURE] += np.linspace(-10, 10, len(values))
    start = SoilHeat(*(np.array(number) for number in (6.0, 9.0, 100.0, 0.0)))

    def days(part: pd.DataFrame, before: SoilHeat) -> DailyWeather:
        return daily_weather(frame_of(part), place=SOMEWHERE, time_zone=LONDON, previous_heat=before)

    whole, first = days(values, start), days(values.iloc[:96], start)
    second = days(values.iloc[96:], first.soil_heat[-1])
    assert np.array_equal(np.concatenate([first.soil_temperature_c, second.soil_temperature_c]), whole.soil_temperature_c)


def test_soil_heat_of_days_without_weather_is_not_gone_on_from() -> None:
    """Twelve days without anything leave no heat behind; the next frame starts as the first one ever."""
    values = winter_days(12)
    values[:] = np.nan
    heat = london_days(values).soil_heat[-1]
    assert np.isnan(heat.temperature_5cm_c)
    later = winter_days(5)
    later[SOIL_TEMPERATURE] = np.nan
    gone_on = daily_weather(frame_of(later), place=SOMEWHERE, time_zone=LONDON, previous_heat=heat)
    assert np.array_equal(gone_on.soil_temperature_c, london_days(later).soil_temperature_c)
    assert np.isfinite(gone_on.soil_temperature_c).all()


def test_a_gap_in_measured_soil_temperature_is_bridged_from_the_measurement() -> None:
    """A simulated day between measured ones starts from the measured one."""
    values = winter_days(3)
    values.iloc[24:48, values.columns.get_loc(SOIL_TEMPERATURE)] = np.nan
    result = london_days(values)
    values[SOIL_TEMPERATURE] = np.nan
    unaided = london_days(values).soil_temperature_c[1]
    assert min(unaided, 14.0) < result.soil_temperature_c[1] < max(unaided, 14.0)
    assert [daily.SOIL_TEMPERATURE_SIMULATED in notes for notes in result.estimated] == [False, True, False]


# ------------------------------------------------------------------------------------------------ origin, speed


def test_a_day_is_as_sure_as_its_least_sure_hour_of_rain_or_temperature() -> None:
    """One hour of modelled rain makes a modelled day, one hour of forecast a forecast day; other variables do not matter."""
    values = winter_days(3)
    now = datetime(2024, 1, 11, 15, 20, tzinfo=UTC)
    origins = origins_by_time(values, now=now, past=Origin.OBSERVED)
    origins[WIND_SPEED] = np.int8(ORIGIN_CODES[Origin.FORECAST])
    origins.loc["2024-01-10 07:00+00:00", PRECIPITATION] = np.int8(ORIGIN_CODES[Origin.MODELLED])
    frame = HourlyWeather(values=values, origins=origins, source=SOURCE, issued_at=now, wind_height_m=10.0)
    result = daily_weather(frame, place=SOMEWHERE, time_zone=LONDON)
    assert result.origin_code.tolist() == [ORIGIN_CODES[o] for o in (Origin.MODELLED, Origin.FORECAST, Origin.FORECAST)]
    assert result.origin_code.dtype == np.int8


def test_eight_hundred_days_take_well_under_a_second() -> None:
    """Two seasons and a spin-up are read at every cycle; 0.03 s were seen, a loop over days takes seconds."""
    frame = frame_of(plain_values("2022-01-01", 800 * 24), soil_temperature_depth_cm=None)
    started = time.perf_counter()
    result = daily_weather(frame, place=SOMEWHERE, time_zone=LONDON)
    assert time.perf_counter() - started < 1.0
    assert len(result.days) >= 798
