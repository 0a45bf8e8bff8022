"""In a browser: signing in with a key, mistyping it, and signing out, without a line of script."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from forecaster.web.access import Doors
from tests.browser.conftest import served
from tests.web.keyed import Service, make_service

pytestmark = pytest.mark.enable_socket  # the driver speaks with the browser through sockets of its own


@pytest.fixture
def keyed(tmp_path: Path) -> Iterator[tuple[Service, str]]:
    service, close = make_service(tmp_path)
    service.doors = Doors(keys_needed=True, bound_to="0.0.0.0")
    with served(service.app()) as address:
        yield service, address
    close()


@pytest.fixture(params=[(390, "light"), (390, "dark"), (1280, "light")], ids=str)
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    width, scheme = request.param
    context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme, java_script_enabled=True)
    opened = context.new_page()
    opened.set_default_timeout(15_000)
    yield opened
    context.close()


def fits(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


def test_somebody_with_a_key_gets_in_where_they_wanted_to_go_and_out_again(page: Page, keyed: tuple[Service, str]) -> None:
    service, address = keyed
    key = service.key("Pavilion tablet")
    refused: list[str] = []
    page.on("console", lambda message: refused.append(message.text) if "Security Policy" in message.text else None)

    page.goto(f"{address}/grounds/thistlefold")
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.get_by_label("Key").fill(key[:-1])
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("This key opens nothing")
    assert fits(page)

    page.get_by_label("Key").fill(key)
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{address}/grounds/thistlefold")
    expect(page.get_by_text("Signed in with the key Pavilion tablet, for reading.")).to_be_visible()
    assert fits(page)
    assert page.evaluate("document.cookie") == ""  # HttpOnly

    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.goto(f"{address}/grounds/thistlefold")
    expect(page).to_have_url(f"{address}/sign-in?next=/grounds/thistlefold")
    assert refused == []


def test_a_form_on_another_site_changes_nothing(page: Page, keyed: tuple[Service, str], tmp_path: Path) -> None:
    """A page that is not ours sends the browser to our sign-out, with its cookies as far as it gives them away."""
    service, address = keyed
    page.goto(f"{address}/sign-in")
    page.get_by_label("Key").fill(service.key())
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
    trap = tmp_path / "trap.html"
    trap.write_text(f'<form method="post" action="{address}/sign-out"><button>Win a mower</button></form>', encoding="utf-8")
    page.goto(trap.as_uri())
    page.get_by_role("button", name="Win a mower").click()
    expect(page.get_by_text("cross-site-refused")).to_be_visible()
    page.goto(address)
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
