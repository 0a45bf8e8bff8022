"""Weather from a CSV file: what is taken in, and every mistake at once."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.quantities import Origin
from forecaster.sources.csv_file import read_weather_csv
from forecaster.weather.frame import AIR_TEMPERATURE, ORIGIN_CODES, PRECIPITATION, SHORTWAVE, HourlyWeather, WeatherSource

NOW = datetime(2026, 9, 1, 3, 20, tzinfo=UTC)
SOURCE = WeatherSource(name="Club station", attribution="The club's own station", licence="own data")
NAN = float("nan")


def read(folder: Path, text: str, *, past: Origin = Origin.OBSERVED) -> HourlyWeather:
    path = folder / "station.csv"
    path.write_text(text, encoding="utf-8")
    return read_weather_csv(path, source=SOURCE, wind_height_m=2.0, now=NOW, past=past)


def mistakes(folder: Path, text: str) -> str:
    with pytest.raises(WeatherMalformed) as caught:
        read(folder, text)
    assert caught.value.source == SOURCE.name
    assert caught.value.hint
    return caught.value.message


def test_columns_may_be_few_and_in_any_order(tmp_path: Path) -> None:
    weather = read(tmp_path, "precipitation_mm,time_utc,air_temperature_c\n0.2,2026-09-01T00:00Z,14.1\n0,2026-09-01T01:00:00Z,-3\n")
    assert weather.values[PRECIPITATION].tolist() == [0.2, 0.0]
    assert weather.values[AIR_TEMPERATURE].tolist() == [14.1, -3.0]
    assert weather.values.drop(columns=[PRECIPITATION, AIR_TEMPERATURE]).isna().all(axis=None)
    assert weather.values.index[0] == pd.Timestamp("2026-09-01 00:00", tz="UTC")
    assert (weather.source, weather.wind_height_m) == (SOURCE, 2.0)


def test_an_empty_cell_and_an_hour_left_out_are_missing(tmp_path: Path) -> None:
    weather = read(tmp_path, "time_utc,precipitation_mm\n2026-09-01T00:00Z,\n2026-09-01T02:00Z,1.5\n\n")
    np.testing.assert_array_equal(weather.values[PRECIPITATION], [NAN, NAN, 1.5])
    assert weather.origins[PRECIPITATION].tolist() == [0, 0, ORIGIN_CODES[Origin.OBSERVED]]


def test_lines_may_stand_in_any_order(tmp_path: Path) -> None:
    weather = read(tmp_path, "time_utc,precipitation_mm\n2026-09-01T01:00Z,1\n2026-09-01T00:00Z,0\n")
    assert weather.values[PRECIPITATION].tolist() == [0.0, 1.0]


def test_files_from_spreadsheets_are_read(tmp_path: Path) -> None:
    text = '\ufefftime_utc,precipitation_mm\r\n"2026-09-01T00:00Z", 0.4 \r\n'  # byte order mark, CRLF, quotes, spaces
    assert read(tmp_path, text).values[PRECIPITATION].tolist() == [0.4]


def test_origin_follows_the_column_and_otherwise_the_time(tmp_path: Path) -> None:
    words = ("modelled", "forecast", "", "")
    text = "time_utc,precipitation_mm,origin\n" + "\n".join(f"2026-09-01T{hour:02d}:00Z,0,{word}" for hour, word in enumerate(words))
    expected = [Origin.MODELLED, Origin.FORECAST, Origin.OBSERVED, Origin.FORECAST]
    assert read(tmp_path, text).origins[PRECIPITATION].tolist() == [ORIGIN_CODES[origin] for origin in expected]
    past = read(tmp_path, text, past=Origin.MODELLED).origins[PRECIPITATION].iloc[2]
    assert past == ORIGIN_CODES[Origin.MODELLED]


def test_a_file_that_stopped_growing_grows_old(tmp_path: Path) -> None:
    stopped = read(tmp_path, "time_utc,precipitation_mm\n2026-08-28T00:00Z,0\n2026-08-28T01:00Z,\n")
    assert stopped.issued_at == datetime(2026, 8, 28, 1, tzinfo=UTC)


def test_forecast_hours_do_not_make_a_file_younger_and_none_is_from_the_future(tmp_path: Path) -> None:
    head = "time_utc,precipitation_mm,origin\n"
    both = read(tmp_path, head + "2026-08-28T00:00Z,0,observed\n2026-09-04T00:00Z,0,forecast\n")
    assert both.issued_at == datetime(2026, 8, 28, 1, tzinfo=UTC)
    assert read(tmp_path, head + "2026-09-03T00:00Z,0,forecast\n").issued_at == NOW
    assert read(tmp_path, head + "2026-08-30T00:00Z,0,forecast\n").issued_at == datetime(2026, 8, 30, tzinfo=UTC)


def test_radiation_a_little_below_zero_becomes_zero(tmp_path: Path) -> None:
    assert read(tmp_path, "time_utc,shortwave_wm2\n2026-09-01T00:00Z,-2.5\n").values[SHORTWAVE].tolist() == [0.0]


def test_every_mistake_is_named_with_line_column_value_and_what_is_allowed(tmp_path: Path) -> None:
    message = mistakes(
        tmp_path,
        "time_utc,air_temperature_c,precipitation_mm,origin\n"
        "2026-09-01T00:00Z,warm,0,observed\n"
        "2026-09-01T01:00,14,0,observed\n"
        "2026-09-01T02:30Z,14,0,observed\n"
        "2026-09-01T03:00Z,14,-1,guessed\n"
        "2026-09-01T00:00Z,14,0,observed\n"
        "2026-09-01T04:00Z,14\n"
        "2026-09-01T05:00Z,nan,0,\n"
        "2206-09-01T05:00Z,14,0,\n",
    )
    assert message.startswith("station.csv has 9 mistakes: ")
    for said in (
        "line 2: air_temperature_c = 'warm': must be a number from -80 to 60, or empty",
        "line 3: time_utc = '2026-09-01T01:00': must be a full UTC hour",
        "line 4: time_utc = '2026-09-01T02:30Z': must be a full UTC hour",
        "line 5: precipitation_mm = '-1': must be a number from 0 to 305",
        "line 5: origin = 'guessed': allowed are observed, modelled, forecast or nothing",
        "line 6: time_utc = '2026-09-01T00:00Z': line 2 has this hour already",
        "line 7: 2 cells where the header has 4",
        "line 8: air_temperature_c = 'nan'",
        "line 9: time_utc = '2206-09-01T05:00Z': must lie between 1900 and 2026-10-31",
    ):
        assert said in message


@pytest.mark.parametrize(
    "stamp", ["2026-09-01T00:00+00:00", "2026-09-01 00:00Z", "2026-09-01T00:00:01Z", "01.09.2026", "2026-02-30T00:00Z", ""]
)
def test_only_full_utc_hours_marked_as_such_are_taken(tmp_path: Path, stamp: str) -> None:
    assert "line 2: time_utc" in mistakes(tmp_path, f"time_utc,precipitation_mm\n{stamp},0\n")


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("time_utc,rain_mm", "column 'rain_mm': allowed are time_utc, air_temperature_c"),
        ("air_temperature_c", "column 'time_utc' is missing"),
        ("time_utc", "no weather column"),
        ("time_utc,origin", "no weather column"),
        ("time_utc,precipitation_mm,precipitation_mm", "column 'precipitation_mm': stands there twice"),
        ("", "column 'time_utc' is missing"),
    ],
)
def test_a_wrong_header_is_named(tmp_path: Path, header: str, said: str) -> None:
    assert said in mistakes(tmp_path, f"{header}\n2026-09-01T00:00Z,0\n")


def test_a_file_without_hours_is_a_mistake(tmp_path: Path) -> None:
    assert "no hour in the file" in mistakes(tmp_path, "time_utc,precipitation_mm\n")


def test_of_many_mistakes_twenty_are_spelt_out_and_all_are_counted(tmp_path: Path) -> None:
    lines = [f"2026-08-{day:02d}T00:00Z,wet" for day in range(1, 31)]
    message = mistakes(tmp_path, "time_utc,precipitation_mm\n" + "\n".join(lines))
    assert message.startswith("station.csv has 30 mistakes: ")
    assert message.count("'wet'") == 20
    assert message.endswith("; and 10 more")


def test_a_file_that_is_not_there_or_not_text_says_so(tmp_path: Path) -> None:
    with pytest.raises(WeatherUnavailable, match=r"station\.csv cannot be read: No such file"):
        read_weather_csv(tmp_path / "station.csv", source=SOURCE, wind_height_m=2.0, now=NOW)
    (tmp_path / "station.csv").write_bytes(b"time_utc,precipitation_mm\n\xff\xfe")
    with pytest.raises(WeatherMalformed, match="not UTF-8"):
        read_weather_csv(tmp_path / "station.csv", source=SOURCE, wind_height_m=2.0, now=NOW)
