"""Gauges that are read by hand, tip by tip, or begin anew more than once a day; all invented, the sums are worked out by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.sources.onsite import read_onsite
from forecaster.sources.onsite_hours import reading_intervals, whole_hours
from forecaster.sources.onsite_reading import OnsiteReading
from forecaster.weather.frame import PRECIPITATION
from forecaster.weather.hourly import checked_source
from forecaster.weather.place import Place
from tests.sources.onsite_files import NOW, entry, hours

RAIN = {"column": "rain", "quantity": "rain", "unit": "mm"}
BY_HAND: dict[str, Any] = {
    "id": "gauge", "kind": "rain-gauge", "folder": ".", "delimiter": ",", "decimal": ".", "header_lines": 1, "time_columns": ["day"],
    "time_format": "%Y-%m-%d", "read_at": "09:00", "zone": "Europe/London", "clock_changes": True, "stamp": "end", "interval_minutes": 1440,
    "column": [RAIN | {"counting": "interval"}],
}  # fmt: skip
TIPS = {
    **{key: value for key, value in BY_HAND.items() if key not in ("read_at", "stamp", "interval_minutes")},
    "time_format": "%Y-%m-%d %H:%M:%S", "zone": "UTC", "column": [RAIN | {"counting": "tips"}],
}  # fmt: skip
del TIPS["clock_changes"]


def read(mapping: dict[str, Any], text: str) -> OnsiteReading:
    return read_onsite(entry(mapping), text, now=NOW)


def total(found: OnsiteReading) -> float:
    return float(found.frame.values[PRECIPITATION].sum())


def test_a_gauge_that_is_read_at_nine_gives_every_hour_since_its_share_and_no_hour_is_leant_on() -> None:
    found = read(BY_HAND, "day,rain\n2026-09-01,12.0\n2026-09-02,0.0\n2026-09-03,4.8\n")
    rain = hours(found, PRECIPITATION)
    # British summer time: nine o'clock is 08:00 UTC. 12 mm in 24 h are 0.5 mm an hour, from 08:00 of the day before.
    assert (rain["08-31 08"], rain["09-01 07"], rain["09-01 08"], rain["09-02 08"]) == (0.5, 0.5, 0.0, 0.2)
    assert len(rain) == 72
    assert total(found) == pytest.approx(16.8)
    assert found.frame.rough is not None
    assert found.frame.rough.all()
    assert any("longer than an hour" in note for note in found.understood.notes)
    assert found.understood.rain_by_day == {date(2026, 8, 31): 12.0, date(2026, 9, 1): 0.0, date(2026, 9, 2): 4.8}


@pytest.mark.parametrize(
    ("days", "whole"), [(("2026-03-28", "2026-03-29", "2026-03-30"), 71), (("2025-10-25", "2025-10-26", "2025-10-27"), 73)]
)
def test_a_day_with_a_clock_change_has_an_hour_less_or_more_and_loses_no_rain(days: tuple[str, ...], whole: int) -> None:
    """The clocks of Europe change on 29 March 2026 and 26 October 2025 (Directive 2000/84/EC: last Sundays of March and October)."""
    found = read(BY_HAND, "day,rain\n" + "".join(f"{day},6.0\n" for day in days))
    assert len(hours(found, PRECIPITATION)) == whole
    assert total(found) == pytest.approx(18.0)
    assert found.rejected == ()


def test_readings_at_about_nine_join_and_one_after_a_gap_counts_for_its_own_day() -> None:
    mapping = BY_HAND | {"time_format": "%Y-%m-%d %H:%M", "zone": "UTC", "clock_changes": None, "read_at": None}
    mapping = {key: value for key, value in mapping.items() if value is not None}
    lines = ("2026-09-01 09:00,2.0", "2026-09-02 08:30,4.7", "2026-09-03 10:30,5.2", "2026-09-06 09:00,2.4")
    found = read(mapping, "day,rain\n" + "\n".join(lines) + "\n")
    rain = hours(found, PRECIPITATION)
    assert found.rejected == ()
    # From 09:00 to 08:30 are 23.5 hours, from then to 10:30 26: 0.2 mm an hour each. The half hour after 08:30 is shared by both.
    assert (rain["09-01 12"], rain["09-02 08"], rain["09-02 20"]) == (0.2, 0.2, 0.2)
    assert "09-04 12" not in rain
    assert rain["09-05 12"] == pytest.approx(0.1)
    assert total(found) == pytest.approx(2.0 + 4.7 + 5.2 - 0.1 + 2.4)  # the half hour to 10:30 makes no whole hour


def test_each_line_a_tip_the_hours_between_are_dry_and_copies_count_once() -> None:
    lines = ("2026-09-01 05:10:00,0.0", "2026-09-01 06:10:05,0.2", "2026-09-01 06:10:25,0.2", "2026-09-01 06:50:00,0.2",
             "2026-09-01 09:30:00,0.2", "2026-09-01 11:15:00,0.2")  # fmt: skip
    found = read(TIPS, "day,rain\n" + "\n".join(lines) + "\n")
    assert hours(found, PRECIPITATION) == {"09-01 06": 0.6, "09-01 07": 0.0, "09-01 08": 0.0, "09-01 09": 0.2, "09-01 10": 0.0}
    assert any("tip of the bucket" in note for note in found.understood.notes)
    assert found.rejected == ()


def test_copies_of_a_tip_file_in_one_folder_are_not_rain_twice(tmp_path: Any) -> None:
    from forecaster.sources.onsite import read_folder

    text = "day,rain\n" + "".join(f"2026-09-01 0{5 + n // 2}:{20 + n:02d}:00,0.2\n" for n in range(6))
    (tmp_path / "a.csv").write_text(text)
    (tmp_path / "b.csv").write_text(text + "2026-09-01 09:00:00,0.2\n")
    found = read_folder(entry(TIPS | {"files": "*.csv"}, folder=tmp_path), now=NOW)
    assert total(found) == pytest.approx(0.8)  # the hours from 06:00 to 08:00, with two tips each
    assert found.understood.doubled == 6


def test_a_total_that_begins_anew_twice_a_day_loses_nothing() -> None:
    mapping = {
        **BY_HAND, "time_format": "%Y-%m-%d %H:%M", "zone": "UTC", "interval_minutes": 60,
        "column": [RAIN | {"counting": "running-total", "resets": "daily", "reset_at": ["00:00", "12:00"]}],
    }  # fmt: skip
    for key in ("read_at", "clock_changes"):
        del mapping[key]
    lines = [f"2026-09-{1 + n // 24:02d} {n % 24:02d}:00,{(n % 12) * 0.5:.1f}" for n in range(1, 49)]
    found = read(mapping, "day,rain\n" + "\n".join(lines) + "\n")
    rain = hours(found, PRECIPITATION)
    assert found.doubts == ()
    assert set(rain.values()) == {0.0, 0.5}
    assert sum(value == 0.0 for value in rain.values()) == 4, "the hours that end at a reset show the new total"


@given(
    st.lists(st.floats(0.0, 200.0), min_size=1, max_size=20), st.integers(0, 59), st.lists(st.integers(-180, 180), min_size=20, max_size=20)
)
def test_sharing_out_keeps_the_total_of_everything_that_lies_in_whole_hours(amounts: list[float], into: int, shifts: list[int]) -> None:
    labels = np.array([1440 * day + shift for day, shift in zip(range(1, 21), shifts, strict=True)], dtype=np.int64)[: len(amounts)] + into
    starts, lengths = reading_intervals(labels - 1440, interval_minutes=1440, slack_minutes=360, labels_end=True)
    assert (starts + lengths == labels).all()
    assert (starts[1:] == labels[:-1]).all()
    found = whole_hours(starts, np.array(amounts), interval_minutes=lengths, summed=True)
    first, last = amounts[0] / lengths[0], amounts[-1] / lengths[-1]
    outside = first * (-starts[0] % 60) + last * (labels[-1] % 60)
    assert sum(found.values()) == pytest.approx(sum(amounts) - outside, abs=1e-6)


def test_the_reading_of_today_is_in_the_frame_until_its_hour() -> None:
    found = read(BY_HAND, "day,rain\n2026-09-19,1.0\n2026-09-20,2.4\n")
    assert found.frame.issued_at == datetime(2026, 9, 20, 8, tzinfo=UTC)


def test_a_real_station_file_reads_and_passes_every_check(shared: Path) -> None:
    """DWD, current observations of station 01049, 25 hours of April 2020: decimal commas, three header lines, dashes for nothing."""
    mapping = {
        "id": "station", "kind": "weather-station", "folder": ".", "delimiter": ";", "decimal": ",", "header_lines": 3, "names_lines": [3],
        "time_columns": ["Datum", "Uhrzeit (UTC)"], "time_format": "%d.%m.%y %H:%M", "zone": "UTC", "stamp": "end", "interval_minutes": 60,
        "missing": ["---"], "wind_height_m": 10.0,
        "column": [
            {"column": "Temperatur (2m)", "quantity": "air-temperature", "unit": "°C"},
            {"column": "Taupunkttemperatur (2m)", "quantity": "dew-point", "unit": "°C"},
            {"column": "Relative Feuchte", "quantity": "relative-humidity", "unit": "%"},
            {"column": "Windgeschwindigkeit", "quantity": "wind-speed", "unit": "km/h"},
            {"column": "Niederschlag (letzte Stunde)", "quantity": "rain", "unit": "mm", "counting": "interval"},
        ],
    }  # fmt: skip
    text = (shared / "recordings/brightsky_dwd/dwd_poi_observations_current.csv").read_text()
    found = read(mapping, text)
    assert found.rejected == ()
    assert found.understood.taken == 25
    air = hours(found, "air_temperature_c")
    assert (air["04-06 07"], air["04-06 06"]) == (-3.1, -4.5), "labelled by their end"
    assert hours(found, "wind_speed_ms")["04-06 07"] == pytest.approx(14 / 3.6, abs=1e-5)
    assert checked_source(found.frame, Place(68.0, 23.0, 300.0)).taken_out == ()
