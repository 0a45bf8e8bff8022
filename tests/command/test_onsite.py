"""``forecaster onsite`` as people type it, and the shipped examples: each reads a file of its kind when it is copied into a ground."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from forecaster.settings.configuration import load_configuration
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.onsite import logged_irrigation, onsite_readings
from forecaster.weather.frame import AIR_TEMPERATURE, PRECIPITATION, SHORTWAVE, WIND_SPEED
from tests.command.conftest import invoke

TESTS = Path(__file__).resolve().parent.parent
FILES = TESTS / "sources" / "onsite"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return Path(shutil.copytree(TESTS / "config_mistakes" / "base", tmp_path / "config"))


def test_a_dry_run_shows_what_was_understood_and_stores_nothing(config: Path) -> None:
    before = sorted(config.rglob("*"))
    done = invoke("onsite", str(FILES / "midnight_reset.csv"), "--ground", "home", "--entry", "gauge", "--config", str(config))
    assert done.exit_code == 0
    for words in (
        "on the clock of Europe/Berlin, winter time all year round",
        "Interval: 30 minutes; a time labels the end of its interval.",
        "Period: 2026-09-01 21:00 to 2026-09-02 01:00 UTC.",
        "Column rain is rain in mm, a running total that begins anew at 00:00.",
        "Lines: 8, of which 7 taken. Values or lines rejected: 0.",
        "  2026-09-01  1.0 mm",
        "Would be used: 3 whole hours of precipitation_mm, 0.2 to 1.0.",
    ):
        assert words in done.stdout
    assert sorted(config.rglob("*")) == before


def test_rejected_lines_are_shown_with_the_reason(config: Path, tmp_path: Path) -> None:
    text = (FILES / "midnight_reset.csv").read_text(encoding="utf-8").replace("01 23:30,4.6", "01 23:30,[4.6]")
    text += "".join(f"2026-13-{day:02d} 00:00,1.0\n" for day in range(1, 13))
    file = tmp_path / "bad.csv"
    file.write_text(text, encoding="utf-8")
    done = invoke("onsite", str(file), "--ground", "home", "--entry", "gauge", "--config", str(config))
    assert done.exit_code == 0
    assert "Values or lines rejected: 13." in done.stdout
    assert "line 4: rain = '[4.6]': not a number with decimal '.', and not a missing marker" in done.stdout
    assert "and 3 more, 3 of them: must be a time like '2026-04-03 17:05'" in done.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--ground", "hoem", "--entry", "gauge"), "there is no ground 'hoem'. Known are: home."),
        (("--ground", "home", "--entry", "guage"), "Entries: gauge, watering, probe."),
        (("--ground", "home", "--entry", "gauge", "gone.csv"), "gone.csv cannot be read"),
        (("--ground", "home", "--entry", "gauge", str(FILES / "third_of_april.csv")), "no line has a time like '2026-04-03 17:05'"),
    ],
)
def test_nothing_understood_is_one_message_and_exit_1(config: Path, words: tuple[str, ...], told: str) -> None:
    file = () if words[-1].endswith(".csv") else (str(FILES / "midnight_reset.csv"),)
    done = invoke("onsite", *file, *words, "--config", str(config))
    assert done.exit_code == 1
    assert told in done.stderr


def test_a_file_without_one_whole_hour_is_exit_1(config: Path, tmp_path: Path) -> None:
    file = tmp_path / "short.csv"
    file.write_text("time,rain\n2026-09-01 00:30,1.0\n", encoding="utf-8")
    done = invoke("onsite", str(file), "--ground", "home", "--entry", "gauge", "--config", str(config))
    assert done.exit_code == 1
    assert "Nothing would be used." in done.stdout


# ------------------------------------------------------------------ the shipped examples

GAUGE = "Date;Time;Rain total\n" + "".join(f"01.07.2026;{m // 60:02d}:{m % 60:02d};{m // 150},0\n" for m in range(0, 1440, 15))
STATION = (
    "\t\tTemp\tHum\tWind\tSolar\t\nDate\tTime\tOut\tOut\tSpeed\tEnergy\tRain\n"
    "07/01/2026\t12:30 PM\t68.0\t50\t10.0\t1.8\t0.00\n07/01/2026\t1:00 PM\t68.0\t50\t10.0\t1.8\t0.10\n"
)
PROBE = (
    "timestamp,moisture 5,moisture 15,temperature 5\n2026-07-01T12:00:00+01:00,20.0,25.0,18.0\n2026-07-01T12:30:00+01:00,22.0,NaN,19.0\n"
)
LOG = "day;where;amount\n01.07.2026;Green;4,5\n02.07.2026;Outfield;13\n"


def test_the_shipped_examples_read_what_they_describe(tmp_path: Path) -> None:
    config = Path(shutil.copytree(shipped_folder("config"), tmp_path / "config"))
    assert load_configuration(config).grounds[0].onsite == ()  # examples are not active by lying there
    ground_file = config / "grounds" / "brackenholt.toml"
    examples = sorted((config / "onsite").glob("*.toml"))
    assert [path.stem for path in examples] == ["irrigation-log", "rain-gauge", "soil-probe", "weather-station"]
    copied = "\n".join(path.read_text(encoding="utf-8") for path in examples)
    ground_file.write_text(ground_file.read_text(encoding="utf-8") + "\n" + copied, encoding="utf-8")
    for name, text in (("gauge/july.csv", GAUGE), ("station/july.txt", STATION), ("probe.csv", PROBE), ("watering.csv", LOG)):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    (ground,) = load_configuration(config).grounds
    now = datetime(2026, 9, 10, tzinfo=UTC)
    readings = onsite_readings(ground, now=now)
    assert [(fault.file, fault.rule) for reading in readings for fault in reading.rejected] == []
    assert logged_irrigation(readings) == {"bowling-green": {date(2026, 7, 1): 4.5}, "outfield": {date(2026, 7, 2): 13.0}}
    gauge, probe, station = (reading.frame for reading in readings if len(reading.frame.values))
    # The total climbs by 1 mm every 150 minutes: 9 mm up to 23:45. Nothing is known of 23:45 to 24:00, so not of that hour.
    assert gauge.values[PRECIPITATION].sum() == pytest.approx(9.0)
    assert len(gauge.values) == 23  # the reading of 00:00 is the base for the first hour
    hour = station.values.loc["2026-07-01 16:00+00:00"]  # noon of New York's summer
    np.testing.assert_allclose(
        hour[[AIR_TEMPERATURE, WIND_SPEED, SHORTWAVE, PRECIPITATION]].to_numpy(dtype=float), [20.0, 4.4704, 1000.0, 2.54]
    )
    assert (station.wind_height_m, probe.soil_temperature_depth_cm) == (3.0, 5.0)
    by_depth = {(series.quantity, series.depth_cm): series.values.tolist() for series in readings[2].soil}
    assert by_depth["soil-water", 5.0] == pytest.approx([0.21])
    assert by_depth["soil-water", 15.0] == []


def test_a_folder_that_has_gone_since_is_a_problem_and_the_others_are_read(config: Path) -> None:
    (ground,) = load_configuration(config).grounds
    shutil.rmtree(config / "instruments")
    readings = onsite_readings(ground, now=datetime(2026, 9, 10, tzinfo=UTC))
    assert len(readings) == 3
    assert all("cannot be read" in reading.problems[0] for reading in readings)
    assert all(len(reading.frame.values) == 0 for reading in readings)
