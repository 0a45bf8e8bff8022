"""How a breaker moves. Pauses: assumptions of the module; clock minute, clock hour and UTC day: the provider's published limits."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from forecaster.errors import Trouble, WeatherError, WeatherMalformed, WeatherRefused, WeatherUnavailable, Window
from forecaster.weather.service_state import (
    LONGEST_PAUSE,
    PROBE_LASTS,
    Named,
    ServiceState,
    after_answer,
    after_failure,
    before_asking,
)

NOW = datetime(2026, 8, 20, 5, 17, 30, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def trouble(
    kind: Trouble | None = None, *, window: Window | None = None, retry_after_s: float | None = None, again_at: datetime | None = None
) -> WeatherError:
    return WeatherUnavailable("it failed", source="S", trouble=kind, window=window, retry_after_s=retry_after_s, again_at=again_at)


def failed(times: int, error: WeatherError, state: ServiceState | None = None) -> ServiceState:
    state = state or ServiceState("s", "key")
    for _ in range(times):
        state = after_failure(state, error, now=NOW)
    return state


def may_ask(state: ServiceState, now: datetime, asked_as: str = "key") -> bool:
    return before_asking(state, asked_as=asked_as, now=now)[1]


def test_breakdowns_open_it_at_the_third_in_a_row_and_for_twice_as_long_each_time_up_to_an_hour() -> None:
    assert [failed(times, trouble()).breaker(NOW) for times in (1, 2, 3)] == ["closed", "closed", "open"]
    pauses = [failed(times, trouble()).held_until for times in range(3, 12)]
    assert [(until - NOW) / MINUTE for until in pauses if until] == [5, 10, 20, 40, 60, 60, 60, 60, 60]


def test_an_answer_closes_it_and_the_count_begins_anew() -> None:
    state = after_answer(failed(5, trouble()), now=NOW)
    assert state.breaker(NOW) == "closed"
    assert failed(2, trouble(), state).breaker(NOW) == "closed"


def test_after_the_pause_one_asks_first_and_the_others_wait_for_how_it_goes() -> None:
    state = failed(3, trouble())
    later = NOW + 5 * MINUTE
    assert not may_ask(state, later - timedelta(seconds=1))
    assert state.breaker(later) == "half-open"
    probing, allowed = before_asking(state, asked_as="key", now=later)
    assert allowed
    assert not may_ask(probing, later + MINUTE)
    assert may_ask(probing, later + PROBE_LASTS), "whoever asked first is gone"
    assert may_ask(after_answer(probing, now=later), later)
    assert not may_ask(after_failure(probing, trouble(), now=later), later + MINUTE)


@pytest.mark.parametrize(
    ("window", "retry_after_s", "until", "named"),
    [
        ("minute", None, datetime(2026, 8, 20, 5, 18, tzinfo=UTC), None),
        ("hour", None, datetime(2026, 8, 20, 6, 0, tzinfo=UTC), "limit"),
        ("day", None, datetime(2026, 8, 21, 0, 0, tzinfo=UTC), "limit"),
        ("moment", None, NOW + MINUTE, None),
        (None, None, NOW + 60 * MINUTE, "limit"),
        (None, 120.0, NOW + 2 * MINUTE, "limit"),
        ("minute", 120.0, NOW + 2 * MINUTE, None),
        ("hour", 1.0, datetime(2026, 8, 20, 6, 0, tzinfo=UTC), "limit"),
        (None, 9e8, NOW + LONGEST_PAUSE, "limit"),
    ],
)
def test_each_form_of_a_limit_holds_for_its_own_time(
    window: Window | None, retry_after_s: float | None, until: datetime, named: Named | None
) -> None:
    state = failed(1, trouble("limit", window=window, retry_after_s=retry_after_s))
    assert (state.held_until, state.named) == (until, named)
    assert not may_ask(state, until - timedelta(seconds=1))
    assert may_ask(state, until)


def test_a_refusal_opens_it_at_once_and_for_up_to_a_day() -> None:
    for kind in ("shut out", "terms"):
        state = failed(1, trouble(kind))
        assert (state.held_until, state.named) == (NOW + 60 * MINUTE, kind)
    assert failed(12, trouble("shut out")).held_until == NOW + LONGEST_PAUSE


def test_a_web_page_is_a_breakdown_at_first_and_changed_terms_when_it_stays() -> None:
    once, twice = failed(1, trouble("page")), failed(2, trouble("page"))
    assert (once.breaker(NOW), once.named) == ("closed", None)
    assert (twice.breaker(NOW), twice.named) == ("open", "terms")


def test_another_key_is_asked_at_once_and_the_same_one_is_not() -> None:
    state = failed(1, trouble("shut out"))
    assert not may_ask(state, NOW + MINUTE)
    renewed, allowed = before_asking(state, asked_as="another key", now=NOW + MINUTE)
    assert allowed
    assert (renewed.named, renewed.failures) == (None, 0)


def test_a_breakdown_in_between_is_no_news_about_the_key_and_an_answer_is() -> None:
    state = failed(1, trouble(), failed(1, trouble("shut out")))
    assert (state.named, state.named_since) == ("shut out", NOW)
    assert after_answer(state, now=NOW).named is None


@pytest.mark.parametrize("error", [WeatherRefused("no such place", source="S"), WeatherMalformed("all null", source="S")])
def test_what_is_a_matter_of_one_place_opens_nothing_and_shows_that_somebody_is_there(error: WeatherError) -> None:
    assert failed(9, error).breaker(NOW) == "closed"
    assert failed(1, error, failed(4, trouble())).breaker(NOW) == "closed"


def test_our_own_budget_is_named_but_holds_nobody_back_whose_question_still_fits() -> None:
    state = failed(1, trouble("budget", window="day", again_at=NOW + timedelta(hours=18)))
    assert (state.breaker(NOW), state.named) == ("closed", "limit")
    assert failed(1, trouble("budget", window="minute")).named is None


def test_one_about_to_end_answers_and_keeps_its_first_day() -> None:
    state = after_answer(ServiceState("s", "key"), now=NOW, deprecated=True)
    again = after_answer(state, now=NOW + timedelta(days=2), deprecated=True)
    assert (again.named, again.named_since, again.breaker(NOW)) == ("deprecated", NOW, "closed")
    assert after_answer(again, now=NOW + timedelta(days=3)).named is None


def test_a_wrong_clock_holds_nobody_back_for_longer_than_the_longest_pause() -> None:
    ahead = after_failure(ServiceState("s", "key"), trouble("shut out"), now=NOW + timedelta(days=400))
    assert may_ask(ahead, NOW)
