"""Days, ages and numbers as people write them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from forecaster.web.views import opening
from forecaster.web.wording import age_words, day_words, fixture_words, number_words, time_words

NOW = datetime(2026, 9, 10, 6, tzinfo=UTC)


def test_days_carry_their_weekday() -> None:
    assert day_words(date(2026, 9, 10)) == f"{date(2026, 9, 10):%A} 10 September"


def test_times_are_the_ground_s_own() -> None:
    # Clocks in Paris go back on 25 October 2026 at 01:00 UTC (EU directive 2000/84/EC: last Sunday of October).
    assert time_words(datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "Europe/Paris").endswith("02:30")
    assert time_words(datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "Europe/Paris").endswith("02:30")
    assert time_words(datetime(2026, 9, 10, 20, 0, tzinfo=UTC), "Pacific/Auckland") == "Friday 11 September, 08:00"


def test_a_fixture_past_midnight_names_both_days() -> None:
    words = fixture_words(
        "Floodlit final", datetime(2026, 9, 12, 20, 0, tzinfo=UTC), datetime(2026, 9, 12, 23, 0, tzinfo=UTC), "Europe/Paris", now=NOW
    )
    assert words == "Saturday 12 September, 22:00 to Sunday 13 September, 01:00: Floodlit final"


def test_a_fixture_of_today_or_one_that_is_on_says_so() -> None:
    def told(now: datetime) -> str:
        return fixture_words("Cup", datetime(2026, 9, 12, 13, tzinfo=UTC), datetime(2026, 9, 12, 15, tzinfo=UTC), "Europe/Paris", now=now)

    assert told(datetime(2026, 9, 12, 6, tzinfo=UTC)) == "today, 15:00 to 17:00: Cup"
    assert told(datetime(2026, 9, 12, 14, tzinfo=UTC)) == "now, until 17:00: Cup"


@pytest.mark.parametrize(("hours", "words"), [(0.2, "less than an hour"), (1.9, "1 hour"), (31, "31 hours"), (50, "2 days")])
def test_ages_are_rounded_down(hours: float, words: str) -> None:
    assert age_words(timedelta(hours=hours)) == words


def test_numbers_know_not_known_from_zero() -> None:
    assert number_words(None) == "–"
    assert number_words(0.0, decimals=1) == "0"
    assert number_words(9.0, decimals=1) == "9.0"
    assert number_words(9.0, decimals=1, trimmed=True) == "9"
    assert number_words(2.1, decimals=1, trimmed=True) == "2.1"
    assert number_words(20.0, trimmed=True) == "20"
    assert number_words(-0.01, decimals=1) == "0.0"
    assert number_words(-3.25, decimals=1) == "\N{MINUS SIGN}3.2"


def test_an_opening_is_made_of_whole_sentences() -> None:
    text = "Rain of 1.5 mm. Of it 1.2 mm are lost. More follows."
    assert opening(text, letters=10) == "Rain of 1.5 mm."
    assert opening(text, letters=16) == "Rain of 1.5 mm. Of it 1.2 mm are lost."
    assert opening(text, letters=999) == text
