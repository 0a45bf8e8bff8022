"""``forecaster validate``: on a station made here whose truth is known, and on measured ones."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from forecaster.commands.validate import (
    RAIN_INDEX,
    ROOT_ZONE,
    SEASON,
    SURFACE,
    StationResult,
    read_mapping,
    read_materials,
    read_stations,
    score_station,
    simulated_water,
)
from forecaster.commands.validation_report import as_document, print_table, sentences
from forecaster.commands.validation_weather import latitude_from_radiation, station_weather
from forecaster.errors import ConfigurationError
from forecaster.physics import radiation, soil_heat
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.station_file import StationSeries
from tests.command.test_cli import forecaster

DAYS = 366
CONFIG = shipped_folder("config")
DEPTHS = (5, 10, 20, 50)


@pytest.fixture(scope="module")
def station() -> StationSeries:
    """An invented station: a year of invented weather, its soil simulated by the model itself on loam with a little noise."""
    rng = np.random.default_rng(11)
    days = tuple(date(2020, 1, 1) + timedelta(days=number) for number in range(DAYS))
    day_of_year = np.arange(1, DAYS + 1)
    mean = 11.0 - 9.0 * np.cos(2 * np.pi * (day_of_year - 20) / 365.0) + rng.normal(0, 2, DAYS)
    cloud = rng.uniform(0.25, 1.0, DAYS)
    values = {
        "air_temperature_max_c": mean + 5,
        "air_temperature_min_c": mean - 5,
        "air_temperature_mean_c": mean,
        "precipitation_mm": np.where(rng.uniform(size=DAYS) < 0.25, rng.exponential(9.0, DAYS), 0.0),
        "shortwave_mj": 0.75 * cloud * radiation.extraterrestrial_radiation(44.0, day_of_year),
        "relative_humidity_max_percent": np.full(DAYS, 92.0),
        "relative_humidity_min_percent": np.full(DAYS, 50.0),
    }
    bare = StationSeries("made", days, values, {}, 44.0, 0.0)
    weather, _ = station_weather(bare)
    loam = read_materials(CONFIG, "loam")
    assert loam.soil is not None
    _, state = soil_heat.simulated_soil_temperature(weather.heat.on(slice(0, 365)))
    temperature, _ = soil_heat.simulated_soil_temperature(weather.heat, state=state)
    water = simulated_water({SURFACE: loam.soil, ROOT_ZONE: loam.soil}, weather, temperature, loam)
    noisy = {depth: np.clip(water[ROOT_ZONE] + rng.normal(0, 0.004, DAYS), 0.01, 0.9) for depth in DEPTHS}
    noisy[5] = np.clip(water[SURFACE] + rng.normal(0, 0.004, DAYS), 0.01, 0.9)
    measured = temperature + rng.normal(0, 0.3, DAYS)
    return replace(bare, values=values | {"soil_temperature_5cm_c": measured}, soil_water_m3m3=noisy)


@pytest.fixture(scope="module")
def result(station: StationSeries) -> StationResult:
    return score_station(station, read_materials(CONFIG, "loam"))


def changed(station: StationSeries, *, odd: bool) -> StationSeries:
    """The same station with other measured water in the odd or in the even months."""
    chosen = np.array([day.month % 2 == 1 for day in station.days]) == odd
    return replace(station, soil_water_m3m3={d: np.where(chosen, 0.6 - w, w) for d, w in station.soil_water_m3m3.items()})


def written(station: StationSeries, path: Path) -> Path:
    """The station as a file with the network's column names."""
    names = {
        "air_temperature_max_c": "t_daily_max",
        "air_temperature_min_c": "t_daily_min",
        "air_temperature_mean_c": "t_daily_avg",
        "precipitation_mm": "p_daily_calc",
        "shortwave_mj": "solarad_daily",
        "relative_humidity_max_percent": "rh_daily_max",
        "relative_humidity_min_percent": "rh_daily_min",
        "soil_temperature_5cm_c": "soil_temp_5_daily",
    }
    columns = {names[name]: values for name, values in station.values.items()}
    columns |= {f"soil_moisture_{depth}_daily": water for depth, water in station.soil_water_m3m3.items()}
    lines = [",".join(["lst_date", *columns])]
    lines += [",".join([day.isoformat(), *(f"{v[number]:.4f}" for v in columns.values())]) for number, day in enumerate(station.days)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_the_models_own_soil_with_noise_is_recognised(result: StationResult) -> None:
    """Truth is the model: what is left is the noise, 0.004 m³/m³ and 0.3 °C, whose mean absolute value is 0.3 √(2/π) = 0.24 °C."""
    surface, temperature = result.water[SURFACE], result.temperature
    assert surface is not None
    assert temperature is not None
    assert surface.correlation > 0.97
    assert surface.unbiased_rmse == pytest.approx(0.004, abs=0.001)
    assert abs(surface.bias) < 0.002
    assert temperature.mae == pytest.approx(0.3 * np.sqrt(2 / np.pi), abs=0.04)


def test_the_seasons_own_percentiles_find_a_soil_that_follows_as_well(station: StationSeries) -> None:
    own = score_station(station, read_materials(CONFIG, None)).water[SURFACE]
    assert own is not None
    assert own.correlation > 0.9


def test_measured_soil_of_even_months_never_reaches_the_parameters(station: StationSeries) -> None:
    materials = read_materials(CONFIG, None)
    before, after = score_station(station, materials), score_station(changed(station, odd=False), materials)
    assert after.contents == before.contents
    assert after.water[SURFACE] != before.water[SURFACE]  # but it is what is scored


def test_measured_soil_of_odd_months_is_never_scored(station: StationSeries, result: StationResult) -> None:
    """With a soil class nothing is taken from the series, so the model's scores must not move; the rivals, fitted on it, must."""
    after = score_station(changed(station, odd=True), read_materials(CONFIG, "loam"))
    assert after.water == result.water
    assert after.rivals[SEASON][SURFACE] != result.rivals[SEASON][SURFACE]
    assert after.rivals[RAIN_INDEX][SURFACE] != result.rivals[RAIN_INDEX][SURFACE]
    own = read_materials(CONFIG, None)
    assert score_station(changed(station, odd=True), own).contents != score_station(station, own).contents


def test_frozen_days_and_winter_are_not_scored(station: StationSeries, result: StationResult) -> None:
    """Even months March to November of 2020 have 30 + 30 + 31 + 31 days; ten of them frozen leave 112."""
    surface = result.water[SURFACE]
    assert surface is not None
    assert surface.days == 122
    soil = station.value("soil_temperature_5cm_c").copy()
    soil[100:110] = -1.0
    frozen = score_station(replace(station, values={**station.values, "soil_temperature_5cm_c": soil}), read_materials(CONFIG, "loam"))
    assert frozen.water[SURFACE] is not None
    assert frozen.water[SURFACE].days == 112


def test_what_is_missing_is_estimated_and_said(station: StationSeries) -> None:
    gone = ("shortwave_mj", "relative_humidity_min_percent", "relative_humidity_max_percent")
    values = {name: v for name, v in station.values.items() if name not in gone}
    values["precipitation_mm"] = np.where(np.arange(DAYS) < 3, np.nan, values["precipitation_mm"])
    notes = " | ".join(score_station(replace(station, values=values, elevation_m=None), read_materials(CONFIG, "loam")).notes)
    for words in (
        "elevation taken as 0 m",
        "wind taken as 2 m/s",
        "radiation from the temperature range",
        "humidity from the lowest temperature",
        "held on 3 days",
    ):
        assert words in notes


def test_a_station_without_enough_measured_soil_is_told_and_not_scored(station: StationSeries) -> None:
    gone = {5: np.where(np.arange(DAYS) < 340, np.nan, station.soil_water_m3m3[5])}
    poor = score_station(replace(station, soil_water_m3m3=gone), read_materials(CONFIG, None))
    assert poor.water == {SURFACE: None, ROOT_ZONE: None}
    assert any("surface_water not scored" in note for note in poor.notes)
    document = as_document([poor])
    assert document["stations"]["made"][SURFACE] is None
    assert document["median"][SURFACE] is None
    json.dumps(document, allow_nan=False)
    print_table([poor], Console(file=None, quiet=True))


def test_a_short_record_and_one_of_temperature_alone(station: StationSeries) -> None:
    """July alone has nothing to score; a file without soil water still has its temperature scored."""
    july = slice(182, 213)
    short = replace(
        station,
        days=station.days[july],
        values={name: v[july] for name, v in station.values.items()},
        soil_water_m3m3={depth: v[july] for depth, v in station.soil_water_m3m3.items()},
    )
    found = score_station(short, read_materials(CONFIG, None))
    assert found.water == {SURFACE: None, ROOT_ZONE: None}
    assert found.temperature is not None
    warmth = score_station(replace(station, soil_water_m3m3={}), read_materials(CONFIG, None))
    assert warmth.water == {SURFACE: None, ROOT_ZONE: None}
    assert warmth.temperature is not None
    assert warmth.temperature.mae < 0.3
    assert not warmth.humid
    assert "No station is humid" in " ".join(sentences([warmth]))


def test_weather_that_begins_late_is_scored_as_if_it_had_begun_there(station: StationSeries) -> None:
    """Two weeks without temperature at the start: the record is the one that begins after them, so nothing else may be lost."""
    late = {name: np.where(np.arange(DAYS) < 14, np.nan, v) for name, v in station.values.items()}
    found = score_station(replace(station, values=late), read_materials(CONFIG, "loam"))
    assert found.temperature is not None
    assert found.temperature.days == DAYS - 14
    assert found.temperature.mae < 0.35
    surface = found.water[SURFACE]
    assert surface is not None
    assert surface.correlation > 0.97


def test_no_score_stands_on_weather_that_is_not_there(station: StationSeries) -> None:
    """Without rain the soil is held all year: that is no simulation. A year of impossible evapotranspiration ends the same way."""
    materials = read_materials(CONFIG, "loam")
    without_rain = replace(station, values=station.values | {"precipitation_mm": np.full(DAYS, np.nan)})
    hot = {"air_temperature_max_c": 60.0, "air_temperature_mean_c": 50.0, "relative_humidity_max_percent": 2.0, "wind_speed_2m_ms": 40.0}
    hot |= {"relative_humidity_min_percent": 1.0}
    too_hot = replace(station, values=station.values | {name: np.full(DAYS, value) for name, value in hot.items()})
    for series, words in ((without_rain, "without rain or temperature"), (too_hot, "evapotranspiration not within 0 to 25 mm")):
        found = score_station(series, materials)
        assert found.water == {SURFACE: None, ROOT_ZONE: None}
        assert any("water not scored: fewer than 30 days" in note for note in found.notes)
        assert any(words in note for note in found.notes)


def test_even_months_without_measurement_are_told(station: StationSeries) -> None:
    odd = np.array([day.month % 2 == 1 for day in station.days])
    only_odd = replace(station, soil_water_m3m3={depth: np.where(odd, w, np.nan) for depth, w in station.soil_water_m3m3.items()})
    found = score_station(only_odd, read_materials(CONFIG, None))
    assert found.water == {SURFACE: None, ROOT_ZONE: None}
    assert any("surface_water not scored: fewer than two unfrozen days measured in even months" in note for note in found.notes)


def test_a_latitude_can_be_read_off_the_sunshine(station: StationSeries) -> None:
    day_of_year, month = np.arange(1, DAYS + 1), np.array([day.month for day in station.days])
    assert latitude_from_radiation(station.value("shortwave_mj"), day_of_year, month) == pytest.approx(44.0, abs=2.0)
    south = 0.75 * radiation.extraterrestrial_radiation(-38.0, day_of_year.astype(np.float64))
    assert latitude_from_radiation(south, day_of_year, month) == pytest.approx(-38.0, abs=1.0)


def test_the_document_has_the_shape_that_was_asked_for(result: StationResult) -> None:
    """Issue: {"stations": {id: {surface_water, root_zone_water, soil_temperature_5cm}}, "median": …}; median of a list by hand."""
    other = replace(result, id="dry", humid=False, temperature=replace(result.temperature, mae=2.0) if result.temperature else None)
    document = as_document([replace(result, humid=True), other])
    for part in (document["stations"]["made"], document["median"]):
        assert {"correlation", "unbiased_rmse", "rmse", "bias"} <= part["surface_water"].keys()
        assert part["surface_water"].keys() == part["root_zone_water"].keys()
        assert {"mae", "bias"} <= part["soil_temperature_5cm"].keys()
        assert {"seasonal_mean", "antecedent_precipitation"} == part["baselines"].keys()
        assert part["baselines"]["seasonal_mean"]["surface_water"].keys() == part["surface_water"].keys()
    assert document["humid_stations"] == ["made"]
    assert document["median_of_humid"]["soil_temperature_5cm"]["mae"] == result.temperature.mae if result.temperature else False
    assert document["median"]["soil_temperature_5cm"]["mae"] == pytest.approx(
        (2.0 + document["stations"]["made"]["soil_temperature_5cm"]["mae"]) / 2
    )


def test_the_words_say_what_beats_what_and_whether_goals_are_met(result: StationResult) -> None:
    humid = replace(result, humid=True)
    told = " ".join(sentences([humid]))
    assert "better than the seasonal mean at 1 of them" in told
    assert "correlation of water at 5 cm at least 0.8" in told
    assert "met." in told
    surface = result.water[SURFACE]
    assert surface is not None
    worse = replace(humid, water={**humid.water, SURFACE: replace(surface, correlation=0.5)})
    assert "at least 0.8: 0.500, missed." in " ".join(sentences([worse]))


def test_the_command_prints_json_and_a_table(station: StationSeries, tmp_path: Path) -> None:
    file = written(station, tmp_path / "made.csv")
    done = forecaster("validate", str(file), "--json", "--soil", "loam", "--latitude", "44", "--elevation", "0")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["stations"]["made"]["surface_water"]["correlation"] > 0.97
    assert document["stations"]["made"]["soil"]["surface_water"]["field_capacity_m3m3"] == 0.25  # FAO-56 Table 19, loam, middle
    assert document["stations"]["made"]["estimated"] == ["wind taken as 2 m/s"]
    table = forecaster("validate", str(file))
    assert table.returncode == 0, table.stderr
    assert "Goal, median" in table.stdout or "No station is humid" in table.stdout
    assert "latitude read off the measured radiation" in table.stdout


def test_all_mistakes_of_all_files_at_once(station: StationSeries, tmp_path: Path) -> None:
    one = written(station, tmp_path / "made.csv")
    (tmp_path / "bad.csv").write_text("lst_date\n2020-01-01\n", encoding="utf-8")
    again = tmp_path / "again"
    again.mkdir()
    twice = written(station, again / "made.csv")
    with pytest.raises(ConfigurationError) as caught:
        read_stations([one, tmp_path / "bad.csv", twice, tmp_path / "none.csv"], columns={}, latitude=44.0, elevation_m=0.0)
    assert [mistake.file for mistake in caught.value.mistakes] == ["bad.csv", "made.csv", "none.csv"]
    with pytest.raises(ConfigurationError) as caught:
        read_mapping(["date", "date=a", "date=b"])
    assert len(caught.value.mistakes) == 2
    done = forecaster("validate", str(one), "--soil", "lome")
    assert done.returncode == 1
    assert 'did you mean "loam"?' in done.stderr


def test_a_place_that_nobody_names_is_asked_for(station: StationSeries, tmp_path: Path) -> None:
    half = replace(station, values={name: v for name, v in station.values.items() if name != "shortwave_mj"})
    with pytest.raises(ConfigurationError) as caught:
        read_stations([written(half, tmp_path / "made.csv")], columns={}, latitude=None, elevation_m=None)
    assert "--latitude" in str(caught.value.mistakes[0])


@pytest.fixture(scope="module")
def measured(shared: Path) -> dict[str, StationResult]:
    """All measured stations, scored once; US Climate Reference Network (NOAA, public domain)."""
    names = ("uscrn_2020_12stations.csv", "uscrn_53974_manhattan_ks_2010_2017.csv")
    files = [shared / "observations" / name for name in names]
    materials = read_materials(CONFIG, None)
    stations = read_stations(files, columns={}, latitude=39.1, elevation_m=None)
    return {series.id: score_station(series, materials) for series in stations}


def test_the_goals_on_the_humid_stations_of_2020(measured: dict[str, StationResult]) -> None:
    """Goals of the issue: correlation 0.80, unbiased RMSE 0.040 m³/m³, temperature 1.0 °C. Seen here: 0.87, 0.034 and 0.83.

    Rain index on the same days: 0.72 and 0.050. Floor, a sketch on 24 stations of that year: 0.74, 0.043 and 1.4 °C.
    """
    document = as_document([found for name, found in measured.items() if len(name) == 5])
    assert len(document["stations"]) == 12
    assert len(document["humid_stations"]) == 9
    median = document["median_of_humid"]
    rival = median["baselines"]["antecedent_precipitation"]
    assert median["surface_water"]["correlation"] >= 0.80
    assert median["surface_water"]["unbiased_rmse"] <= 0.040
    assert median["soil_temperature_5cm"]["mae"] <= 1.0
    for layer in ("surface_water", "root_zone_water"):
        assert median[layer]["correlation"] > rival[layer]["correlation"] + 0.05
        assert median[layer]["unbiased_rmse"] < rival[layer]["unbiased_rmse"]


def test_eight_years_at_a_station_that_nothing_was_chosen_on(measured: dict[str, StationResult]) -> None:
    """Manhattan, Kansas, 2010-2017. Seen here: 0.79 and 0.076 m³/m³, rain index 0.59 and 0.101: better, but the goals are missed."""
    found = measured["uscrn_53974_manhattan_ks_2010_2017"]
    ours, rival = found.water[SURFACE], found.rivals[RAIN_INDEX][SURFACE]
    assert ours is not None
    assert rival is not None
    assert found.root_zone_depths_cm == (5, 10, 20)
    assert ours.days > 700
    assert ours.correlation > rival.correlation + 0.1
    assert ours.unbiased_rmse < rival.unbiased_rmse
    assert found.temperature is not None
    assert found.temperature.mae < 1.0
