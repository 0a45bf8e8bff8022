"""Charts as pictures for mail, read back with Pillow."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from forecaster.charts.render import render_svg
from forecaster.charts.surface import chart_set
from forecaster.delivery.picture import PAPER, SCALE, mail_picture
from tests.alerts.builders import outlook, signal

MOST_BYTES = 60_000  # own goal: two pictures and the words of a mail in about 150 kB


@pytest.fixture(scope="module")
def svg() -> str:
    return render_svg(chart_set(outlook(signal()))["ring_phone"])


def test_a_picture_is_small_sharp_and_on_light_paper_whatever_the_mail_program_puts_behind_it(svg: str) -> None:
    png = mail_picture(svg)
    picture = Image.open(io.BytesIO(png))
    assert picture.format == "PNG"
    assert picture.mode == "P"
    assert picture.width == round(358 * SCALE)
    assert len(png) < MOST_BYTES
    colours = picture.convert("RGB").getcolors()
    assert colours is not None
    assert len(colours) > 4, "there is something on it"
    most = max(colours)[1]
    assert all(abs(found - wanted) <= 4 for found, wanted in zip(most, bytes.fromhex(PAPER[1:]), strict=True))
    assert picture.info.get("transparency") is None


def test_the_colours_are_those_of_the_page_in_daylight(svg: str) -> None:
    """The page's variables mean nothing to a picture; their light values must be drawn, not black."""
    colours = Image.open(io.BytesIO(mail_picture(svg))).convert("RGB").getcolors()
    assert colours is not None
    band = bytes.fromhex("a0431a")
    assert any(all(abs(a - b) < 24 for a, b in zip(colour, band, strict=True)) for _, colour in colours)
