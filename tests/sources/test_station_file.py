"""Station files: the network's columns, a mapping, gaps, and every mistake at once."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.sources.station_file import joined, read_station_file

HEADER = "WBANNO,LST_DATE,LATITUDE,T_DAILY_MAX,T_DAILY_MIN,T_DAILY_AVG,P_DAILY_CALC,SOIL_MOISTURE_5_DAILY,SOIL_TEMP_5_DAILY"


def written(folder: Path, *lines: str, name: str = "station.csv") -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_the_networks_columns_dates_and_missing_codes(tmp_path: Path) -> None:
    """Codes -9999 and -99, days as 20200101: the network's daily files (its own README; memory)."""
    path = written(
        tmp_path,
        HEADER,
        "00123,20200101,40.5,5.0,-2.0,1.5,0.0,-99.000,0.4",
        "00123,2020-01-04,40.5,7.0,1.0,-9999.0,12.5,0.31,",
        "00777,20200102,-33,30,20,25,0,0.1,22",
    )
    first, second = read_station_file(path, columns={})
    assert (first.id, second.id) == ("00123", "00777")
    assert (first.latitude, second.latitude, first.elevation_m) == (40.5, -33.0, None)
    assert first.days == tuple(date(2020, 1, day) for day in range(1, 5))
    assert first.value("precipitation_mm")[[0, 3]].tolist() == [0.0, 12.5]
    assert np.isnan(first.value("precipitation_mm")[1:3]).all()
    assert np.isnan(first.value("air_temperature_mean_c")[3])
    assert np.isnan(first.soil_water_m3m3[5][0])
    assert first.soil_water_m3m3[5][3] == 0.31
    assert np.isnan(first.value("wind_speed_2m_ms")).all()


def test_a_mapping_names_other_columns_and_the_file_names_the_station(tmp_path: Path) -> None:
    path = written(tmp_path, "day,hot,cold,rain,Wet8", "2021-05-01,20,10,3,0.25", name="park.csv")
    columns = {"date": "day", "air_temperature_max_c": "hot", "air_temperature_min_c": "COLD", "precipitation_mm": "rain"}
    (series,) = read_station_file(path, columns={**columns, "soil_water_8cm_m3m3": "wet8"})
    assert series.id == "park"
    assert series.soil_water_m3m3[8].tolist() == [0.25]
    assert series.value("air_temperature_min_c").tolist() == [10.0]


def test_every_mistake_of_the_lines_at_once(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        HEADER,
        "1,2020-13-01,40,5,-2,1,0,0.3,1",
        "1,2020-01-02,40,5,-2,1,-4,31,1",
        "1,2020-01-03,40,5,8,1,0,0.3,1",
        "1,2020-01-03,40,5,1,x,0,0.3,1",
        "1,2020-01-05,40",
    )
    with pytest.raises(WeatherMalformed) as caught:
        read_station_file(path, columns={})
    for words in (
        "7 mistakes",
        "line 2: date = '2020-13-01'",
        "line 3: precipitation_mm = '-4': must be a number from 0 to 1825",
        "line 3: soil_water_5cm_m3m3 = '31': must be a number from 0 to 1",
        "line 4: lowest air temperature 8 above the highest",
        "line 5: 2020-01-03 of station 1 stands there twice",
        "line 6: 3 cells where the header has 9",
    ):
        assert words in caught.value.message


def test_every_mistake_of_the_header_and_the_mapping_at_once(tmp_path: Path) -> None:
    path = written(tmp_path, "lst_date,t_daily_max,t_daily_max", "2020-01-01,1,2")
    with pytest.raises(WeatherMalformed) as caught:
        read_station_file(path, columns={"sunshine": "a", "precipitation_mm": "b"})
    for words in (
        "column 't_daily_max': stands there twice",
        "no column for air_temperature_min_c: looked for t_daily_min",
        "no column for precipitation_mm: looked for b",
        "mapping: sunshine = a: names are station, date",
        "mapping: precipitation_mm = b: the file has no such column",
        "no measured soil",
    ):
        assert words in caught.value.message
    assert "--map" in caught.value.hint


def test_a_file_that_is_not_there_or_empty(tmp_path: Path) -> None:
    with pytest.raises(WeatherUnavailable, match="cannot be read"):
        read_station_file(tmp_path / "none.csv", columns={})
    with pytest.raises(WeatherMalformed, match="no day in the file"):
        read_station_file(written(tmp_path, HEADER), columns={})


def test_years_of_one_station_in_two_files_make_one_series(tmp_path: Path) -> None:
    new = written(tmp_path, HEADER, "1,2021-01-01,40,6,1,3,2,0.4,3", name="b.csv")
    old = written(tmp_path, HEADER, "1,2020-12-30,40,5,0,2,1,0.3,2", name="a.csv")
    (late,), (early,) = read_station_file(new, columns={}), read_station_file(old, columns={})
    both = joined(late, early)
    assert both.days == (date(2020, 12, 30), date(2020, 12, 31), date(2021, 1, 1))
    assert both.value("precipitation_mm").tolist() == pytest.approx([1.0, np.nan, 2.0], nan_ok=True)
    assert both.soil_water_m3m3[5].tolist() == pytest.approx([0.3, np.nan, 0.4], nan_ok=True)
    with pytest.raises(ValueError, match="2020-12-30 stands in two files"):
        joined(both, early)
