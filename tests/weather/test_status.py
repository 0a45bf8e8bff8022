"""Missing or old weather is always said, in one plain sentence."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta

import pytest

from forecaster.weather.frame import AIR_TEMPERATURE, PRECIPITATION, HourlyWeather
from forecaster.weather.status import age_in_words, weather_status
from tests.weather.invented import SOURCE, hourly

NOW = datetime(2026, 9, 12, 5, 20, tzinfo=UTC)
NAN = float("nan")


def issued(hours_ago: float, *, days_ahead: int = 10, **changes: list[float]) -> HourlyWeather:
    hours = 24 * (days_ahead + 5)
    columns = {PRECIPITATION: [0.0] * hours, AIR_TEMPERATURE: [15.0] * hours, **changes}
    return hourly("2026-09-07 05:00", columns, issued_at=NOW - timedelta(hours=hours_ago))


def test_new_weather_is_fresh_and_names_its_source_and_age() -> None:
    status = weather_status(issued(2.0), now=NOW, stale_after_hours=36, problem=None)
    assert (status.state, status.text) == ("fresh", "Weather from Test station, 2 hours old.")
    assert (status.source, status.attribution, status.licence, status.link) == (
        SOURCE.name,
        SOURCE.attribution,
        SOURCE.licence,
        SOURCE.link,
    )
    assert status.age_hours == 2.0
    assert status.issued_at_utc == NOW - timedelta(hours=2)
    assert not status.sample


def test_a_failed_pull_is_said_even_while_the_weather_is_fresh() -> None:
    status = weather_status(issued(7.0), now=NOW, stale_after_hours=36, problem="Test station could not be reached.")
    assert status.state == "fresh"
    assert status.text == "Weather from Test station, 7 hours old. The newest pull failed: Test station could not be reached."
    assert status.problem == "Test station could not be reached."


def test_old_weather_is_stale_and_says_why() -> None:
    status = weather_status(issued(75.0), now=NOW, stale_after_hours=36, problem="Test station could not be reached")
    assert (status.state, status.text) == ("stale", "Weather is 3 days old: Test station could not be reached.")


def test_old_weather_without_a_known_cause_says_so() -> None:
    status = weather_status(issued(40.0), now=NOW, stale_after_hours=36, problem=None)
    assert (status.state, status.text) == ("stale", "Weather is 40 hours old: nothing newer has come from Test station.")


def test_the_limit_itself_is_not_yet_stale() -> None:
    assert weather_status(issued(36.0), now=NOW, stale_after_hours=36).state == "fresh"
    assert weather_status(issued(36.01), now=NOW, stale_after_hours=36).state == "stale"


def test_no_weather_is_missing_with_and_without_a_cause() -> None:
    status = weather_status(None, now=NOW, stale_after_hours=36, problem="Test station could not be reached.")
    assert (status.state, status.text) == ("missing", "No weather: Test station could not be reached.")
    assert status.age_hours is None
    assert weather_status(None, now=NOW, stale_after_hours=36).text == "No weather: none has been fetched yet."


def test_a_forecast_that_has_run_out_is_missing_however_new_it_is() -> None:
    # Five days of hours, the last one starting 04:00: the hour of now is not among them.
    status = weather_status(issued(0.1, days_ahead=0), now=NOW, stale_after_hours=36)
    assert status.state == "missing"
    assert "has run out" in status.text


def test_the_last_hour_that_contains_now_still_counts() -> None:
    frame = hourly("2026-09-12 05:00", {PRECIPITATION: [0.0], AIR_TEMPERATURE: [15.0]}, issued_at=NOW)
    assert weather_status(frame, now=NOW, stale_after_hours=36).state == "fresh"


@pytest.mark.parametrize("name", [PRECIPITATION, AIR_TEMPERATURE])
def test_a_future_without_rain_or_temperature_is_missing(name: str) -> None:
    frame = issued(1.0, **{name: [15.0] * 120 + [NAN] * 240})
    assert weather_status(frame, now=NOW, stale_after_hours=36).state == "missing"


def test_sample_weather_says_that_it_is_invented() -> None:
    frame = issued(0.0)
    sample = dataclasses.replace(frame, source=dataclasses.replace(SOURCE, sample=True))
    status = weather_status(sample, now=NOW, stale_after_hours=36)
    assert status.sample
    assert "nvented" in status.text


def test_an_issue_dated_after_now_is_not_older_than_nothing() -> None:
    status = weather_status(issued(-3.0), now=NOW, stale_after_hours=36)
    assert (status.age_hours, status.state) == (0.0, "fresh")


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0.0, "less than an hour"),
        (1.0, "1 hour"),
        (1.99, "1 hour"),
        (2.0, "2 hours"),
        (47.9, "47 hours"),
        (48.0, "2 days"),
        (75.0, "3 days"),
    ],
)
def test_ages_are_said_as_people_say_them(hours: float, words: str) -> None:
    assert age_in_words(hours) == words
