"""Days and numbers in words."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from forecaster.risk.sentences import ahead_words, counted, day_words, drop_words, fill_reason, listed, number_words, since_words
from tests.risk.builders import TODAY, rule


def test_days_are_written_out_and_far_ones_carry_their_year():
    assert day_words(date(2026, 10, 2), today=TODAY, weekday=True) == "Friday 2 October"
    assert day_words(date(2026, 9, 3), today=TODAY) == "3 September"
    assert day_words(date(2025, 10, 2), today=TODAY) == "2 October 2025"


def test_when_is_said_as_people_say_it():
    assert since_words(date(2026, 9, 3), today=TODAY) == "now, since 3 September"
    assert since_words(TODAY, today=TODAY) == "now, since today"
    friday, monday = date(2026, 10, 2), date(2026, 10, 5)
    assert ahead_words(friday, monday, today=TODAY, reaches_horizon=False) == "from about Friday 2 October"
    assert ahead_words(friday, friday, today=TODAY, reaches_horizon=False) == "on about Friday 2 October"
    assert ahead_words(friday, friday, today=TODAY, reaches_horizon=True) == "from about Friday 2 October"
    tomorrow = TODAY + timedelta(days=1)
    assert ahead_words(tomorrow, monday, today=TODAY, reaches_horizon=False) == "from tomorrow, Tuesday 29 September"
    assert ahead_words(tomorrow, tomorrow, today=TODAY, reaches_horizon=False) == "tomorrow, Tuesday 29 September"


@pytest.mark.parametrize(
    ("log10_s", "words"),
    [
        # Classes at 5, 60, 600 and 3600 s: Dekker & Jungerius 1990 (memory).
        (0.0, "less than 5 seconds (wettable)"),
        (1.5, "about 30 seconds (slight)"),
        (1.78, "about 60 seconds (strong)"),
        (2.78, "about 10 minutes (severe)"),
        (4.0, "about 3 hours (extreme)"),
        (float("nan"), "an unknown time"),
    ],
)
def test_a_drop_time_is_written_with_its_class(log10_s, words):
    assert drop_words(log10_s) == words


def test_numbers_are_never_written_as_nan_or_minus_nothing():
    assert number_words(float("nan"), ".0f") == "an unknown number"
    assert number_words(-0.2, ".0f") == "0"
    assert number_words(-0.6, ".0f") == "-1"
    assert number_words(-0.0004, ".1%") == "0.0%"


def test_a_reason_is_filled_with_the_numbers_of_the_day():
    values = {"rain_mm": 12.4, "band_repellency_log10_s": 2.4, "dry_days": float("nan")}
    template = "Rain {rain_mm:.0f} mm; a drop stands {band_repellency_log10_s:.1f}; dry for {dry_days:.0f} days {{so far}}."
    filled = fill_reason(template, values, rule=rule())
    assert filled == "Rain 12 mm; a drop stands about 4 minutes (strong); dry for an unknown number days {so far}."


def test_a_reason_may_name_the_limit_of_its_rule_in_the_unit_of_its_quantity():
    assert fill_reason("From {raise_at:.0%} on.", {}, rule=rule(raise_at=0.35)) == "From 35% on."
    drops = rule(quantity="band_repellency_log10_s", raise_at=1.78, clear_at=1.4)
    assert fill_reason("From {raise_at:.1f} on.", {}, rule=drops) == "From about 60 seconds (strong) on."  # 10 to the power of 1.78


def test_lists_and_counts():
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert [counted(1, "day"), counted(2, "day"), counted(0, "day")] == ["1 day", "2 days", "0 days"]
