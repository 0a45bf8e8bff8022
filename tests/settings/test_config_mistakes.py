"""Each file of tests/config_mistakes/ spoils one place of a sound configuration: exactly that must be told, in useful words."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from forecaster.errors import ConfigurationError, Mistake
from forecaster.settings.configuration import load_configuration
from forecaster.settings.mistakes import describe_mistakes
from tests.settings.conftest import MISTAKES, Edit

CASES = sorted(MISTAKES.glob("*.toml"))


def mistakes_of(folder: Path) -> tuple[Mistake, ...]:
    with pytest.raises(ConfigurationError) as caught:
        load_configuration(folder)
    return caught.value.mistakes


@pytest.mark.parametrize("case", [pytest.param(path, id=path.stem) for path in CASES])
def test_one_mistake_is_told_once_with_file_key_value_and_what_is_allowed(case: Path, folder: Path, edit: Edit) -> None:
    spoil = tomllib.loads(case.read_text(encoding="utf-8"))
    edit(spoil["file"], spoil["find"], spoil["put"])
    (mistake,) = mistakes_of(folder)
    assert (mistake.file, mistake.key) == (spoil["file"], spoil["key"])
    if "value" in spoil:
        assert mistake.value == spoil["value"]
    for words in spoil["allowed"]:
        assert words in mistake.allowed


def test_the_unspoilt_configuration_has_no_mistakes(folder: Path) -> None:
    assert [ground.id for ground in load_configuration(folder).grounds] == ["home"]


def test_mistakes_in_many_files_are_all_listed_at_once(folder: Path, edit: Edit) -> None:
    chosen = [
        "soil_evaporable_above_total",
        "turf_ramp_falls",
        "shares_do_not_make_one",
        "service_days_beyond_source",
        "caution_unknown",
        "quantity_unknown",
        "depth_out_of_range",
        "true_for_a_number",
        "zone_is_a_city",
        "fixture_ends_before_start",
        "two_emails",
        "wilting_point_above_capacity",
    ]
    expected = set()
    for name in chosen:
        spoil = tomllib.loads((MISTAKES / f"{name}.toml").read_text(encoding="utf-8"))
        edit(spoil["file"], spoil["find"], spoil["put"])
        expected.add((spoil["file"], spoil["key"]))
    assert sorted((m.file, m.key) for m in mistakes_of(folder)) == sorted(expected)


def test_two_grounds_of_one_id_are_a_mistake(folder: Path) -> None:
    text = (folder / "grounds" / "home.toml").read_text(encoding="utf-8")
    (folder / "grounds" / "other.toml").write_text(text, encoding="utf-8")
    (mistake,) = mistakes_of(folder)
    assert (mistake.file, mistake.key) == ("grounds/other.toml", "id")
    assert "grounds/home.toml has this one already" in mistake.allowed


@pytest.mark.parametrize(
    "file", ["soils.toml", "turf.toml", "rules.toml", "cautions.toml", "model.toml", "service.toml", "operations.toml"]
)
def test_a_missing_file_is_told_once_and_not_at_everything_that_refers_to_it(folder: Path, file: str) -> None:
    (folder / file).unlink()
    (mistake,) = mistakes_of(folder)
    assert (mistake.file, mistake.key, mistake.value) == (file, "(file)", "(missing)")


def test_no_grounds_and_no_folder_are_mistakes(folder: Path, tmp_path: Path) -> None:
    (folder / "grounds" / "home.toml").unlink()
    (mistake,) = mistakes_of(folder)
    assert (mistake.file, mistake.allowed) == ("grounds/", "at least one ground: a file like grounds/home.toml")
    (mistake,) = mistakes_of(tmp_path / "nowhere")
    assert mistake.file == str(tmp_path / "nowhere")


def test_a_file_in_another_encoding_is_told_with_its_line(folder: Path) -> None:
    path = folder / "grounds" / "home.toml"
    path.write_bytes(path.read_bytes().replace(b'name = "Home ground"', 'name = "Höhe"'.encode("cp1252")))
    (mistake,) = mistakes_of(folder)
    assert (mistake.key, mistake.value) == ("line 2", '"byte 0xf6"')
    assert "UTF-8" in mistake.allowed


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(folder: Path) -> None:
    path = folder / "grounds" / "home.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert load_configuration(folder).grounds[0].name == "Home ground"


def test_a_table_where_a_list_belongs_is_a_mistake_and_nothing_worse(folder: Path) -> None:
    (folder / "rules.toml").write_text('rule = [5, { id = "x" }]', encoding="utf-8")
    (folder / "grounds" / "home.toml").write_text(
        'surface = 3\nfixture = ["x"]\nrecipient = "me"\n[weather]\nsource = 5\n', encoding="utf-8"
    )
    keys = {(m.file, m.key) for m in mistakes_of(folder)}
    assert {("rules.toml", "rule[1]"), ("rules.toml", "rule[2].quantity"), ("grounds/home.toml", "fixture[1]")} <= keys
    assert {("grounds/home.toml", key) for key in ("surface", "recipient", "weather.source", "id")} <= keys


def test_the_terminal_text_has_a_heading_per_file_and_a_line_per_mistake() -> None:
    error = ConfigurationError(
        [Mistake("b.toml", "x", "1", "at most 0"), Mistake("a.toml", "y", "2", "at most 1"), Mistake("b.toml", "z", "3", "at most 2")],
        hint="Correct them.",
    )
    assert describe_mistakes(error).splitlines() == [
        "3 mistakes in the configuration:",
        "",
        "a.toml",
        "  y = 2: at most 1",
        "",
        "b.toml",
        "  x = 1: at most 0",
        "  z = 3: at most 2",
        "",
        "Correct them.",
    ]
