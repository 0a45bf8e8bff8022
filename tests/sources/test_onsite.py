"""Files of a ground's own instruments: one trap per file in tests/sources/onsite/, all invented; the sums are worked out by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from forecaster.quantities import Origin
from forecaster.sources.onsite import logged_irrigation, read_onsite
from forecaster.weather.frame import (
    AIR_TEMPERATURE,
    ORIGIN_CODES,
    PRECIPITATION,
    RELATIVE_HUMIDITY,
    SHORTWAVE,
    SOIL_TEMPERATURE,
    WIND_SPEED,
)
from tests.sources.onsite_files import NOW, hours, raw, reading, source, told


def test_semicolons_decimal_commas_and_a_line_that_is_still_being_written() -> None:
    read = reading("semicolon_comma")
    # Labels are ends: 00:30 and 01:00 make the hour from 00:00. The half hour to 02:30 makes no whole hour.
    assert hours(read, PRECIPITATION) == {"09-01 00": 1.6, "09-01 01": 0.6}
    assert hours(read, AIR_TEMPERATURE) == {"09-01 00": 11.5, "09-01 01": 10.25}
    assert told(read.rejected) == [(7, "", "01.09.2026 03:00 1,")]
    assert "no end yet" in read.rejected[0].rule
    assert (read.understood.lines, read.understood.taken) == (6, 5)
    assert read.understood.unused == ("Batterie",)
    assert read.frame.issued_at == datetime(2026, 9, 1, 2, tzinfo=UTC)
    assert set(np.unique(read.frame.origins)) == {0, ORIGIN_CODES[Origin.OBSERVED]}


def test_a_twelve_hour_clock_names_on_two_lines_and_american_units() -> None:
    """Inch 25.4 mm and mile 1609.344 m are exact; 50 °F is 10 °C; 1.8 MJ/m² in half an hour is 1000 W/m²."""
    read = reading("twelve_hour")
    # 11:30 PM and 12:00 AM of the next date end the hour from 23:00 at five hours behind UTC: 04:00 UTC.
    assert hours(read, PRECIPITATION) == {"09-01 04": 2.54, "09-01 16": 0.0, "09-01 17": 0.0}
    assert hours(read, AIR_TEMPERATURE) == {"09-01 04": 10.0, "09-01 05": 15.0, "09-01 16": 25.0, "09-01 17": 25.0}
    assert hours(read, SHORTWAVE)["09-01 16"] == pytest.approx(750.0)
    assert hours(read, WIND_SPEED)["09-01 05"] == pytest.approx(10 * 0.44704)
    assert read.frame.wind_height_m == 3.0
    # 101 % is a humidity sensor's way to say fog.
    assert hours(read, RELATIVE_HUMIDITY)["09-01 04"] == 98.5
    assert read.rejected == ()


def test_a_running_total_that_begins_anew_at_midnight_loses_nothing() -> None:
    """At 00:00 the total still shows the old day. Winter time all year: September in Berlin is one hour ahead of UTC, not two."""
    read = reading("midnight_reset")
    assert hours(read, PRECIPITATION) == {"09-01 22": 1.0, "09-01 23": 0.2, "09-02 00": 0.4}
    assert read.understood.rain_by_day == {date(2026, 9, 1): pytest.approx(1.0), date(2026, 9, 2): pytest.approx(0.6)}
    assert read.rejected == ()


def test_a_total_that_falls_at_another_time_than_described_is_not_used() -> None:
    hourly = "time,rain\n" + "".join(f"2026-09-{1 + i // 24:02d} {i % 24:02d}:00,{((i - 9) % 24) * 0.1:.1f}\n" for i in range(24 * 4))
    wrong = read_onsite(source("midnight_reset", interval_minutes=60), hourly, now=NOW)
    assert wrong.empty
    assert "falls on 4 days at about 09:00" in wrong.doubts[0]
    column = raw("midnight_reset")["column"][0] | {"reset_at": "09:00"}
    right = read_onsite(source("midnight_reset", interval_minutes=60, column=[column]), hourly, now=NOW)
    assert right.doubts == ()
    assert set(hours(right, PRECIPITATION).values()) == {0.0, 0.1}


def test_the_degree_sign_of_older_programs() -> None:
    assert hours(reading("degree_sign_cp1252"), AIR_TEMPERATURE) == {"09-01 00": -0.5, "09-01 01": 1.5}


def test_the_hour_that_comes_twice_in_autumn_is_two_hours() -> None:
    read = reading("autumn")
    assert hours(read, PRECIPITATION) == {"10-25 23": 0.1, "10-26 00": 0.5, "10-26 01": 0.9, "10-26 02": 1.3}
    assert read.rejected == ()


def test_the_hour_that_is_skipped_in_spring_is_no_gap_and_a_time_in_it_is_rejected() -> None:
    read = reading("spring")
    assert hours(read, PRECIPITATION) == {"03-29 00": 0.3, "03-29 01": 0.7, "03-29 02": 1.1}
    assert told(read.rejected) == [(4, "time", "2026-03-29 01:30")]
    assert "forward" in read.rejected[0].rule


def test_a_zone_of_a_quarter_hour_shares_its_hours_out() -> None:
    """05:00 in Kathmandu is 23:15 UTC: an hour of ours takes 15 minutes of one line and 45 of the next."""
    read = reading("quarter_hour_zone")
    assert hours(read, PRECIPITATION) == {"09-01 00": 0.25 * 4 + 0.75 * 8, "09-01 01": 0.25 * 8}
    assert hours(read, AIR_TEMPERATURE) == {"09-01 00": 0.25 * 20 + 0.75 * 24, "09-01 01": 24.0}
    assert any("shared out" in note for note in read.understood.notes)


def test_missing_markers_are_missing_however_they_are_written_and_others_are_told() -> None:
    read = reading("missing_markers")
    assert hours(read, PRECIPITATION) == {"09-01 00": 0.2, "09-01 04": 0.0}
    assert hours(read, AIR_TEMPERATURE) == {"09-01 01": 11.0, "09-01 02": 12.0, "09-01 03": 13.0, "09-01 05": 14.0}
    assert told(read.rejected) == [(6, "temp", "-99"), (7, "rain", "n.a.")]
    assert "-80 to 60 °C" in read.rejected[0].rule


def test_doubled_lines_count_once_and_every_other_fault_is_told_with_its_line() -> None:
    read = reading("doubled_rows")
    assert hours(read, PRECIPITATION) == {"09-01 00": 0.2, "09-01 01": 0.4, "09-01 02": 0.6, "09-01 04": 1.0}
    assert hours(read, AIR_TEMPERATURE)["09-01 01"] == 12.0  # the second of two lines knows what the first does not
    assert read.understood.doubled == 2
    assert told(read.rejected) == [(7, "rain", "0.8"), (8, "time", "2026-09-01 02:20"), (9, "", "2026-09-01 03:00 0.1")]
    assert [fault.rule for fault in read.rejected] == [
        "line 2 has this time already, with '0.6'",
        "begins before the 60 minutes of line 2 are over",
        "2 cells where the header has 3",
    ]


def test_a_knocked_gauge_is_no_shower_and_a_shower_is_no_knocked_gauge() -> None:
    read = reading("knocked_bucket")
    assert hours(read, PRECIPITATION) == {"09-01 01": 18.8, "09-01 02": 0.0, "09-01 03": 12.4, "09-01 04": 12.4}
    assert told(read.rejected) == [(4, "rain", "14.2")]
    assert "knocked" in read.rejected[0].rule


def test_a_counter_that_dips_leaps_or_is_restarted_makes_no_rain_and_loses_none_in_silence() -> None:
    read = reading("counter_faults")
    assert hours(read, PRECIPITATION) == {"09-01 00": 0.2, "09-01 03": 0.0, "09-01 06": 0.2, "09-01 08": 0.2, "09-01 12": 0.2}
    assert told(read.rejected) == [(4, "total", "3.0"), (7, "total", "6553.5"), (10, "total", "0.4")]
    # 0.4 beside the dip, 0.4 beside the leap, 2.0 over the hours without readings.
    assert read.understood.unplaced_rain_mm == pytest.approx(2.8)
    assert any("2.8 mm fell while readings were missing" in note for note in read.understood.notes)


def test_probes_of_different_depth_stay_apart_and_percent_becomes_a_share() -> None:
    read = reading("soil_probe")
    by_name = {(series.quantity, series.depth_cm): series for series in read.soil}
    assert set(by_name) == {("soil-water", 5.0), ("soil-water", 15.0), ("soil-temperature", 5.0)}
    np.testing.assert_allclose(by_name["soil-water", 5.0].values, [0.22, 0.22, 0.22])
    shallow, deep = by_name["soil-water", 5.0], by_name["soil-water", 15.0]
    assert [f"{hour:%H}" for hour in shallow.hours] == ["00", "01", "02"]
    assert [f"{hour:%H}" for hour in deep.hours] == ["00", "02"]
    assert hours(read, SOIL_TEMPERATURE) == {"09-01 00": 17.5, "09-01 02": 18.25}
    assert read.frame.soil_temperature_depth_cm == 5.0
    assert told(read.rejected) == [(5, "t5", "130.0")]


def test_an_irrigation_log_of_days_is_millimetres_per_surface_and_day() -> None:
    read = reading("watering_log")
    # Two different amounts of a day are two waterings; the very same line twice is one. The last line needs no line end: people type it.
    assert logged_irrigation([read]) == {
        "green": {date(2026, 9, 1): 7.5, date(2026, 9, 3): 5.0, date(2026, 9, 6): 2.0},
        "top-pitch": {date(2026, 9, 1): 12.0},
    }
    assert read.understood.doubled == 1
    assert told(read.rejected) == [(7, "where", "Practice green"), (8, "amount", "500")]
    assert len(read.frame.values) == 0
    assert not read.empty
