"""The page of a ground says what is wrong with its calendar, and the API how it stands."""

from __future__ import annotations

from datetime import timedelta

from starlette.testclient import TestClient

from forecaster.calendar_documents import CalendarStanding
from forecaster.web.app import create_app
from forecaster.web.calendar_words import calendar_sentences
from tests.web import builders

STANDING = CalendarStanding(
    fetched_at_utc=builders.NOW - timedelta(hours=7),
    problem="The calendar's host fixtures.example was not found.",
    not_placed=("<b>Fair</b>", "Committee"),
    not_placed_count=2,
)


def client_with(standing: CalendarStanding | None) -> TestClient:
    ground = builders.ground().model_copy(update={"calendar": standing})
    store = builders.MemoryStore(ground_list=[ground])
    return TestClient(create_app(store, now=lambda: builders.NOW), base_url="http://localhost")


def test_the_page_says_what_is_wrong_and_how_old_the_fixtures_are() -> None:
    page = client_with(STANDING).get("/grounds/thistlefold").text
    assert "<strong>Calendar:</strong> The calendar&#39;s host fixtures.example was not found." in page
    assert "Its fixtures are as they were 7 hours ago." in page
    assert "2 coming events name no surface and are left out: &lt;b&gt;Fair&lt;/b&gt;, Committee." in page


def test_a_ground_without_a_calendar_or_with_a_sound_one_says_nothing() -> None:
    sound = CalendarStanding(fetched_at_utc=builders.NOW - timedelta(hours=2), problem=None, not_placed=(), not_placed_count=0)
    for standing in (None, sound):
        assert "<strong>Calendar:</strong>" not in client_with(standing).get("/grounds/thistlefold").text


def test_one_that_is_no_longer_fetched_is_old_without_a_failure() -> None:
    old = CalendarStanding(fetched_at_utc=builders.NOW - timedelta(hours=30), problem=None, not_placed=(), not_placed_count=0)
    assert calendar_sentences(old, builders.NOW) == ("Its fixtures are as they were 30 hours ago.",)
    many = old.model_copy(update={"not_placed": ("Fair",), "not_placed_count": 40, "fetched_at_utc": builders.NOW})
    assert calendar_sentences(many, builders.NOW) == ("40 coming events name no surface and are left out: Fair, ….",)


def test_the_api_tells_it_too() -> None:
    assert client_with(STANDING).get("/api/v1/grounds/thistlefold").json()["ground"]["calendar"]["not_placed_count"] == 2
