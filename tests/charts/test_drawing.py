"""Specifications are valid Vega-Lite, and the SVG holds up in a page with a strict content policy."""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import altair as alt
import pytest
import vl_convert
from hypothesis import given
from hypothesis import strategies as st

from forecaster.charts.drawing import PHONE, WIDTHS, spread
from forecaster.charts.render import render_svg
from forecaster.charts.surface import chart_set
from forecaster.documents import SurfaceOutlook
from forecaster.member_documents import MemberDay, MemberSpread
from tests.web import builders

SURFACES = {"pitch": builders.pitch, "green": builders.green, "outfield": builders.outfield}


@pytest.fixture(scope="module")
def rendered() -> dict[str, str]:
    return {name: render_svg(spec) for name, spec in chart_set(builders.pitch()).items()}


def visible_text(svg: str) -> str:
    return " ".join("".join(e.itertext()) for e in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")).replace(
        "\xa0", " "
    )


@pytest.mark.parametrize("surface", SURFACES)
def test_every_specification_is_valid_vega_lite(surface: str) -> None:
    # Altair carries the JSON schema of Vega-Lite and refuses what is not in it.
    charts = chart_set(SURFACES[surface]())
    assert set(charts) == {"water_phone", "water_wide", "ring_phone", "ring_wide"}
    for spec in charts.values():
        alt.Chart.from_dict(spec, validate=True).to_dict(validate=True)


def test_a_chart_without_days_is_not_drawn() -> None:
    assert chart_set(builders.pitch().model_copy(update={"days": ()})) == {}


def test_a_chart_without_any_number_is_still_drawn() -> None:
    blank = {
        "rain_mm": None, "irrigation_mm": None, "et0_mm": None, "sound": None, "band": None, "ring_contrast": None,
        "flush_chance_7_days": None,
    }  # fmt: skip
    nothing = builders.pitch().model_copy(update={"days": tuple(d.model_copy(update=blank) for d in builders.pitch().days)})
    for spec in chart_set(nothing).values():
        assert "Not known" in visible_text(render_svg(spec))


def test_the_svg_needs_no_style_script_or_outside(rendered: dict[str, str]) -> None:
    for svg in rendered.values():
        assert svg.startswith("<svg ")
        for element in ElementTree.fromstring(svg).iter():
            assert element.tag.rpartition("}")[2] not in {"script", "style", "image", "foreignObject"}
            assert not [name for name in element.attrib if name == "style" or name.endswith("href") or name.startswith("on")]


def test_the_drawing_has_its_whole_width_and_a_name(rendered: dict[str, str]) -> None:
    widths = {width.name: width.whole_px for width in WIDTHS}
    for name, svg in rendered.items():
        root = ElementTree.fromstring(svg)
        assert root.get("role") == "img"
        assert "Main pitch" in (root.get("aria-label") or "")
        assert root.get("width") == str(widths[name.split("_")[1]])
        assert (root.get("viewBox") or "").split()[2] == str(widths[name.split("_")[1]])


def test_colours_follow_the_page(rendered: dict[str, str]) -> None:
    for svg in rendered.values():
        for element in ElementTree.fromstring(svg).iter():
            for paint in (element.get("fill"), element.get("stroke")):
                assert paint is None or paint in {"none", "transparent"} or paint.startswith("var(--chart-"), paint


def test_lines_are_told_apart_without_colour(rendered: dict[str, str]) -> None:
    root = ElementTree.fromstring(rendered["water_wide"])
    band = [e for e in root.iter() if (e.get("stroke") or "").startswith("var(--chart-band")]
    sound = [e for e in root.iter() if (e.get("stroke") or "").startswith("var(--chart-sound")]
    assert band
    assert sound
    assert all(e.get("stroke-dasharray") for e in band)
    assert not any(e.get("stroke-dasharray") for e in sound)
    assert " sound" in visible_text(rendered["water_wide"])
    assert " band" in visible_text(rendered["water_wide"])


def test_letters_on_a_phone_are_at_least_12_px(rendered: dict[str, str]) -> None:
    for name in ("water_phone", "ring_phone"):
        sizes = [
            float((e.get("font-size") or "0").removesuffix("px"))
            for e in ElementTree.fromstring(rendered[name]).iter()
            if e.get("font-size")
        ]
        assert sizes
        assert min(sizes) >= 12


def test_axes_say_their_units(rendered: dict[str, str]) -> None:
    assert "mm a day" in visible_text(rendered["water_wide"])
    assert "% of soil volume" in visible_text(rendered["water_wide"])
    assert "drop test" in visible_text(rendered["ring_wide"])


def test_a_hostile_name_stays_text() -> None:
    evil = builders.green().model_copy(update={"surface_name": '"><script>alert(1)</script>'})
    for spec in chart_set(evil).values():
        root = ElementTree.fromstring(render_svg(spec))
        assert not list(root.iter("{http://www.w3.org/2000/svg}script"))
        assert '"><script>' in (root.get("aria-label") or "")


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "America/Los_Angeles"])
def test_days_do_not_move_with_the_zone_of_the_machine(rendered: dict[str, str], zone: str) -> None:
    code = (
        "from tests.web import builders; from forecaster.charts.surface import chart_set; from forecaster.charts.render import render_svg; "
        "print(render_svg(chart_set(builders.pitch())['water_phone']))"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=root,
        env={**os.environ, "TZ": zone, "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == rendered["water_phone"].strip()


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=6), st.floats(0.1, 50))
def test_spread_labels_keep_order_and_distance(values: list[float], gap: float) -> None:
    placed = spread(values, gap=gap)
    order = sorted(range(len(values)), key=lambda i: values[i])
    assert all(placed[b] - placed[a] >= gap - 1e-6 for a, b in pairwise(order))


def test_rendering_reaches_for_nothing_outside() -> None:
    spec: dict[str, Any] = chart_set(builders.green())["water_phone"]
    spec = {**spec, "vconcat": [{"data": {"url": "http://127.0.0.1:9/x.csv"}, "mark": "bar", "encoding": {}}]}
    with pytest.raises(ValueError, match="not allowed"):
        render_svg(spec)


def test_the_renderer_is_loaded_only_when_asked() -> None:
    code = "import sys, forecaster.charts.render, forecaster.charts.surface; print('vl_convert' in sys.modules, 'altair' in sys.modules)"
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]
    assert vl_convert.__name__ == "vl_convert"


def test_widths_leave_room_for_labels() -> None:
    assert PHONE.whole_px <= 358  # 390 px less 16 px on both sides


def outlook_without_rain() -> SurfaceOutlook:
    return builders.green().model_copy(update={"days": tuple(d.model_copy(update={"rain_mm": 0.0}) for d in builders.green().days)})


def test_irrigation_is_named_only_where_some_was_given() -> None:
    assert "irrigation" in visible_text(render_svg(chart_set(outlook_without_rain())["water_wide"]))
    assert "irrigation" not in visible_text(render_svg(chart_set(builders.pitch())["water_wide"]))


def test_weather_members_are_a_shaded_range_and_the_panel_says_so() -> None:
    water = MemberSpread(quantity="sound_surface_water_m3m3", low=0.10, median=0.15, high=0.31)
    days = tuple(
        day.model_copy(update={"members": MemberDay(members=51, spread=(water,))}) if day.lead_days >= 0 else day
        for day in builders.pitch().days
    )
    spec = chart_set(builders.pitch().model_copy(update={"days": days}))["water_wide"]
    alt.Chart.from_dict(spec, validate=True).to_dict(validate=True)
    panel = spec["vconcat"][1]
    assert "eight in ten weather members" in " ".join(panel["title"]["text"])
    (fan,) = [found for found in panel["layer"] if found["mark"]["type"] == "area"]
    assert len(fan["data"]["values"]) == sum(day.lead_days >= 0 for day in days)
    assert {(row["water"], row["high"]) for row in fan["data"]["values"]} == {(10.0, 31.0)}
    assert fan["encoding"]["y"]["scale"]["domain"][1] > 31.0, "the range stays inside the panel"
    without = chart_set(builders.pitch())["water_wide"]["vconcat"][1]
    assert "weather members" not in " ".join(without["title"]["text"])
