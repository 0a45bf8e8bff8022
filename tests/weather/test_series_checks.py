"""Checks of an instrument's hours: each catches a fault made by hand, and none strikes measured series.

Measured: hours of two typical years of the United States that pvlib ships (NSRDB TMY3, stations 703165 and 723170), and daily stations
(AgriMet, AZMET, US Climate Reference Network).
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecaster.physics import radiation
from forecaster.quantities import Origin
from forecaster.weather import series_checks
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    DEW_POINT,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    VARIABLES,
    WIND_SPEED,
    HourlyWeather,
)
from forecaster.weather.hourly import checked_source, hourly_sun
from forecaster.weather.place import Place
from forecaster.weather.series_checks import INSTRUMENT_CHECKS
from tests.weather.frames import frame_of

GREENSBORO = "723170TYA.CSV"
SAND_POINT = "703165TY.csv"


@dataclass(frozen=True)
class Year:
    """A typical year: its hours and where they were measured."""

    values: pd.DataFrame
    place: Place


def typical_year(name: str) -> Year:
    """NSRDB TMY3: local standard time, hours labelled by their end; one calendar year is given to all its months."""
    path = files("pvlib") / "data" / name
    with path.open() as file:
        head = file.readline().split(",")
        table = pd.read_csv(file)
    hours = table["Time (HH:MM)"].str[:2].astype(int) - 1 - float(head[3])
    index = pd.DatetimeIndex(pd.to_datetime("2001/" + table["Date (MM/DD/YYYY)"].str[:5]) + pd.to_timedelta(hours, unit="h"), tz="UTC")
    columns = {
        AIR_TEMPERATURE: "Dry-bulb (C)",
        DEW_POINT: "Dew-point (C)",
        RELATIVE_HUMIDITY: "RHum (%)",
        WIND_SPEED: "Wspd (m/s)",
        SHORTWAVE: "GHI (W/m^2)",
        PRECIPITATION: "Lprecip depth (mm)",
    }
    values = pd.DataFrame({ours: table[theirs].to_numpy(dtype=float) for ours, theirs in columns.items()}, index=index)
    values = values.where(values > -9900.0)  # missing markers
    values[SOIL_TEMPERATURE] = np.nan
    return Year(values[list(VARIABLES)], Place(float(head[4]), float(head[5]), float(head[6])))


@pytest.fixture(scope="module")
def year() -> Year:
    return typical_year(GREENSBORO)


def checked(values: pd.DataFrame, place: Place, origin: Origin = Origin.OBSERVED) -> HourlyWeather:
    return checked_source(frame_of(values, origin=origin), place)


@pytest.mark.parametrize("name", [GREENSBORO, SAND_POINT])
def test_a_measured_year_of_hours_passes_every_check(name: str) -> None:
    """8760 hours of six quantities: nothing is taken out but two hours of over 500 mm of rain, faults of the files themselves."""
    found = typical_year(name)
    assert len(found.values) == 8760
    assert found.values[AIR_TEMPERATURE].notna().all()
    (taken,) = checked(found.values, found.place).taken_out
    assert (taken.check, taken.variable, len(taken.hours)) == ("range", PRECIPITATION, 2)
    assert (taken.values >= 500.0).all()


def test_measured_days_of_fifteen_stations_show_nothing_that_the_checks_call_stuck_dead_or_too_bright(shared: Path) -> None:
    """Days stand for their 24 hours here: soil that kept its temperature, days without light, radiation above a clear sky's."""
    folder = shared / "observations"
    network = pd.read_csv(folder / "uscrn_2020_12stations.csv", parse_dates=["lst_date"])
    prairie = pd.read_csv(folder / "uscrn_53974_manhattan_ks_2010_2017.csv", parse_dates=["LST_DATE"])
    prairie = prairie.rename(columns=str.lower).assign(wban=53974, latitude=39.1, longitude=-96.61)
    days = 0
    for _, station in pd.concat([network, prairie]).groupby("wban"):
        index = pd.DatetimeIndex(station["lst_date"]).tz_localize("UTC")
        hours = pd.date_range(index[0], index[-1] + pd.Timedelta(hours=23), freq="h")
        place = Place(float(station["latitude"].iloc[0]), 0.0, 0.0)
        top = hourly_sun(hours, place).extraterrestrial_mj
        daily = station.set_index(index)[["solarad_daily", "soil_temp_5_daily"]].reindex(hours.normalize()).to_numpy(dtype=float)
        of_day = pd.Series(top, hours).groupby(hours.normalize()).transform("sum").to_numpy()
        shortwave = daily[:, 0] * top / of_day / 0.0036  # shared out as the sun stands
        series = {
            SHORTWAVE: shortwave,
            SOIL_TEMPERATURE: daily[:, 1],
            "extraterrestrial_wm2": top / 0.0036,
            "clear_sky_wm2": radiation.clear_sky_radiation(top / 0.0036, 0.0),
        }
        for check in INSTRUMENT_CHECKS:
            if set(check.needs) <= set(series) and check.check != "step":  # from day to day anything may step
                assert not check.strikes(series).any(), (station["wban"].iloc[0], check.told)
        days += len(station)
    assert days > 7000


FAULTS = {
    "air temperature jumps": (AIR_TEMPERATURE, slice(100, 102), 55.0),
    "dew point jumps": (DEW_POINT, slice(100, 101), -40.0),
    "wind jumps": (WIND_SPEED, slice(100, 102), 60.0),
    "soil temperature jumps": (SOIL_TEMPERATURE, slice(100, 101), 40.0),
    "air temperature is stuck": (AIR_TEMPERATURE, slice(100, 140), 9.3),
    "dew point is stuck": (DEW_POINT, slice(4600, 4650), 8.0),
    "humidity is stuck": (RELATIVE_HUMIDITY, slice(100, 140), 71.0),
    "wind is stuck": (WIND_SPEED, slice(100, 130), 3.4),
    "no wind for a week: the anemometer is stuck": (WIND_SPEED, slice(100, 290), 0.0),
    "radiation is stuck": (SHORTWAVE, slice(4600, 4700), 61.0),
    "soil temperature is stuck": (SOIL_TEMPERATURE, slice(100, 350), 11.5),
    "the very same rain hour after hour": (PRECIPITATION, slice(100, 112), 2.4),
    "no light for days: a dead or covered sensor": (SHORTWAVE, slice(4600, 4700), 0.0),
    "a burst between dry hours in dry air: a knocked gauge, or a sprinkler": (PRECIPITATION, slice(4001, 4002), 14.0),
    "humidity stays below 1.5 %: a fraction taken for percent": (RELATIVE_HUMIDITY, slice(100, 150), 0.71),
}


@pytest.mark.parametrize("told", FAULTS)
def test_a_fault_made_by_hand_is_caught_with_what_stood_there_and_nothing_beside_it(year: Year, told: str) -> None:
    variable, where, value = FAULTS[told]
    values = year.values.copy()
    values[SOIL_TEMPERATURE] = 12.0 + 3.0 * np.sin(np.arange(len(values)) * 2.0 * np.pi / 24.0)
    values[PRECIPITATION] = 0.0
    values.iloc[where, values.columns.get_loc(variable)] = value
    if variable == PRECIPITATION:
        values.iloc[where, values.columns.get_loc(RELATIVE_HUMIDITY)] = 40.0 + np.arange(where.stop - where.start)
    found = checked(values, year.place)
    struck = {taken.told.partition(": taken out")[0]: taken for taken in found.taken_out}
    assert told in struck
    taken = struck[told]
    assert taken.variable == variable
    assert set(taken.values) <= {value, *values[variable].to_numpy()[where]}
    inside = values.index[where]
    assert taken.hours.isin(inside).all()
    assert found.values.loc[taken.hours, variable].isna().all()
    others = [name for name in VARIABLES if name not in {taken.variable for taken in found.taken_out}]
    pd.testing.assert_frame_equal(found.values[others], values[others])


def test_every_check_has_a_fault_that_it_catches(year: Year) -> None:
    """Those with more to them than one value set for some hours have a test of their own below."""
    own = {
        "humidity jumps",
        "sun in the middle of the night: is the clock right?",
        "more radiation than a clear sky gives",
        "dew point does not fit temperature and humidity",
    }
    assert {check.told for check in INSTRUMENT_CHECKS} == set(FAULTS) | own


def test_humidity_that_jumps_is_caught(year: Year) -> None:
    series = {RELATIVE_HUMIDITY: np.array([95.0, 96.0, 4.0, 97.0, 98.0])}
    check = next(check for check in INSTRUMENT_CHECKS if check.told == "humidity jumps")
    assert np.flatnonzero(check.strikes(series)).tolist() == [2]


def test_a_clock_that_is_hours_off_has_sun_at_night(year: Year) -> None:
    values = year.values.copy()
    values[SHORTWAVE] = np.roll(values[SHORTWAVE].to_numpy(), 12)
    told = {taken.told.partition(":")[0] for taken in checked(values, year.place).taken_out}
    assert "sun in the middle of the night" in told


def test_radiation_of_another_unit_is_more_than_a_clear_sky_s(year: Year) -> None:
    values = year.values.copy()
    values[SHORTWAVE] = values[SHORTWAVE] * 1.6
    told = {taken.told.partition(":")[0] for taken in checked(values, year.place).taken_out}
    assert "more radiation than a clear sky gives" in told


def test_a_dew_point_that_contradicts_temperature_and_humidity_is_taken_out(year: Year) -> None:
    values = year.values.copy()
    values[RELATIVE_HUMIDITY] = 100.0 - values[RELATIVE_HUMIDITY]
    taken = next(taken for taken in checked(values, year.place).taken_out if "does not fit" in taken.told)
    assert taken.variable == DEW_POINT


def test_a_step_that_stays_is_one_value_and_a_gap_is_no_step() -> None:
    """A front may pass while nothing is measured; a sensor that was moved has one bad hour."""
    values = np.array([10.0, 10.0, 40.0, 41.0, 40.0, 42.0, 41.0])
    assert np.flatnonzero(series_checks.jumps(20.0, values)).tolist() == [2]
    assert np.flatnonzero(series_checks.jumps(20.0, np.array([10.0, -9.5, 11.0, 12.0]))).tolist() == [1]
    values[1] = np.nan
    assert not series_checks.jumps(20.0, values).any()


def test_a_model_has_no_sensor_that_sticks(year: Year) -> None:
    """Forecasts repeat values, by threes and sixes and for whole days: only what no weather can be is taken out of them."""
    values = year.values.assign(**{PRECIPITATION: 0.0})
    values.iloc[100:200, values.columns.get_loc(WIND_SPEED)] = 3.4
    values.iloc[300, values.columns.get_loc(AIR_TEMPERATURE)] = 99.0
    found = checked(values, year.place, Origin.FORECAST).taken_out
    assert [(taken.check, taken.variable, taken.values.tolist()) for taken in found] == [("range", AIR_TEMPERATURE, [99.0])]
    assert "WMO" in found[0].basis


def test_recorded_radiation_of_a_german_station_passes(shared: Path) -> None:
    """DWD, station 01766 (Münster/Osnabrück), ten-minute sums in J/cm² over two days of June 2023; a bright day beside a clouded one."""
    table = pd.read_csv(shared / "recordings/brightsky_dwd/dwd_cdc_10min_solar_01766.txt", sep=";", skipinitialspace=True)
    index = pd.DatetimeIndex(pd.to_datetime(table["MESS_DATUM"].astype(str), format="%Y%m%d%H%M"), tz="UTC")
    hourly = (table["GS_10"].set_axis(index) * 1e4 / 3600.0).resample("h").sum(min_count=6)
    values = pd.DataFrame(dict.fromkeys(VARIABLES, np.nan), index=hourly.index)
    values[SHORTWAVE] = hourly
    assert values[SHORTWAVE].notna().sum() >= 24
    assert values[SHORTWAVE].max() > 700.0
    found = checked(values, Place(52.13, 7.70, 48.0))
    assert found.taken_out == ()
