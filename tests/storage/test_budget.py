"""The budget of a weather service: kept per clock window, shared by processes, and never exceeded."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import Engine

from forecaster.errors import WeatherRefused
from forecaster.storage.budget import PartBudget, RequestBudget, Span, UsedUp, window_start

NOW = datetime(2026, 9, 14, 22, 58, 59, tzinfo=UTC)
LIMITS: dict[Span, float] = {"minute": 10, "hour": 25, "day": 40}


def a_budget(database: Engine, service: str = "Somewhere") -> RequestBudget:
    return RequestBudget(database, service, LIMITS, clock=lambda: NOW)


def test_it_gives_until_a_window_is_full_and_again_in_the_next_clock_minute(database: Engine) -> None:
    budget = a_budget(database)
    assert budget.take(6, now=NOW) is None
    assert budget.take(4, now=NOW) is None
    next_minute = datetime(2026, 9, 14, 22, 59, tzinfo=UTC)
    assert budget.take(1, now=NOW) == UsedUp("minute", next_minute)
    # One second later is another clock minute.
    assert budget.take(1, now=NOW + timedelta(seconds=1)) is None
    assert budget.used(now=next_minute) == {"minute": 1, "hour": 11, "day": 11}


def test_hours_and_days_count_through_and_clear_on_the_clock_hour_and_at_midnight_utc(database: Engine) -> None:
    budget = a_budget(database)
    early = datetime(2026, 9, 14, 21, 0, tzinfo=UTC)
    assert [budget.take(10, now=early + timedelta(minutes=minute)) for minute in range(2)] == [None, None]
    assert budget.take(10, now=early + timedelta(minutes=2)) == UsedUp("hour", datetime(2026, 9, 14, 22, tzinfo=UTC))
    assert [budget.take(10, now=early + timedelta(minutes=60 + minute)) for minute in range(2)] == [None, None]
    # Hour and day have no room: the one that lasts longer is named.
    full = budget.take(10, now=early + timedelta(minutes=62))
    assert full == UsedUp("day", datetime(2026, 9, 15, tzinfo=UTC))
    assert budget.take(10, now=datetime(2026, 9, 15, tzinfo=UTC)) is None


def test_a_refusal_takes_nothing_from_the_other_windows(database: Engine) -> None:
    budget = a_budget(database)
    budget.take(10, now=NOW)
    assert budget.take(3, now=NOW) is not None
    assert budget.used(now=NOW) == {"minute": 10, "hour": 10, "day": 10}


def test_what_would_not_fit_an_empty_window_is_refused_for_good(database: Engine) -> None:
    with pytest.raises(WeatherRefused, match=r"weight 10\.5 is more than Somewhere allows in a minute \(10\)"):
        a_budget(database).take(10.5, now=NOW)


def test_tenths_that_add_up_to_the_limit_fit(database: Engine) -> None:
    budget = a_budget(database)
    taken = [budget.take(0.1, now=NOW) for _ in range(101)]  # a hundred tenths are not 10 in floats
    assert taken.count(None) == 100
    assert taken[-1] is not None


def test_weight_comes_back_to_the_window_it_was_taken_from_and_to_no_other(database: Engine) -> None:
    budget = a_budget(database)
    budget.take(8, now=NOW)
    budget.give_back(7, taken_at=NOW)
    assert budget.used(now=NOW) == {"minute": 1, "hour": 1, "day": 1}
    later = NOW + timedelta(minutes=1)
    budget.take(5, now=later)
    budget.give_back(1, taken_at=NOW)
    assert budget.used(now=later) == {"minute": 5, "hour": 5, "day": 5}
    budget.give_back(50, taken_at=later)
    assert budget.used(now=later) == {"minute": 0, "hour": 0, "day": 0}


@pytest.mark.parametrize(("span", "until"), [("hour", "2026-09-14T23:00"), ("day", "2026-09-15T00:00")])
def test_a_window_that_the_service_calls_used_up_is_used_up_here(database: Engine, span: Span, until: str) -> None:
    budget = a_budget(database)
    budget.fill(span, now=NOW)
    found = budget.take(1, now=NOW)
    assert found == UsedUp(span, datetime.fromisoformat(until).replace(tzinfo=UTC))
    assert budget.take(1, now=found.until) is None


def test_services_do_not_share_a_budget(database: Engine) -> None:
    a_budget(database).take(10, now=NOW)
    assert a_budget(database, "Elsewhere").take(10, now=NOW) is None


def test_a_clock_that_was_days_ahead_does_not_block_and_one_that_is_seconds_ahead_is_counted(database: Engine) -> None:
    budget = a_budget(database)
    budget.take(10, now=NOW + timedelta(days=3))
    assert budget.take(6, now=NOW) is None
    budget.take(6, now=NOW + timedelta(seconds=2))  # another process: its minute has begun
    assert budget.take(6, now=NOW) is not None


def test_windows_are_utc_whatever_zone_the_clock_speaks(database: Engine) -> None:
    kathmandu = NOW.astimezone(timezone(timedelta(hours=5, minutes=45)))
    assert window_start("day", kathmandu) == datetime(2026, 9, 14, tzinfo=UTC)
    assert window_start("hour", kathmandu) == datetime(2026, 9, 14, 22, tzinfo=UTC)
    budget = a_budget(database)
    budget.take(10, now=kathmandu)
    assert budget.take(1, now=NOW) is not None


def test_many_who_take_at_once_never_take_more_than_there_is(database: Engine) -> None:
    taken: list[bool] = []

    def take() -> None:
        budget = a_budget(database)
        taken.extend(budget.take(1, now=NOW) is None for _ in range(5))

    threads = [threading.Thread(target=take) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(taken), sum(taken)) == (20, 10)
    assert a_budget(database).used(now=NOW)["minute"] == 10


def test_a_part_never_takes_more_than_its_share_and_the_whole_counts_all(database: Engine) -> None:
    whole = a_budget(database)
    part = PartBudget(whole, replace(whole, service="part", limits={span: limit / 2 for span, limit in LIMITS.items()}))
    assert part.clock() == NOW
    assert part.take(5, now=NOW) is None
    assert part.take(1, now=NOW) == UsedUp("minute", datetime(2026, 9, 14, 22, 59, tzinfo=UTC)), "its half is gone"
    assert whole.take(5, now=NOW) is None, "the other half is for the others"
    assert whole.used(now=NOW)["minute"] == 10
    part.give_back(2, taken_at=NOW)
    assert whole.used(now=NOW)["minute"] == 8
    assert part.part.used(now=NOW)["minute"] == 3


def test_what_the_whole_refuses_is_not_counted_in_the_part(database: Engine) -> None:
    whole = a_budget(database)
    part = PartBudget(whole, replace(whole, service="part", limits=dict.fromkeys(LIMITS, 10.0)))
    whole.take(8, now=NOW)
    assert part.take(4, now=NOW) == UsedUp("minute", datetime(2026, 9, 14, 22, 59, tzinfo=UTC))
    assert part.part.used(now=NOW) == {"minute": 0, "hour": 0, "day": 0}
    part.fill("day", now=NOW)
    assert whole.take(1, now=NOW) == UsedUp("day", datetime(2026, 9, 15, tzinfo=UTC))
