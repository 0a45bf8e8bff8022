"""The invented sample weather: marked as such, whole, and physically possible."""

from __future__ import annotations

import runpy
import shutil
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.quantities import Origin
from forecaster.sources.sample import Sample, load_sample, load_sample_members
from forecaster.weather import frame
from forecaster.weather.frame import ORIGIN_CODES

FOLDER = Path(__file__).resolve().parents[2] / "sample_weather"
NAMES = (frame.AIR_TEMPERATURE, frame.DEW_POINT, frame.RELATIVE_HUMIDITY, frame.WIND_SPEED, frame.SHORTWAVE, frame.PRECIPITATION)


@pytest.fixture(scope="module")
def sample() -> Sample:
    return load_sample(FOLDER)


@pytest.fixture(scope="module")
def days(sample: Sample) -> pd.DataFrame:
    """Local days: rain [mm], lowest, mean and highest temperature [°C], radiation [MJ/m²]."""
    grouped = sample.weather.values.tz_convert(sample.place.time_zone).resample("D")
    temperature = grouped[frame.AIR_TEMPERATURE]
    rain, radiation = grouped[frame.PRECIPITATION].sum(), grouped[frame.SHORTWAVE].sum() * 0.0036
    return pd.DataFrame(
        {"rain": rain, "low": temperature.min(), "mean": temperature.mean(), "high": temperature.max(), "radiation": radiation}
    )


def test_it_says_that_it_is_invented(sample: Sample) -> None:
    assert sample.weather.source.sample
    assert "invented" in sample.weather.source.name.lower()
    assert "invented" in sample.weather.source.attribution.lower()
    assert sample.statement in sample.weather.notes
    assert "invented" in (FOLDER / "README.md").read_text().lower()


def test_it_stands_still_at_its_own_now(sample: Sample) -> None:
    assert sample.now == datetime(2026, 9, 12, 5, tzinfo=UTC)
    assert sample.weather.issued_at == sample.now
    index = sample.weather.values.index
    assert index[0] == pd.Timestamp("2025-03-01 00:00", tz="UTC")
    # The last hour of the 14th full local day after today.
    assert (index[-1] + pd.Timedelta(hours=1)).tz_convert("Europe/London") == pd.Timestamp("2026-09-27 00:00", tz="Europe/London")


def test_what_is_past_is_observed_and_the_rest_forecast_without_a_gap(sample: Sample) -> None:
    values, origins = sample.weather.values[list(NAMES)], sample.weather.origins[list(NAMES)]
    assert values.notna().all(axis=None)
    past = values.index < pd.Timestamp(sample.now)
    assert (origins[past] == ORIGIN_CODES[Origin.OBSERVED]).all(axis=None)
    assert (origins[~past] == ORIGIN_CODES[Origin.FORECAST]).all(axis=None)
    assert sample.weather.values[frame.SOIL_TEMPERATURE].isna().all()


def test_dew_point_never_exceeds_temperature_and_agrees_with_humidity(sample: Sample) -> None:
    # Source: FAO-56 eq. 11 (saturation vapour pressure) and the definition of relative humidity.
    values = sample.weather.values
    temperature, dew = values[frame.AIR_TEMPERATURE], values[frame.DEW_POINT]
    assert (dew <= temperature).all()
    pressure = [0.6108 * np.exp(17.27 * t / (t + 237.3)) for t in (dew, temperature)]
    np.testing.assert_allclose(values[frame.RELATIVE_HUMIDITY], 100 * pressure[0] / pressure[1], atol=0.51)


def test_nights_are_dark_and_no_hour_or_day_outshines_a_clear_sky(sample: Sample, days: pd.DataFrame) -> None:
    radiation = sample.weather.values[frame.SHORTWAVE]
    midnight = radiation[radiation.index.hour.isin([22, 23, 0, 1, 2])]  # at 52° N the sun is down then on every day of the year
    assert (midnight == 0).all()
    assert (radiation[radiation.index.hour == 12] > 0).all()
    # Source: FAO-56 eqs 21, 23-25 (extraterrestrial radiation) and 37 (clear sky, 0.75 + 2e-5 z), at 52.0° N and 60 m.
    day = days.index.day_of_year.to_numpy()
    latitude = np.radians(52.0)
    declination = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    sunset = np.arccos(-np.tan(latitude) * np.tan(declination))
    distance = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    height = sunset * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    clear = (0.75 + 2e-5 * 60) * 24 * 60 / np.pi * 0.0820 * distance * height
    share = days["radiation"].to_numpy() / clear
    assert share.max() < 1.05  # FAO-56 annex 5: clear days come within a few per cent (memory)
    assert share.min() > 0.15
    # Brightest about solar noon, 12:00 UTC at 0.5° W.
    assert radiation.groupby(radiation.index.hour).mean().idxmax() in (11, 12)


def test_days_are_warmest_in_the_afternoon_and_coldest_about_sunrise(sample: Sample) -> None:
    hours = sample.weather.values[[frame.AIR_TEMPERATURE, frame.WIND_SPEED]].groupby(sample.weather.values.index.hour).mean()
    assert hours[frame.AIR_TEMPERATURE].idxmax() in (13, 14, 15)
    assert hours[frame.AIR_TEMPERATURE].idxmin() in (3, 4, 5, 6)
    assert hours[frame.WIND_SPEED].idxmax() in (12, 13, 14, 15)


def test_changes_from_hour_to_hour_are_those_of_real_air(sample: Sample) -> None:
    # 8 °C in an hour is the step at which station data are doubted (practice).
    assert sample.weather.values[frame.AIR_TEMPERATURE].diff().abs().max() < 8.0
    assert sample.weather.values[frame.RELATIVE_HUMIDITY].max() < 100  # no fog
    assert sample.weather.values[frame.PRECIPITATION].max() < 15.0


def test_the_story_is_told(days: pd.DataFrame) -> None:
    rain = days["rain"]
    months = rain.groupby(rain.index.strftime("%Y-%m")).sum()
    print(months.round(1).to_string())

    def between(first: str, last: str) -> pd.Series:
        return rain[first:last]

    # 2025: no dry spell of a week in the growing season.
    assert between("2025-05-01", "2025-09-30").rolling(7).sum().min() > 2.0
    assert (months["2025-05":"2025-08"] > 60).all()
    # 2026: a wet spring, then three months with hardly any rain, then rain again.
    assert months["2026-03"] > 55
    assert months["2026-04"] > 55
    assert between("2026-05-25", "2026-08-27").sum() < 15
    assert between("2026-05-25", "2026-08-27").max() < 4
    assert between("2026-08-28", "2026-08-29").sum() == pytest.approx(14.0, abs=0.5)
    assert between("2026-08-28", "2026-09-11").rolling(6).sum().min() > 8
    assert between("2026-08-28", "2026-09-11").sum() > 50
    # The forecast: 20 mm on Tuesday, dry and mild Saturdays.
    assert rain["2026-09-15"] == pytest.approx(20.0, abs=1.0)
    for saturday in ("2026-09-12", "2026-09-19", "2026-09-26"):
        assert rain[saturday] == 0
        assert 16 < days["high"][saturday] < 23


def test_september_2026_is_cool_but_not_cold(days: pd.DataFrame) -> None:
    # The mean air temperature of the day stands in for soil at 5 cm (NC State Extension turf alert, 10 March 2011): 13-17 °C wanted.
    september = days["2026-09-01":"2026-09-26"]
    assert 13.0 < september["mean"].mean() < 17.0
    assert september["low"].min() > 5.5


def test_the_files_are_what_the_script_writes() -> None:
    script = runpy.run_path(str(FOLDER / "make_sample.py"))
    stamps, columns = script["make_hours"]()
    written = pd.concat([pd.read_csv(FOLDER / "history.csv"), pd.read_csv(FOLDER / "forecast.csv")], ignore_index=True)
    assert written["time_utc"].tolist() == [f"{stamp:%Y-%m-%dT%H:%MZ}" for stamp in stamps[: len(written)]]
    for name in NAMES:
        # One unit of the last digit: another build of numpy may round the other way.
        unit = 1.0 if name in (frame.RELATIVE_HUMIDITY, frame.SHORTWAVE) else 0.1
        np.testing.assert_allclose(written[name], columns[name][: len(written)], atol=1.01 * unit, rtol=0)


def test_the_members_are_what_the_script_writes_and_the_first_is_the_forecast(sample: Sample) -> None:
    script = runpy.run_path(str(FOLDER / "make_sample.py"))
    stamps, columns = script["make_hours"]()
    coming = np.array([script["NOW"] <= stamp <= script["LAST"] for stamp in stamps])
    days = tuple(script["FIRST"].date() + timedelta(days=n) for n in range(len(stamps) // 24))
    written, expected = load_sample_members(FOLDER), script["make_members"](columns, coming, script["clear_sky_of_hours"](days))
    assert written.members == len(expected) == 21
    assert written.issued_at == sample.now
    ahead = sample.weather.values[pd.Timestamp(sample.now) :]
    assert list(written.hours) == list(ahead.index)
    for name in NAMES:
        unit = 1.0 if name in (frame.RELATIVE_HUMIDITY, frame.SHORTWAVE) else 0.1
        np.testing.assert_allclose(written.values[name], np.stack([member[name] for member in expected]), atol=1.01 * unit, rtol=0)
        np.testing.assert_allclose(written.values[name][0], ahead[name], atol=1e-4)
    assert written.source.sample


def test_members_drift_apart_and_stay_possible() -> None:
    members = load_sample_members(FOLDER)
    temperature, dew = members.values[frame.AIR_TEMPERATURE], members.values[frame.DEW_POINT]
    assert (dew <= temperature).all()
    apart = temperature.std(axis=0)
    assert apart[:24].mean() < 0.5 < 1.5 < apart[-72:].mean() < 4.0
    assert (members.values[frame.PRECIPITATION] >= 0).all()
    totals = members.values[frame.PRECIPITATION].sum(axis=1)
    assert 0.6 < totals.mean() / totals[0] < 1.4
    assert totals.std() > 5.0
    night = members.hours.hour.isin([23, 0, 1, 2])
    assert (members.values[frame.SHORTWAVE][:, night] == 0).all()


def test_the_folder_stays_small() -> None:
    assert sum(path.stat().st_size for path in FOLDER.iterdir() if path.is_file()) < 1_000_000


# ---------------------------------------------------------------- damaged folders


def test_a_missing_folder_or_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(WeatherUnavailable, match=r"sample\.toml") as caught:
        load_sample(tmp_path)
    assert caught.value.hint
    shutil.copy(FOLDER / "sample.toml", tmp_path)
    with pytest.raises(WeatherUnavailable, match=r"history\.csv"):
        load_sample(tmp_path)


def test_a_manifest_that_lacks_a_key_or_is_no_toml_is_malformed(tmp_path: Path) -> None:
    text = (FOLDER / "sample.toml").read_text()
    assert "statement" in tomllib.loads(text)
    (tmp_path / "sample.toml").write_text(text.replace("statement =", "stated ="))
    with pytest.raises(WeatherMalformed, match="statement"):
        load_sample(tmp_path)
    (tmp_path / "sample.toml").write_text("now = yesterday")
    with pytest.raises(WeatherMalformed, match="not TOML"):
        load_sample(tmp_path)


def test_history_and_forecast_must_meet_at_now(tmp_path: Path) -> None:
    shutil.copytree(FOLDER, tmp_path / "s")
    manifest = tmp_path / "s" / "sample.toml"
    manifest.write_text(manifest.read_text().replace("2026-09-12T05:00:00Z", "2026-09-12T06:00:00Z"))
    with pytest.raises(WeatherMalformed, match="at its now"):
        load_sample(tmp_path / "s")


def test_members_that_are_missing_or_torn_are_said(tmp_path: Path) -> None:
    shutil.copy(FOLDER / "sample.toml", tmp_path)
    with pytest.raises(WeatherUnavailable, match=r"members\.csv"):
        load_sample_members(tmp_path)
    lines = (FOLDER / "members.csv").read_text().splitlines()
    (tmp_path / "members.csv").write_text("\n".join(lines[:-5]))
    with pytest.raises(WeatherMalformed, match="members"):
        load_sample_members(tmp_path)
