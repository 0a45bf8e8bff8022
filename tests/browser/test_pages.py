"""On a phone, in a browser: what a groundsperson sees in ten seconds."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.web import builders

pytestmark = pytest.mark.enable_socket  # the driver speaks with the browser through sockets of its own

GROUND = "/grounds/thistlefold"
PITCH = f"{GROUND}/surfaces/main-pitch"
OUTFIELD = f"{GROUND}/surfaces/outfield"
ALL = ("/", GROUND, PITCH, f"{GROUND}/surfaces/bowling-green", OUTFIELD)
SAMPLE = "Sample weather: invented ground, invented weather."


@pytest.fixture(params=["light", "dark"])
def phone(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 390, "height": 844}, color_scheme=request.param, java_script_enabled=True)
    page = context.new_page()
    page.set_default_timeout(15_000)
    yield page
    context.close()


def test_every_page_fits_a_phone_says_sample_and_asks_for_nothing_else(phone: Page, address: str) -> None:
    complaints: list[str] = []
    elsewhere: list[str] = []
    phone.on("console", lambda message: complaints.append(message.text))
    phone.on("pageerror", lambda error: complaints.append(str(error)))
    phone.on("request", lambda request: None if request.url.startswith(address) else elsewhere.append(request.url))
    for path in ALL:
        phone.goto(address + path)
        expect(phone.get_by_text(SAMPLE)).to_be_visible()
        assert phone.evaluate("document.documentElement.scrollWidth") <= 390, path
    assert complaints == []
    assert elsewhere == []


def test_the_first_screen_tells_which_surface_when_and_why(phone: Page, address: str) -> None:
    phone.goto(address + GROUND)
    lead = builders.PITCH_SIGNALS[0]
    for text in ("Severe", "Main pitch", builders.pitch().headline, lead.when, lead.reason):
        box = phone.get_by_text(text).first.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 844, text
    expect(phone.get_by_text("Not known", exact=True).first).to_be_visible()
    expect(phone.get_by_text("Nothing against it", exact=True).first).to_be_visible()


def test_the_drawn_letters_of_the_charts_fit_and_follow_the_scheme(phone: Page, address: str) -> None:
    phone.goto(address + PITCH)
    charts = phone.locator(".chart.phone svg")
    expect(charts).to_have_count(2)
    for index in range(2):
        chart = charts.nth(index)
        expect(chart).to_be_visible()
        whole = chart.bounding_box()
        assert whole is not None
        letters = chart.locator("text")
        for box in letters.evaluate_all("found => found.map(e => e.getBoundingClientRect().toJSON())"):
            assert box["left"] >= whole["x"] - 1
            assert box["right"] <= whole["x"] + whole["width"] + 1
            assert box["height"] >= 12  # px on the screen
    expect(phone.locator(".chart.wide svg").first).to_be_hidden()
    dark = phone.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    painted = phone.locator(".chart.phone svg text").first.evaluate("e => getComputedStyle(e).fill")
    assert painted == ("rgb(189, 179, 161)" if dark else "rgb(92, 85, 74)")  # --chart-soft of the style sheet


def test_a_severity_is_a_shape_as_well_as_a_word(phone: Page, address: str) -> None:
    phone.goto(address + GROUND)
    shapes = phone.locator(".card .head use").evaluate_all("found => found.map(e => e.getAttribute('href'))")
    assert shapes == ["#shape-severe", "#shape-unknown", "#shape-quiet"]
    for box in phone.locator(".card .head .shape").evaluate_all("found => found.map(e => e.getBoundingClientRect().toJSON())"):
        assert box["width"] >= 12
        assert box["height"] >= 12


def test_a_keyboard_reaches_the_content_and_the_tables(phone: Page, address: str) -> None:
    phone.goto(address + PITCH)
    phone.keyboard.press("Tab")
    expect(phone.locator(".skip")).to_be_focused()
    expect(phone.locator(".skip")).to_be_in_viewport()
    summary = phone.locator("figure summary").first
    summary.focus()
    phone.keyboard.press("Enter")
    expect(phone.locator("figure table").first).to_be_visible()
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390


def test_wide_screens_and_paper_get_the_wide_charts(browser: Browser, address: str) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(address + PITCH)
    expect(page.locator(".chart.wide svg").first).to_be_visible()
    expect(page.locator(".chart.phone svg").first).to_be_hidden()
    page.set_viewport_size({"width": 794, "height": 1123})  # A4 at 96 px per inch
    page.emulate_media(media="print")
    expect(page.locator(".chart.wide svg").first).to_be_visible()
    expect(page.get_by_text(SAMPLE)).to_be_visible()
    context.close()
