"""Files as a whole: everything wrong at once, clocks that leave a doubt, units that do not fit, folders that are read again."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.sources.onsite import new_files, read_folder, read_onsite
from forecaster.units import LENGTHS_IN_MM, POWERS_IN_WM2, SPEEDS_IN_MS, TEMPERATURES_IN_C
from forecaster.weather.frame import AIR_TEMPERATURE, PRECIPITATION, SHORTWAVE, WIND_SPEED
from tests.sources.onsite_files import FILES, NOW, csv_of, entry, hours, raw, reading, source, told


def problems(name: str, content: bytes | str, **changes: object) -> str:
    with pytest.raises(WeatherMalformed) as caught:
        read_onsite(source(name, **changes), content, now=NOW)
    assert caught.value.hint
    return caught.value.message


def test_the_third_of_april_is_not_guessed() -> None:
    """Days 3 to 9 all read well as months: only that they then lie a month apart gives them away."""
    with pytest.raises(WeatherMalformed, match="day and month have changed places in this file; '%d/%m/%Y %H:%M' may be meant"):
        reading("third_of_april")
    text = "time,rain\n" + "".join(f"{day:02d}/04/2026 {hour:02d}:00,0.1\n" for day in (12, 13) for hour in range(24))
    assert "changed places" in problems("third_of_april", text)
    assert not read_onsite(source("third_of_april", time_format="%d/%m/%Y %H:%M"), text, now=NOW).rejected


def test_everything_wrong_with_a_file_is_told_at_once() -> None:
    told_at_once = problems("semicolon_comma", "Datum,Uhrzeit,Regen,Temp. [°C]\n2026-09-01,00:30,0.2,12.5\n2026-09-01,01:00,0.2,12.5\n")
    assert "4 mistakes" in told_at_once
    for part in (
        "delimiter = ';': lines are not divided by a semicolon; ',' (a comma) may be meant",
        "column 'Regen [mm]': is missing; did you mean 'Regen'?",
        "time_format = '%d.%m.%Y %H:%M': no line has a time like '03.04.2026 17:05'; the first is '2026-09-01 00:30'",
        "column 'Temp. [°C]': no cell is a number with decimal ',', such as '12.5'; decimal = '.' may be meant",
    ):
        assert part in told_at_once


@pytest.mark.parametrize(
    ("content", "encoding", "words"),
    [
        ("time,temp °C\n2026-09-01 00:00,1\n".encode("cp1252"), "utf-8", "line 1 has the byte 0xb0"),
        ("time,temp °C\n2026-09-01 00:00,1\n".encode(), "cp1252", 'encoding = "utf-8" may be meant'),
        ("time,temp °C\n2026-09-01 00:00,1\n".encode("utf-16"), "utf-8", "UTF-16"),
        (b"", "utf-8", "no line of values"),
        ("time,temp °C\n\n".encode(), "utf-8", "no line below the header"),
        ("time,temp °C,temp °C\n2026-09-01 00:00,1,2\n".encode(), "utf-8", "stands there 2 times"),
        (b"PK\x03\x04\x00\x00\x00\n\x00\x01\x02\n", "utf-8", "'time': is missing"),
    ],
)
def test_what_is_no_such_file_is_told_and_nothing_is_taken(content: bytes, encoding: str, words: str) -> None:
    assert words in problems("degree_sign_cp1252", content, encoding=encoding)


def test_a_file_that_is_not_there_is_unavailable(tmp_path: Path) -> None:
    with pytest.raises(WeatherUnavailable):
        read_onsite(source("autumn"), tmp_path / "gone.csv", now=NOW)


def test_another_interval_than_described_is_a_mistake_of_the_whole_file() -> None:
    content = (FILES / "knocked_bucket.csv").read_bytes()
    assert "interval_minutes = 15: lines come every 10 minutes" in problems("knocked_bucket", content, interval_minutes=15)


def test_a_whole_number_stands_only_where_a_whole_number_stands() -> None:
    """With a decimal comma, 1.234 may be a little over one or over a thousand; nan, 1_000 and 1e999 are no measurements."""
    cells = ["1.234", "nan", "1_000", "1e999", "0,5"]
    text = "time;rain\n" + "".join(f"2026-09-01 {hour:02d}:00;{cell}\n" for hour, cell in enumerate(cells))
    read = read_onsite(source("missing_markers", delimiter=";", decimal=",", column=[raw("autumn")["column"][0]]), text, now=NOW)
    assert hours(read, PRECIPITATION) == {"09-01 04": 0.5}
    assert [value for _, _, value in told(read.rejected)] == cells[:4]


# ------------------------------------------------------------------ clocks

BACK = [f"2025-10-26 {time}" for time in ("00:00", "00:30", "01:00", "01:30", "02:00", "02:30")]


def rain_file(times: list[str]) -> str:
    return "time,rain\n" + "".join(f"{time},{0.1 * (row + 1):.1f}\n" for row, time in enumerate(times))


def test_the_hour_that_comes_twice_but_stands_there_once_is_not_guessed() -> None:
    read = read_onsite(source("autumn"), rain_file(BACK), now=NOW)
    assert hours(read, PRECIPITATION) == {"10-25 23": 0.3, "10-26 02": 1.1}
    assert [line for line, _, _ in told(read.rejected)] == [4, 5]
    assert "comes twice" in read.rejected[0].rule


@pytest.mark.parametrize(
    ("times", "expected"),
    [
        (BACK[:4], {"10-25 23": 0.3, "10-26 00": 0.7}),  # the file ends in the first of both hours
        (BACK[2:], {"10-26 01": 0.3, "10-26 02": 0.7}),  # and begins in the second
        ([*BACK[:4], *BACK[2:]][::-1], {"10-25 23": 1.5, "10-26 00": 1.1, "10-26 01": 0.7, "10-26 02": 0.3}),  # newest first
    ],
)
def test_neighbours_tell_which_of_both_hours_is_meant(times: list[str], expected: dict[str, float]) -> None:
    assert hours(read_onsite(source("autumn"), rain_file(times), now=NOW), PRECIPITATION) == pytest.approx(expected)


def test_doubled_lines_in_the_hour_that_comes_twice_are_doubled_lines() -> None:
    header, *lines = (FILES / "autumn.csv").read_text(encoding="utf-8").splitlines()
    read = read_onsite(source("autumn"), "\n".join([header, *(line for line in lines for _ in (0, 1))]) + "\n", now=NOW)
    assert hours(read, PRECIPITATION) == hours(reading("autumn"), PRECIPITATION)
    assert (read.understood.doubled, read.rejected) == (8, ())


def test_one_slip_of_the_pen_in_a_date_is_one_rejected_line() -> None:
    text = (
        "time,rain\n" + "".join(f"{day}/09/2026 {hour:02d}:00,0.1\n" for day in ("01", "02") for hour in range(24)) + "09/13/2026 00:00,1\n"
    )
    read = read_onsite(source("third_of_april", time_format="%d/%m/%Y %H:%M"), text, now=NOW)
    assert told(read.rejected) == [(50, "time", "09/13/2026 00:00")]
    assert read.understood.taken == 48


def test_hourly_lines_show_the_repeated_hour_as_the_same_time_twice() -> None:
    times = [f"2025-10-26 0{hour}:00" for hour in (0, 1, 1, 2)]
    read = read_onsite(source("autumn", interval_minutes=60), rain_file(times), now=NOW)
    assert hours(read, PRECIPITATION) == {"10-25 23": 0.1, "10-26 00": 0.2, "10-26 01": 0.3, "10-26 02": 0.4}


@pytest.mark.parametrize(
    ("zone", "written", "utc"),
    [
        ("Europe/Dublin", "2026-07-01 13:00", "07-01 13"),  # winter time of Ireland is UTC, whatever its law calls summer time
        ("Australia/Sydney", "2026-01-15 10:00", "01-15 00"),  # winter time, UTC+10, in the southern summer
        ("Asia/Kolkata", "2026-07-01 12:30", "07-01 07"),
    ],
)
def test_winter_time_all_year_round(zone: str, written: str, utc: str) -> None:
    read = read_onsite(source("autumn", zone=zone, clock_changes=False, interval_minutes=60), rain_file([written]), now=NOW)
    assert list(hours(read, PRECIPITATION)) == [utc]


def test_half_days_days_that_end_at_24_and_lost_clocks() -> None:
    text = "time,rain\n2026-09-01 24:00,0.2\n2026-09-20 12:30,0.3\n1970-01-01 00:00,0.4\ntoday,0.1\n"
    read = read_onsite(source("autumn", stamp="end", zone="UTC", clock_changes=None, interval_minutes=60), text, now=NOW)
    assert hours(read, PRECIPITATION) == {"09-01 23": 0.2}
    assert [fault.rule.split(":")[0].split(",")[0] for fault in read.rejected] == [
        "lies after now",
        "lies before 1980",
        "must be a time like '2026-04-03 17",
    ]


# ------------------------------------------------------------------ units

SUMMER_C = 15.0 + 8.0 * np.sin(np.arange(96) * 2 * np.pi / 24)


def station(unit: str, quantity: str, values: np.ndarray) -> object:
    column = {"column": "x", "quantity": quantity, "unit": unit, **({"depth_cm": 5.0} if quantity.startswith("soil") else {})}
    kind = "soil-probe" if quantity == "soil-water" else "weather-station"
    described = entry(raw("autumn", kind=kind, file="autumn.csv", column=[column], interval_minutes=60, wind_height_m=2.0))
    return read_onsite(described, csv_of("2026-07-01T00:00", {"x": values}, minutes=60), now=NOW).doubts


@pytest.mark.parametrize(
    ("quantity", "said", "values", "meant"),
    [
        ("air-temperature", "°C", SUMMER_C * 1.8 + 32, "'°F'"),
        ("air-temperature", "°F", SUMMER_C + 273.15, "'K'"),
        ("relative-humidity", "%", np.linspace(0.4, 1.0, 96), "'1'"),
        ("wind-speed", "m/s", np.linspace(2.0, 45.0, 96), "'km/h'"),
        ("radiation", "kW/m²", np.maximum(800 * np.sin(np.arange(96) * 2 * np.pi / 24), 0), "'W/m²'"),
        ("soil-water", "m³/m³", np.linspace(18.0, 35.0, 96), "'%'"),
        ("soil-water", "%", np.linspace(0.18, 0.35, 96), "'m³/m³'"),
    ],
)
def test_a_column_in_another_unit_than_said_is_doubted_and_not_used(quantity: str, said: str, values: np.ndarray, meant: str) -> None:
    (doubt,) = station(said, quantity, values)  # type: ignore[misc]
    assert f"does not look like {said}" in doubt
    assert meant in doubt
    assert station(meant.split("'")[1], quantity, values) == ()


def test_a_running_total_taken_for_amounts_is_doubted() -> None:
    total = np.round(np.cumsum(np.tile([0.0, 0.2], 48)), 1)
    read = read_onsite(source("quarter_hour_zone", zone="UTC", clock_changes=None, column=[raw("autumn")["column"][0]]),
        csv_of("2026-07-01T00:00", {"rain": total}, minutes=60), now=NOW)  # fmt: skip
    assert "counting = 'running-total' may be meant" in read.doubts[0]
    assert read.empty


def test_a_marker_that_nobody_declared_is_suggested() -> None:
    text = "time,rain,temp\n" + "".join(f"2026-09-01 {hour:02d}:00,0.0,-9999\n" for hour in range(5))
    notes = read_onsite(source("missing_markers"), text, now=NOW).understood.notes
    assert notes == ("'-9999' stands 5 times in 'temp' and is no measurement: it may be a missing marker (missing = ['-9999'])",)


def test_conversions_against_published_values() -> None:
    """Freezing and boiling water, 32 and 212 °F (definition); 1 mph 0.44704 m/s, 1 kn 0.514444 m/s (NIST SP 811, appendix B.8; memory)."""
    assert TEMPERATURES_IN_C["°F"](32.0) == pytest.approx(0.0, abs=1e-12)
    assert TEMPERATURES_IN_C["°F"](212.0) == pytest.approx(100.0)
    assert TEMPERATURES_IN_C["K"](273.15) == pytest.approx(0.0, abs=1e-12)
    assert SPEEDS_IN_MS["mph"](1.0) == pytest.approx(0.44704, abs=1e-9)
    assert SPEEDS_IN_MS["kn"](1.0) == pytest.approx(0.514444, abs=5e-7)
    assert SPEEDS_IN_MS["km/h"](36.0) == pytest.approx(10.0)
    assert LENGTHS_IN_MM["inch"](1.0) == 25.4
    assert POWERS_IN_WM2["kW/m²"](1.0) == 1000.0


# ------------------------------------------------------------------ the watched folder


def test_new_files_are_those_whose_content_was_not_read() -> None:
    listing = {"b.csv": "2", "a.csv": "1", "copy of a.csv": "1", "notes.txt": "3", "C.CSV": "4"}
    assert new_files(listing, (), pattern="*.csv") == ("C.CSV", "a.csv", "b.csv")
    assert new_files(listing, {"1", "2"}, pattern="*.csv") == ("C.CSV",)
    assert new_files({"a.csv": "grown"}, {"1"}, pattern="*.csv") == ("a.csv",)
    assert new_files(listing, {"1", "2", "3", "4"}) == ()


def test_a_folder_is_read_as_one_series_however_often_and_however_cut(tmp_path: Path) -> None:
    lines = (FILES / "midnight_reset.csv").read_text(encoding="utf-8").splitlines()
    header, body = lines[0], lines[1:]
    for name, part in (("1.csv", body[:4]), ("2.csv", body[3:6]), ("3.csv", body[5:]), ("3 copy.csv", body[5:])):
        (tmp_path / name).write_text("\n".join([header, *part]) + "\n", encoding="utf-8")
    (tmp_path / "broken.csv").write_text("<html>no export</html>\n", encoding="utf-8")
    (tmp_path / "notes.txt").write_text("nothing to do with it", encoding="utf-8")
    described = entry(raw("midnight_reset", file=None, folder=".", files="*.csv"), folder=tmp_path)
    first, again = read_folder(described, now=NOW), read_folder(described, now=NOW)
    assert hours(first, PRECIPITATION) == hours(again, PRECIPITATION) == {"09-01 22": 1.0, "09-01 23": 0.2, "09-02 00": 0.4}
    assert first.understood.files == ("1.csv", "2.csv", "3 copy.csv")
    assert first.understood.doubled == 2
    assert [problem.split(":")[0] for problem in first.problems] == ["broken.csv"]
    assert first.problems[0] in first.frame.notes


def test_a_folder_that_is_gone_is_unavailable_and_an_empty_one_is_empty(tmp_path: Path) -> None:
    folder = tmp_path / "gauge"
    folder.mkdir()
    described = entry(raw("midnight_reset", file=None, folder="gauge"), folder=tmp_path)
    assert read_folder(described, now=NOW).empty
    shutil.rmtree(folder)
    with pytest.raises(WeatherUnavailable):
        read_folder(described, now=NOW)


# ------------------------------------------------------------------ a round trip against known truth


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    minutes=st.sampled_from([5, 10, 15, 30, 60]),
    zone=st.sampled_from(["UTC", "+05:45", "-03:30", "Europe/London", "America/New_York", "Australia/Lord_Howe"]),
    stamp=st.sampled_from(["start", "end"]),
)
def test_whatever_the_interval_the_clock_and_the_units_the_truth_comes_back(seed: int, minutes: int, zone: str, stamp: str) -> None:
    """Truth in our units → a file in American units, as a clock in that zone would write it over a clock change → our hours."""
    random = np.random.default_rng(seed)
    # Around an autumn clock change of each hemisphere, aligned to hours of the zone's own clock.
    start = pd.Timestamp("2026-04-03 13:00" if zone == "Australia/Lord_Howe" else "2025-10-25 12:00", tz="UTC")
    if zone == "America/New_York":
        start = pd.Timestamp("2025-11-01 12:00", tz="UTC")
    size = 36 * 60 // minutes
    starts = start + pd.to_timedelta(np.arange(size) * minutes, unit="min")
    rain = np.where(random.random(size) < 0.3, np.round(random.gamma(0.5, 1.0, size), 2), 0.0)
    temperature = np.round(10 + 8 * np.sin(np.arange(size) / size * 9) + random.normal(0, 0.5, size), 2)
    sun = np.maximum(0.0, 600 * np.sin(np.arange(size) * minutes / 720 * np.pi))
    clock = zone if zone[0] not in "+-" else f"Etc/GMT{zone}"
    offset = pd.Timedelta(hours=int(zone[:3]), minutes=int(zone[0] + zone[4:])) if zone[0] in "+-" else None
    labels = starts + pd.Timedelta(minutes=minutes) if stamp == "end" else starts
    local = labels.tz_localize(None) + offset if offset is not None else labels.tz_convert(clock).tz_localize(None)
    lines = ["when|F|in|MJ"]
    for row in range(size):
        mj = sun[row] * minutes * 60 / 1e6
        lines.append(f"{local[row]:%d/%m/%y %I:%M:%S %p}|{temperature[row] * 1.8 + 32:.6f}|{rain[row] / 25.4:.8f}|{mj:.9f}")
    mapping = {
        "id": "x", "kind": "weather-station", "file": "autumn.csv", "delimiter": "|", "decimal": ".", "header_lines": 1,
        "time_columns": ["when"], "time_format": "%d/%m/%y %I:%M:%S %p", "zone": zone, "stamp": stamp, "interval_minutes": minutes,
        "clock_changes": "/" in zone,
        "column": [
            {"column": "F", "quantity": "air-temperature", "unit": "°F"},
            {"column": "in", "quantity": "rain", "unit": "inch", "counting": "interval"},
            {"column": "MJ", "quantity": "radiation", "unit": "MJ/m²"},
        ],
    }  # fmt: skip
    read = read_onsite(entry(mapping), "\n".join(lines) + "\n", now=NOW)
    assert [fault for fault in read.rejected if "knocked" not in fault.rule] == []
    truth = pd.DataFrame({PRECIPITATION: rain, AIR_TEMPERATURE: temperature, SHORTWAVE: sun}, index=starts)
    expected = truth.resample("h").agg({PRECIPITATION: "sum", AIR_TEMPERATURE: "mean", SHORTWAVE: "mean"})
    assert len(read.frame.values) == len(expected) == 36
    for variable in expected:
        found = read.frame.values[variable]
        whole = found.notna()
        assert whole.all() or variable == PRECIPITATION
        np.testing.assert_allclose(found[whole], expected[variable][whole.to_numpy()], atol=1e-4)
    assert read.frame.values[WIND_SPEED].isna().all()
    assert read.frame.issued_at == datetime.fromisoformat(str(starts[-1] + pd.Timedelta(minutes=minutes))).astimezone(UTC)
