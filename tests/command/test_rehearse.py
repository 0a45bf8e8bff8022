"""``forecaster rehearse``: rules over past seasons, from stored weather and from station files, and two files side by side."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from forecaster.commands.spin_up import invented_weather
from forecaster.settings.shipped import shipped_folder
from tests.command.conftest import invoke

RULES = shipped_folder("config") / "rules.toml"


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three invented years with dry summers, as a station file."""
    series = invented_weather("invented", dry_summer=True)
    path = tmp_path_factory.mktemp("station") / "invented.csv"
    names = ("air_temperature_max_c", "air_temperature_min_c", "precipitation_mm")
    rows = zip(series.days, *(series.values[name] for name in names), strict=True)
    lines = ["date,t_daily_max,t_daily_min,p_daily_calc", *(f"{day},{warm:.1f},{cold:.1f},{rain:.1f}" for day, warm, cold, rain in rows)]
    path.write_text("\n".join(lines) + "\n")
    return path


def test_stored_weather_is_gone_through_up_to_yesterday(run_once: Path) -> None:
    told = invoke("rehearse", "brackenholt", "--json", "--data", str(run_once))
    assert told.exit_code == 0, told.output
    (found,) = json.loads(told.stdout)
    assert found["weather"].startswith("stored weather")
    assert found["first_day"] < found["last_day"]
    spells = [spell for surface in found["surfaces"].values() for rule in surface["rules"].values() for spell in rule["spells"]]
    assert spells
    assert all(found["first_day"] <= spell["first_day"] <= spell["last_day"] <= found["last_day"] for spell in spells)


def test_a_dry_summer_raises_drought_stress_every_year_and_the_first_half_year_does_not_count(station: Path, tmp_path: Path) -> None:
    told = invoke("rehearse", "brackenholt", str(station), "--surface", "main-pitch", "--json", "--data", str(tmp_path))
    assert told.exit_code == 0, told.output
    (found,) = json.loads(told.stdout)
    assert (found["simulated_from"], found["first_day"]) == ("2001-01-01", "2001-07-02")
    drought = found["surfaces"]["main-pitch"]["rules"]["drought-stress"]["spells"]
    assert {spell["first_day"][:4] for spell in drought} == {"2001", "2002", "2003"}
    assert any("wind taken as 2 m/s" in note for note in found["notes"])


def test_two_rule_files_are_compared_day_by_day_in_table_and_chart(station: Path, tmp_path: Path) -> None:
    text = RULES.read_text(encoding="utf-8")
    never = tmp_path / "never.toml"
    never.write_text(
        text.replace("raise_at = 0.30 ", "raise_at = 0.89 ", 1).replace("Minor = 0.30, Moderate = 0.60, Severe = 0.90", "Severe = 0.90", 1)
    )
    words = ("rehearse", "brackenholt", str(station), "--surface", "main-pitch", "--against", str(never), "--data", str(tmp_path / "data"))
    told = invoke(*words, "--chart", str(tmp_path / "charts"))
    assert told.exit_code == 0, told.output
    assert "only by the configured rules" in told.stdout
    assert "Main pitch: the files differ most on “Drought stress”" in " ".join(told.stdout.split())
    assert (tmp_path / "charts" / "main-pitch.svg").read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("nowhere",), "Known are: brackenholt"),
        (("brackenholt", "--surface", "moon"), "has no surface 'moon'"),
        (("brackenholt", "--rules", "not-there.toml"), "this file must exist"),
        (("brackenholt", "--from", "1990-01-01"), "a day of stored weather"),
    ],
)
def test_what_cannot_be_done_is_said_with_what_can(run_once: Path, words: tuple[str, ...], expected: str) -> None:
    told = invoke("rehearse", *words, "--data", str(run_once))
    assert told.exit_code == 1
    assert expected in told.output


def test_without_stored_weather_it_says_what_to_do(tmp_path: Path) -> None:
    told = invoke("rehearse", "brackenholt", "--data", str(tmp_path))
    assert told.exit_code == 1
    assert "Run a cycle first, or name a station file" in told.output
