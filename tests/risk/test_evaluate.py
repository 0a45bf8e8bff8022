"""Hysteresis, missing days, months and conditions of a rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.quantities import RISK_QUANTITIES, Severity
from forecaster.risk.evaluate import RuleDay, allowed_months, evaluate
from forecaster.risk.rule import Condition, Rule, SeverityBand
from tests.risk.builders import rule

NAN = float("nan")
FIRST = date(2026, 3, 1)
VALUES = st.lists(st.one_of(st.just(NAN), st.floats(0.0, 1.0)), min_size=1, max_size=40)
RULES = st.builds(
    lambda low, high, days_in, days_out: rule(raise_at=max(low, high) + 0.01, clear_at=min(low, high), days_in=days_in, days_out=days_out),
    st.floats(0.0, 0.9),
    st.floats(0.0, 0.9),
    st.integers(1, 4),
    st.integers(1, 4),
)


def days_of(
    of: Rule, values: list[float], *, first: date = FIRST, southern: bool = False, known: list[bool] | None = None, **others: list[float]
) -> tuple[RuleDay, ...]:
    quantities = {name: np.zeros(len(values)) for name in RISK_QUANTITIES}
    quantities[of.quantity] = np.array(values)
    quantities |= {name: np.array(series) for name, series in others.items()}
    days = [first + timedelta(days=n) for n in range(len(values))]
    flags = np.array(known if known is not None else [True] * len(values))
    return evaluate(of, days=days, quantities=quantities, known=flags, southern=southern)


def speaks(*args, **kwargs) -> list[bool]:
    return [day.speaks for day in days_of(*args, **kwargs)]


def test_it_speaks_from_the_last_of_the_days_in_and_stops_on_the_last_of_the_days_out():
    of = rule(days_in=2, days_out=3)
    values = [0.3, 0.1, 0.3, 0.3, 0.2, 0.1, 0.1, 0.2, 0.1, 0.1, 0.1, 0.1]
    assert speaks(of, values) == [False, False, False, True, True, True, True, True, True, True, False, False]


def test_a_value_exactly_at_a_threshold_raises_and_does_not_clear():
    assert speaks(rule(), [0.25, 0.15, 0.1499]) == [True, True, False]


def test_small_values_are_bad_where_the_raising_threshold_lies_below_the_clearing_one():
    of = rule(raise_at=0.02, clear_at=0.05, severity_bands=(SeverityBand(Severity.MINOR, 0.02), SeverityBand(Severity.SEVERE, -0.02)))
    found = days_of(of, [0.06, 0.02, 0.04, -0.03, 0.06])
    assert [day.severity for day in found] == [None, Severity.MINOR, Severity.MINOR, Severity.SEVERE, None]


def test_severity_is_the_worst_limit_reached_and_the_mildest_while_it_falls_back():
    found = days_of(rule(), [0.3, 0.5, 0.2])
    assert [day.severity for day in found] == [Severity.MINOR, Severity.SEVERE, Severity.MINOR]


def test_the_reason_names_the_numbers_of_its_own_day():
    found = days_of(rule(), [0.3, 0.5, 0.0])
    assert [day.reason for day in found] == ["Contrast 0.30.", "Contrast 0.50.", ""]


def test_a_missing_day_is_held_with_the_words_of_the_last_known_one():
    found = days_of(rule(), [0.3, NAN, 0.1])
    assert (found[1].speaks, found[1].held, found[1].value, found[1].reason) == (True, True, 0.3, "Contrast 0.30.")


def test_a_day_that_is_not_known_is_held_even_where_it_has_a_number():
    assert speaks(rule(), [0.3, 0.0, 0.0], known=[True, False, True]) == [True, True, False]
    assert speaks(rule(), [0.9, 0.0], known=[False, True]) == [False, False]


@settings(max_examples=200)
@given(RULES, VALUES)
def test_missing_days_change_nothing_on_the_days_that_are_known(of, values):
    found = days_of(of, values)
    known = [value for value in values if not np.isnan(value)]
    alone = speaks(of, known) if known else []
    assert [day.speaks for day, value in zip(found, values, strict=True) if not np.isnan(value)] == alone


@settings(max_examples=200)
@given(RULES, VALUES)
def test_a_missing_day_never_starts_or_ends_a_spell(of, values):
    before = False
    for day, value in zip(days_of(of, values), values, strict=True):
        if np.isnan(value):
            assert day.speaks == before
        before = day.speaks


@settings(max_examples=200)
@given(RULES, VALUES, st.data())
def test_worse_values_never_make_a_rule_speak_less(of, values, data):
    worse = [value + data.draw(st.floats(0.0, 0.5)) for value in values]
    assert all(high or not low for low, high in zip(speaks(of, values), speaks(of, worse), strict=True))


@settings(max_examples=200)
@given(RULES, VALUES)
def test_every_spell_starts_beyond_the_raising_threshold_and_ends_short_of_the_clearing_one(of, values):
    before = False
    for day, value in zip(days_of(of, values), values, strict=True):
        if day.speaks and not before:
            assert value >= of.raise_at
        if before and not day.speaks:
            assert value < of.clear_at
        before = day.speaks


@settings(max_examples=100)
@given(RULES, VALUES)
def test_turning_numbers_and_thresholds_upside_down_changes_nothing(of, values):
    turned = replace(of, raise_at=-of.raise_at, clear_at=-of.clear_at)
    assert not turned.rising
    assert speaks(turned, [-value for value in values]) == speaks(of, values)


def test_months_gate_the_start_but_not_the_end():
    of = rule(months=(3,))
    assert speaks(of, [0.3, 0.3, 0.3], first=date(2026, 2, 27)) == [False, False, True]
    assert speaks(of, [0.3, 0.3, 0.3], first=date(2026, 3, 30)) == [True, True, True]
    assert speaks(of, [0.0, 0.0, 0.3], first=date(2026, 3, 30)) == [False, False, False]


def test_months_are_shifted_by_six_in_the_south():
    assert allowed_months((3, 4, 5, 6), southern=True) == (9, 10, 11, 12)
    assert allowed_months((7, 12), southern=True) == (1, 6)
    assert allowed_months((), southern=True) == ()
    of = rule(months=(3,))
    assert speaks(of, [0.3], first=date(2026, 9, 10), southern=True) == [True]
    assert speaks(of, [0.3], first=date(2026, 3, 10), southern=True) == [False]


def test_a_condition_gates_the_start_only():
    of = rule(conditions=(Condition("rain_mm", at_least=5.0, at_most=20.0),))
    assert speaks(of, [0.3] * 5, rain_mm=[0.0, 21.0, 5.0, 0.0, 0.0]) == [False, False, True, True, True]


def test_a_condition_throughout_also_ends_a_spell_after_the_days_out():
    of = rule(days_out=2, conditions=(Condition("air_temperature_max_c", at_most=29.0, throughout=True),))
    temperatures = [30.0, 29.0, 31.0, 20.0, 31.0, 31.0]
    assert speaks(of, [0.3] * 6, air_temperature_max_c=temperatures) == [False, True, True, True, True, False]


def test_a_missing_number_of_a_condition_holds_the_start_but_not_a_rule_that_speaks():
    of = rule(days_in=2, conditions=(Condition("rain_mm", at_least=5.0),))
    assert speaks(of, [0.3, 0.3, 0.3, 0.1], rain_mm=[9.0, NAN, 9.0, NAN]) == [False, False, True, False]


def test_every_day_says_why():
    of = rule(days_in=2, months=(3,), conditions=(Condition("rain_mm", at_least=5.0),))
    found = days_of(of, [0.1, 0.3, 0.3, 0.3, NAN, 0.1], rain_mm=[9.0, 0.0, 9.0, 9.0, 9.0, 9.0])
    assert [day.why for day in found] == [
        "silent: ring_contrast 0.1 is short of 0.25",
        "silent: ring_contrast 0.3 reaches 0.25, but rain_mm 0 is not at least 5",
        "silent: ring_contrast 0.3 reaches 0.25, but only for 1 of 2 days",
        "starts: ring_contrast 0.3 has reached 0.25 for 2 days",
        "no weather on this day: it goes on speaking",
        "falls silent: ring_contrast 0.1 is short of 0.15 for 1 day",
    ]


def test_series_of_another_length_are_refused():
    with pytest.raises(ValueError, match="2 days"):
        evaluate(rule(), days=[FIRST, FIRST], quantities={"ring_contrast": np.zeros(3)}, known=np.ones(2, dtype=bool), southern=False)
