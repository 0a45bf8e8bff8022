"""What is known of a ground's weather, on its page and in the API."""

from __future__ import annotations

from datetime import timedelta

from starlette.testclient import TestClient

from forecaster.weather_report import NotUsed
from forecaster.web import examples
from forecaster.web.answers import WeatherReportAnswer
from forecaster.web.app import create_app
from forecaster.web.weather_words import weather_view
from tests.web.builders import NOW, MemoryStore


def client_for(store: MemoryStore) -> TestClient:
    return TestClient(create_app(store, now=lambda: NOW), base_url="http://localhost", raise_server_exceptions=False)


REPORT = WeatherReportAnswer.model_validate(examples.BY_PATH["/api/v1/grounds/{ground}/weather/report"]).report


def test_the_api_tells_what_was_not_used_with_what_stood_there_and_where_sources_differ() -> None:
    answer = client_for(MemoryStore()).get("/api/v1/grounds/thistlefold/weather/report")
    assert answer.status_code == 200
    body = answer.json()["report"]
    assert body["not_used"][0]["originals"] == [{"hour_utc": "2026-09-03T08:00:00Z", "value": 14.2}]
    assert body["differences"][0]["hours"] == 2206
    assert body["rough_from_utc"]


def test_before_the_first_cycle_the_api_says_that_nothing_is_stored() -> None:
    answer = client_for(MemoryStore(outlook_list=[])).get("/api/v1/grounds/thistlefold/weather/report")
    assert answer.status_code == 404
    assert "Nothing is stored" in answer.text


def test_the_page_says_how_many_values_were_not_used_and_which() -> None:
    text = client_for(MemoryStore()).get("/grounds/thistlefold", headers={"accept": "text/html"}).text
    assert "Weather: 1 source, 1 value was not used" in text
    assert "a knocked gauge, or a sprinkler (3 Sep 10:00 14.2 mm)." in text
    assert "trust the day, not the hour" in text


def test_nothing_that_was_kept_out_is_counted_as_nothing() -> None:
    view = weather_view(REPORT.model_copy(update={"not_used": (), "differences": (), "rough_from_utc": None}), NOW, "Europe/London")
    assert view is not None
    assert (view.summary, view.not_used, view.differences, view.rough) == ("Weather: 1 source, nothing was kept out", (), None, None)
    assert weather_view(None, NOW, "Europe/London") is None


def test_what_a_file_s_reader_left_out_shows_the_lines() -> None:
    left = NotUsed(
        source="own gauge", quantity="Rain", unit="", check="file", why="not a number", limits="", basis="", count=9,
        first_hour_utc=None, last_hour_utc=None, examples=("a.csv line 3: 'x': not a number",),
    )  # fmt: skip
    view = weather_view(REPORT.model_copy(update={"not_used": (left,)}), NOW + timedelta(hours=1), "Europe/London")
    assert view is not None
    assert view.not_used == ("9 values of Rain from own gauge: not a number (a.csv line 3: 'x': not a number).",)
