"""``forecaster et0`` as people type it: files of days and of hours, what is told, and every mistake at once."""

from __future__ import annotations

import csv
import io
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import refet

from forecaster.physics import humidity
from tests.command.test_cli import forecaster
from tests.references.fao56 import Example18, Example19, Example20

HEADER = "date,air_temperature_min_c,air_temperature_max_c"


def et0(
    file: Path, *more: str, latitude: float = 50.8, longitude: float = 4.35, elevation: float = 100.0
) -> subprocess.CompletedProcess[str]:
    return forecaster(
        "et0", str(file), f"--latitude={latitude}", f"--longitude={longitude}", f"--elevation={elevation}", *more
    )  # fmt: skip


def rows(done: subprocess.CompletedProcess[str]) -> list[dict[str, str]]:
    assert done.returncode == 0, done.stderr
    return list(csv.DictReader(io.StringIO(done.stdout)))


def written(folder: Path, text: str) -> Path:
    path = folder / "station.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_example_18_as_a_file_of_days(tmp_path: Path) -> None:
    """FAO-56 Example 18, Uccle: 3.88 mm; the second line lacks everything but temperatures and says what was done."""
    e = Example18
    text = (
        f"{HEADER},relative_humidity_max_percent,relative_humidity_min_percent,sunshine_h,wind_speed_kmh,remarks\n"
        f"2026-07-06,{e.air_temperature_min_c},{e.air_temperature_max_c},{e.relative_humidity_max_percent},"
        f"{e.relative_humidity_min_percent},{e.sunshine_h},{e.wind_speed_kmh},warm\n"
        f"2026-07-07,{e.air_temperature_min_c},{e.air_temperature_max_c},,,,,\n"
    )
    done = et0(written(tmp_path, text), "--wind-height=10", latitude=e.latitude_deg)
    first, second = rows(done)
    assert float(first["et0_mm"]) == e.et0_mm.approx
    assert first["date"] == "2026-07-06"
    assert first["estimated"] == "radiation from hours of sunshine"
    assert second["estimated"] == (
        "humidity from the lowest temperature of the day; radiation from the temperature range; wind taken as 2 m/s"
    )
    assert "Estimated on 1 of 2 days: wind taken as 2 m/s (FAO-56 ch. 3, missing wind)." in done.stderr
    assert "Columns not used: remarks." in done.stderr
    assert "dry places" in done.stderr


def test_a_table_names_the_estimates_and_ends_with_the_summary(tmp_path: Path) -> None:
    """FAO-56 Example 20, Lyon: 4.56 mm from temperatures alone, about 5.0 by Hargreaves."""
    e = Example20
    path = written(tmp_path, f"{HEADER}\n2026-07-15,{e.air_temperature_min_c},{e.air_temperature_max_c}\n")
    done = et0(path, "--out", "table", latitude=e.latitude_deg, elevation=e.elevation_m)
    assert done.returncode == 0, done.stderr
    assert "4.56" in done.stdout
    assert "wind taken as 2" in done.stdout
    assert "1 of 1 days from 2026-07-15" in done.stdout
    assert done.stderr == ""
    (plain,) = rows(et0(path, "--hargreaves", latitude=e.latitude_deg, elevation=e.elevation_m))
    assert float(plain["et0_mm"]) == e.et0_hargreaves_mm.approx
    assert "Hargreaves" in plain["estimated"]


def test_a_year_at_fallon_is_what_refet_says(shared: Path) -> None:
    """AgriMet Fallon 2015 (US Bureau of Reclamation, public domain), its own column names; refet 0.5.0 'asce'; 4 decimals are printed."""
    path = shared / "observations" / "fallon_agrimet_daily_2015_refet.csv"
    names = ("air_temperature_min_c=tmin", "air_temperature_max_c=tmax", "shortwave_mj=rs", "wind_speed_ms=u", "dew_point_c=tdew")
    mapping = [word for name in names for word in ("--map", name)]
    done = et0(path, "--variant=asce-short", "--wind-height=3", *mapping, latitude=39.4575, longitude=-118.77388, elevation=1208.5)
    found = np.array([float(row["et0_mm"]) for row in rows(done)])
    d = pd.read_csv(path, parse_dates=["date"])
    expected = refet.Daily(
        tmin=d["tmin"].to_numpy(), tmax=d["tmax"].to_numpy(), ea=humidity.vapour_pressure_from_dew_point(d["tdew"].to_numpy()),
        rs=d["rs"].to_numpy(), uz=d["u"].to_numpy(), zw=3.0, elev=1208.5, lat=39.4575, doy=d["date"].dt.day_of_year.to_numpy(),
        method="asce",
    ).eto()  # fmt: skip
    known = d[["tmin", "tmax", "tdew", "rs", "u"]].notna().all(axis=1).to_numpy()
    assert known.sum() > 350
    assert found[known] == pytest.approx(expected[known], abs=2e-4)


def test_example_19_within_a_file_of_hours_by_utc_and_by_the_station_s_clock(tmp_path: Path) -> None:
    """FAO-56 Example 19, 1 October 14-15 h on a clock of 15°W: 0.63 mm. The same hours by UTC and by a clock one hour behind it."""
    e = Example19
    start = datetime(2026, 10, 1, 1, tzinfo=UTC)
    found = {}
    for name, shift in (("time_utc", 0), ("time_local", -1)):
        lines = [f"{name},air_temperature_c,relative_humidity_percent,wind_speed_ms,shortwave_mj"]
        for step in range(24):
            clock = start + timedelta(hours=step + shift)
            stamp = f"{clock:%Y-%m-%dT%H:%M}" + ("Z" if name == "time_utc" else "")
            day = step == 14
            sun = e.day_shortwave_mj if day else 0.0
            warm = e.day_air_temperature_c if day else e.night_air_temperature_c
            wet = e.day_relative_humidity_percent if day else e.night_relative_humidity_percent
            lines.append(f"{stamp},{warm},{wet},{e.day_wind_speed_2m_ms if day else e.night_wind_speed_2m_ms},{sun}")
        zone = [] if name == "time_utc" else ["--zone=-01:00"]
        path = written(tmp_path, "\n".join(lines) + "\n")
        done = et0(
            path, "--hourly", "--wind-height=2", *zone, latitude=e.latitude_deg, longitude=-e.longitude_west_deg, elevation=e.elevation_m
        )
        found[name] = rows(done)
    assert found["time_utc"] == found["time_local"]
    afternoon = found["time_utc"][14]
    assert afternoon["time_utc"] == "2026-10-01T15:00Z"
    assert float(afternoon["et0_mm"]) == e.day_et0_mm.approx


def test_the_hour_that_comes_twice_and_the_one_that_does_not_exist(tmp_path: Path) -> None:
    """London 2026 (tz database): 01:00 of 25 October comes twice, 01:00 of 29 March never."""
    twice = "time_local,air_temperature_c\n" + "".join(f"2026-10-25T{hour},10\n" for hour in ("00:00", "01:00", "01:00", "02:00"))
    done = et0(written(tmp_path, twice), "--hourly", "--zone=Europe/London")
    assert [row["time_utc"][11:16] for row in rows(done)] == ["23:00", "00:00", "01:00", "02:00"]
    never = et0(written(tmp_path, "time_local,air_temperature_c\n2026-03-29T01:00,10\n"), "--hourly", "--zone=Europe/London")
    assert never.returncode == 1
    assert "line 2: time_local = '2026-03-29T01:00': the clock went forward over this hour" in never.stderr


def test_every_mistake_is_told_at_once_with_line_column_value_and_what_is_allowed(tmp_path: Path) -> None:
    text = (
        f"{HEADER},dew_point_c,wind_speed_kmh\n"
        "2026-07-01,10,20,9,5\n"
        "2026-07-01,10,20,9,5\n"
        "2026-02-30,10,20,9,5\n"
        "2026-07-03,ten,20,9,5\n"
        "2026-07-04,10,200,inf,999\n"
        "2026-07-05,10,20\n"
    )
    done = et0(
        written(tmp_path, text), "--wind-height=0.1", "--variant=penman", "--zone=Nowhere/Else", latitude=95, longitude=400, elevation=9500
    )
    assert done.returncode == 1
    assert done.stdout == ""
    for said in (
        "--latitude = 95: latitude must be from -90 to 90 °",
        "--longitude = 400: longitude must be from -180 to 180 °",
        "--elevation = 9500: elevation must be from -430 to 9000 m",
        "--wind-height = 0.1: wind height must be from 0.5 to 200 m",
        "--variant = penman: must be one of fao56, asce-short",
        "--zone = Nowhere/Else",
        "line 3: date = '2026-07-01': stands in line 2 already",
        "line 4: date = '2026-02-30': must be a day such as",
        "line 5: air_temperature_min_c = 'ten': must be a number from -80 to 60 °C, or empty",
        "line 6: air_temperature_max_c = '200': must be a number from -80 to 60 °C",
        "line 6: dew_point_c = 'inf': must be a number from -80 to 35 °C",
        "line 6: wind_speed_kmh = '999': must be a number from 0 to 270",
        "line 7: 3 cells where the header has 5",
        "13 mistakes",
    ):
        assert said in done.stderr, said
    assert "Traceback" not in done.stderr


def test_impossible_numbers_are_taken_for_missing_when_that_is_asked_for(tmp_path: Path) -> None:
    text = f"{HEADER},dew_point_c,shortwave_mj\n2026-07-01,10,20,9,99\n2026-07-02,10,20,99,20\n2026-07-03,20,10,9,20\n"
    done = et0(written(tmp_path, text), "--replace-impossible")
    first, second, third = rows(done)
    assert "radiation not within -1 to 50 MJ/m²/d: taken out; radiation from the temperature range" in first["estimated"]
    assert "dew point not within -80 to 35 °C: taken out; humidity from the lowest temperature of the day" in second["estimated"]
    assert third["et0_mm"] == ""
    assert "lowest temperature above the highest: taken out" in third["estimated"]
    assert "Missing: 1 days have no result, for want of air temperature." in done.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "missing 'date', 'air_temperature_min_c', 'air_temperature_max_c'"),
        (f"{HEADER}\n", "there is no weather in the file"),
        (f"{HEADER},dew_pont_c\n", "column 'dew_pont_c': unknown; did you mean 'dew_point_c'?"),
        (f"{HEADER},date\n", "column 'date': stands there twice"),
        (f"{HEADER},wind_speed_ms\n2026-07-01,1,2,3\n", "--wind-height: station.csv has wind"),
        (f"{HEADER},wind_speed_ms,wind_speed_kmh\n", "one of them is enough"),
    ],
)
def test_a_file_that_cannot_be_used_says_why(tmp_path: Path, text: str, said: str) -> None:
    done = et0(written(tmp_path, text))
    assert done.returncode == 1
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_mapping_to_nothing_is_a_mistake_and_not_an_estimate(tmp_path: Path) -> None:
    """A misspelt column would otherwise pass for one that the station does not have, and its values be estimated."""
    text = "date,tmin,tmax,td\n2026-07-01,10,20,9\n"
    names = ("air_temperature_min_c=tmin", "air_temperature_max_c=tmax", "dew_point_c=tdew", "dew=td")
    done = et0(written(tmp_path, text), *(f"--map={name}" for name in names))
    assert done.returncode == 1
    assert "2 mistakes" in done.stderr
    assert "no column 'tdew', which 'dew_point_c' is said to stand in" in done.stderr
    assert "column 'td' cannot be 'dew'" in done.stderr


def test_hours_without_a_result_and_what_was_assumed_are_told_truly(tmp_path: Path) -> None:
    """Six hours of day: temperature is there, but too little of the day to estimate radiation from. At night cloud is assumed, and said."""
    lines = [f"2026-07-01T{hour:02d}:00Z,15,60" for hour in range(9, 15)]
    done = et0(written(tmp_path, "time_utc,air_temperature_c,relative_humidity_percent\n" + "\n".join(lines) + "\n"), "--hourly")
    assert "Missing: 6 hours have no result, for want of air temperature, their own or that of most of their day." in done.stderr
    night = "time_utc,air_temperature_c,relative_humidity_percent,shortwave_wm2,wind_speed_ms\n2026-12-01T01:00Z,5,90,0,2\n"
    done = et0(written(tmp_path, night), "--hourly", "--wind-height=2")
    assert "Assumed on 1 of 1 hours: cloud of the night assumed." in done.stderr
    assert "Nothing had to be estimated" not in done.stderr


def test_a_file_that_is_not_there_or_not_text_is_one_clear_line(tmp_path: Path) -> None:
    assert "nowhere.csv cannot be read: No such file" in et0(tmp_path / "nowhere.csv").stderr
    (tmp_path / "x.csv").write_bytes(b"\xff\xfe\x00")
    assert "not UTF-8" in et0(tmp_path / "x.csv").stderr
