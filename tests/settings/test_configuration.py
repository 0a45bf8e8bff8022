"""What a sound configuration becomes: the shipped one, and how soils and fixtures are worked out."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import fields
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest

from forecaster.errors import ConfigurationError
from forecaster.settings.configuration import Configuration, load_configuration
from forecaster.settings.model import ModelFile
from forecaster.settings.shipped import copy_shipped_config, shipped_folder
from forecaster.soil.columns import ModelParameters
from tests.settings.conftest import Edit

SHIPPED = shipped_folder("config")
HOME = "grounds/home.toml"
MARK = re.compile(r"\[[FPA]\]|own choice")


@pytest.fixture(scope="module")
def shipped() -> Configuration:
    return load_configuration(SHIPPED)


# ------------------------------------------------------------------------------------------------ the shipped configuration


def test_the_demonstration_ground_is_what_the_readme_promises(shipped: Configuration) -> None:
    (ground,) = shipped.grounds
    assert ground.sample
    assert "invented" in ground.name
    assert len({(s.root_zone.soil_class, s.use) for s in ground.surfaces}) >= 3
    assert {s.id: [ring.type for ring in s.rings] for s in ground.surfaces} == {
        "main-pitch": [1, 1, 1, 2],
        "lower-pitch": [1, 3],
        "outfield": [1, 1],
        "bowling-green": [],
    }
    assert {s.id: s.irrigation is not None for s in ground.surfaces} == {
        "main-pitch": False,
        "lower-pitch": False,
        "outfield": True,
        "bowling-green": True,
    }
    assert len(ground.fixtures) >= 6
    assert [fixture.starts_at for fixture in ground.fixtures] == sorted(fixture.starts_at for fixture in ground.fixtures)
    assert all(recipient.email.endswith("@example.org") for recipient in ground.recipients)  # RFC 2606: belongs to nobody


def test_model_toml_ships_the_defaults_of_the_model(shipped: Configuration) -> None:
    defaults = ModelParameters()
    for field in fields(ModelParameters):
        assert getattr(shipped.model, field.name) == pytest.approx(getattr(defaults, field.name), rel=1e-3), field.name
    assert set(ModelFile.model_fields) == {field.name for field in fields(ModelParameters)}


# FAO-56 (Allen, Pereira, Raes & Smith 1998), Table 19: field capacity, wilting point, readily evaporable water in 0.10 m [mm].
TABLE_19 = {
    "sand": ((0.07, 0.17), (0.02, 0.07), (2, 7)),
    "loamy-sand": ((0.11, 0.19), (0.03, 0.10), (4, 8)),
    "sandy-loam": ((0.18, 0.28), (0.06, 0.16), (6, 10)),
    "loam": ((0.20, 0.30), (0.07, 0.17), (8, 10)),
    "silt-loam": ((0.22, 0.36), (0.09, 0.21), (8, 11)),
    "silt": ((0.28, 0.36), (0.12, 0.22), (8, 11)),
    "silty-clay-loam": ((0.30, 0.37), (0.17, 0.24), (8, 11)),
    "silty-clay": ((0.30, 0.42), (0.17, 0.29), (8, 12)),
    "clay": ((0.32, 0.40), (0.20, 0.24), (8, 12)),
}


def test_shipped_soils_are_the_middle_of_table_19() -> None:
    soils = {soil["id"]: soil for soil in tomllib.loads((SHIPPED / "soils.toml").read_text(encoding="utf-8"))["soil"]}
    assert set(soils) == {*TABLE_19, "sand-rootzone"}
    for name, (capacity, wilting, evaporable) in TABLE_19.items():
        soil = soils[name]
        assert soil["field_capacity_m3m3"] == pytest.approx(sum(capacity) / 2)
        assert soil["wilting_point_m3m3"] == pytest.approx(sum(wilting) / 2)
        assert soil["readily_evaporable_10cm_mm"] == pytest.approx(sum(evaporable) / 2)
    shares = [
        soils[name]["readily_evaporable_10cm_mm"]
        / (100.0 * (soils[name]["field_capacity_m3m3"] - 0.5 * soils[name]["wilting_point_m3m3"]))  # TEW of 0.10 m, eq. 73
        for name in TABLE_19
    ]
    assert (round(min(shares), 2), round(max(shares), 2)) == (0.40, 0.51), "as the comment beside evaporable_share says"


def test_shipped_turf_has_the_coefficients_of_fao_56() -> None:
    turf = {kind["id"]: kind for kind in tomllib.loads((SHIPPED / "turf.toml").read_text(encoding="utf-8"))["turf"]}
    # FAO-56 Table 17 (Kcb, mid-season) and Table 22 (p).
    assert (turf["cool-season"]["basal_crop_coefficient"], turf["cool-season"]["depletion_fraction"]) == (0.90, 0.40)
    assert (turf["warm-season"]["basal_crop_coefficient"], turf["warm-season"]["depletion_fraction"]) == (0.80, 0.50)


def keys_without_source(text: str) -> Iterator[str]:
    """Keys that no comment with a mark covers: behind it, in lines right below or above it, above its table, or at the file's head."""
    above: list[str] = []
    table = head = ""
    in_head, key, notes = True, "", ""

    def finished() -> Iterator[str]:
        if key and not MARK.search(notes):
            yield key

    for line in [*text.splitlines(), ""]:
        stripped = line.strip()
        comment = stripped.partition("#")[2] if not stripped.startswith('"') else ""
        if stripped.startswith("#"):
            if line.startswith(" ") and key:
                notes += comment  # goes on with the comment behind the key
                continue
            above.append(comment)
        elif stripped.startswith("["):
            yield from finished()
            key, table, above = "", " ".join((stripped, *above)), []
            in_head = False
        elif re.match(r"[a-z0-9_-]+ *=", stripped):
            yield from finished()
            key = stripped.split("=")[0].strip()
            notes = " ".join((comment, *above, table, head))
            above = []
            if key == "quantity" and table.startswith("[[rule.condition]]"):
                table += comment  # says why the condition is there, limits included
        elif not stripped and above:
            if in_head:
                head += " ".join(line for line in above if not line.startswith(" Marks:") and "Everything in this file" in line)
            above, in_head = [], False
    yield from finished()


# An id, a name and the words of a rule are the entry's own; a rule names where it comes from in its `source`.
NAMING = {"id", "name", "title", "source", "quantity", "reason", "headline_now", "headline_ahead", "lead_days", "ring_types", "cautions"}
NAMING |= {"throughout"}


@pytest.mark.parametrize("path", sorted(SHIPPED.rglob("*.toml")), ids=lambda path: path.name)
def test_every_shipped_value_names_its_source(path: Path) -> None:
    assert [key for key in keys_without_source(path.read_text(encoding="utf-8")) if key not in NAMING] == []


def test_the_search_for_sources_finds_a_value_without_one() -> None:
    text = '# Marks: [F] published\n\n[[soil]]\na = 1  # [A]\nb = 2\n# [P]\nc = 3\nd = "#"  # read\n\n[x]  # [F] all of it\ne = 1\n'
    assert list(keys_without_source(text)) == ["b", "d"]


# ------------------------------------------------------------------------------------------------ from TOML to objects


def test_a_surface_takes_its_soil_class_and_turf_type(folder: Path) -> None:
    surface = load_configuration(folder).grounds[0].surfaces[0]
    zone = surface.root_zone
    assert (zone.soil_class, zone.field_capacity_m3m3, zone.wilting_point_m3m3, zone.saturation_m3m3) == ("sandy loam", 0.23, 0.11, 0.40)
    # Table 19's 8 mm hold for 0.10 m; half the layer keeps the same share of the total evaporable water: 4 mm. Status: assumption.
    assert zone.readily_evaporable_mm == pytest.approx(4.0)
    # Wilting point + 0.45 of the available water: 0.11 + 0.45 × 0.12. Status: assumption.
    assert zone.critical_water_sound_m3m3 == zone.critical_water_band_m3m3 == pytest.approx(0.164)
    assert surface.turf.growth_ramp_c == (4.0, 14.0, 26.0, 34.0)
    assert surface.irrigation is None


def test_own_field_capacity_and_wilting_point_are_enough_without_a_soil_class(folder: Path) -> None:
    surface = load_configuration(folder).grounds[0].surfaces[1]
    zone = surface.root_zone
    assert (zone.soil_class, zone.field_capacity_m3m3, zone.wilting_point_m3m3) == ("own numbers", 0.17, 0.04)
    # 0.45 of 1000 (0.17 - 0.02) 0.05 = 7.5 mm (FAO-56 eq. 73); the share is an assumption.
    assert zone.readily_evaporable_mm == pytest.approx(0.45 * 7.5)
    assert surface.turf.height_m == 0.005
    assert surface.irrigation is not None
    assert surface.irrigation.amount_mm == 13.0
    assert surface.rings[0].surveyed == date(2025, 9, 18)


def test_own_numbers_replace_those_of_the_class(folder: Path, edit: Edit) -> None:
    edit(
        "grounds/home.toml",
        '[[surface]]\nid = "green"',
        '[surface.root_zone]\ncritical_water_band_m3m3 = 0.20\npotential_repellency_sound_log10_s = 0.0\n\n[[surface]]\nid = "green"',
    )
    zone = load_configuration(folder).grounds[0].surfaces[0].root_zone
    assert (zone.critical_water_sound_m3m3, zone.critical_water_band_m3m3) == (pytest.approx(0.164), 0.20)
    assert (zone.potential_repellency_sound_log10_s, zone.potential_repellency_band_log10_s) == (0.0, 4.0)


def test_fixtures_are_wall_clock_times_of_the_ground(folder: Path, edit: Edit) -> None:
    ground = load_configuration(folder).grounds[0]
    assert ground.fixtures[0].starts_at == datetime(2026, 9, 12, 13, 0, tzinfo=UTC)  # 14:00 summer time in London
    assert ground.recipients[0].daily_at == time(6, 0)


def test_an_hour_that_comes_twice_is_taken_the_first_time(folder: Path, edit: Edit) -> None:
    # IANA time zone database, Europe/London: clocks go back at 01:00 UTC on 25 October 2026.
    edit(
        "grounds/home.toml",
        'starts = "2026-09-12T14:00"\nends = "2026-09-12T16:00"',
        'starts = "2026-10-25T01:30"\nends = "2026-10-25T03:00"',
    )
    fixture = next(f for f in load_configuration(folder).grounds[0].fixtures if f.id == "cup-final")
    assert (fixture.starts_at, fixture.ends_at) == (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 3, 0, tzinfo=UTC))


def test_a_csv_file_is_found_from_the_configuration_folder(folder: Path, edit: Edit) -> None:
    (folder / "station.csv").write_text("time\n", encoding="utf-8")
    edit("grounds/home.toml", 'source = "sample"', 'source = "csv"\nfile = "station.csv"')
    weather = load_configuration(folder).grounds[0].weather
    assert (weather.source, weather.path) == ("csv", str((folder / "station.csv").resolve()))


def test_rules_carry_the_words_of_their_cautions(folder: Path) -> None:
    (rule,) = load_configuration(folder).rules
    assert rule.cautions == ("Keep off brown turf.",)
    assert [(band.severity.value, band.value) for band in rule.severity_bands] == [("Minor", 0.3), ("Severe", 0.6)]
    assert (rule.rising, rule.months, rule.conditions[0].at_most) == (True, (4, 5, 6, 7, 8, 9), 40.0)


# ------------------------------------------------------------------------------------------------ the shipped folders


def test_the_shipped_configuration_is_copied_whole_and_loads(tmp_path: Path, shipped: Configuration) -> None:
    written = copy_shipped_config(tmp_path / "mine")
    assert Path("grounds/brackenholt.toml") in written
    assert load_configuration(tmp_path / "mine") == shipped


@pytest.mark.parametrize("prepare", [lambda path: path.mkdir() or (path / "rules.toml").touch(), lambda path: path.touch()])
def test_nothing_of_the_users_is_overwritten(tmp_path: Path, prepare: Callable[[Path], object]) -> None:
    target = tmp_path / "mine"
    prepare(target)
    with pytest.raises(ConfigurationError, match="1 mistake") as caught:
        copy_shipped_config(target)
    assert "nothing was overwritten" in caught.value.hint


def test_a_wheel_finds_its_own_folders_before_those_beside_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "site-packages" / "forecaster"
    for folder in (package / "_shipped" / "config", package.parent / "config", package.parent / "sample_weather"):
        folder.mkdir(parents=True)
    monkeypatch.setattr("forecaster.settings.shipped.PACKAGE", package)
    assert shipped_folder("config") == package / "_shipped" / "config"
    assert shipped_folder("sample_weather") == package.parent / "sample_weather"
    (package.parent / "sample_weather").rmdir()
    with pytest.raises(ConfigurationError):
        shipped_folder("sample_weather")
