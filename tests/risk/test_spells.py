"""Spells and sliding sums."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.soil.spells import coming_sum, days_in_a_row, days_since_rising_through, dry_days, runs, trailing_mean, trailing_sum

NAN = float("nan")


def test_a_dry_day_has_less_than_a_fifth_of_a_millimetre():
    # "Absolute drought": days with less than 0.2 mm; Meteorological Glossary 1963.
    assert dry_days(np.array([0.0, 0.19, 0.2, 0.0])).tolist() == [1, 2, 0, 1]


def test_a_missing_day_holds_the_count_of_dry_days_and_is_itself_unknown():
    found = dry_days(np.array([0.0, 0.0, NAN, 0.0]))
    assert np.isnan(found[2])
    assert found[[0, 1, 3]].tolist() == [1, 2, 3]


@given(st.lists(st.booleans(), max_size=40))
def test_runs_are_exactly_the_true_days(flags):
    found = runs(np.array(flags, dtype=bool))
    days = [day for first, last in found for day in range(first, last + 1)]
    assert days == [day for day, flag in enumerate(flags) if flag]
    assert all(later[0] > earlier[1] + 1 for earlier, later in itertools.pairwise(found))


@given(st.lists(st.tuples(st.booleans(), st.booleans()), max_size=40))
def test_days_that_are_not_known_do_not_change_a_count(days):
    flags = np.array([flag for flag, _ in days], dtype=bool)
    known = np.array([is_known for _, is_known in days], dtype=bool)
    without = days_in_a_row(flags[known], np.ones(int(known.sum()), dtype=bool))
    assert days_in_a_row(flags, known)[known].tolist() == without.tolist()


def test_trailing_sum_and_mean_need_every_day_of_the_window():
    values = np.array([1.0, 2.0, NAN, 4.0, 5.0, 6.0])
    assert trailing_sum(values, days=2)[[1, 4, 5]].tolist() == [3.0, 9.0, 11.0]
    assert np.isnan(trailing_sum(values, days=2)[[0, 2, 3]]).all()
    assert trailing_mean(values, days=3)[5] == 5.0
    assert np.isnan(trailing_sum(np.array([1.0]), days=7)).all()


@settings(max_examples=60)
@given(st.lists(st.one_of(st.just(NAN), st.floats(0.0, 2.0)), max_size=30), st.integers(1, 9))
def test_coming_sum_leaves_out_what_is_not_there(values, days):
    found = coming_sum(np.array(values, dtype=np.float64), days=days)
    for day, value in enumerate(values):
        if np.isnan(value):
            assert np.isnan(found[day])
        else:
            assert found[day] == pytest.approx(np.nansum(values[day : day + days]), abs=1e-9)


def rising(values: list[float]) -> list[float]:
    return days_since_rising_through(np.array(values), threshold=12.8, below_for_days=14, closes_after_days=42).tolist()


def test_the_season_opens_on_the_day_of_the_rise_and_closes_after_its_length():
    # 12.8 °C = 55 °F: NC State turf alert, 10 March 2011.
    found = rising([8.0] * 14 + [12.7, 12.8] + [14.0] * 50)
    assert found[:15] == [0.0] * 15
    assert found[15:18] == [1.0, 2.0, 3.0]
    assert found[15 + 41] == 42.0
    assert found[15 + 42 :] == [0.0] * (52 - 43)


def test_without_a_cold_season_in_the_data_no_season_opens():
    assert rising([8.0] * 13 + [14.0] * 20) == [0.0] * 33


def test_a_cold_snap_does_not_open_the_season_a_second_time():
    found = rising([8.0] * 14 + [13.0] * 3 + [11.0] * 5 + [13.0] * 2)
    assert found[14:] == [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]


def test_a_missing_day_neither_opens_nor_closes_the_season_and_its_age_goes_on():
    found = rising([8.0] * 7 + [NAN] + [8.0] * 7 + [13.0, NAN, 13.0])
    assert np.isnan(found[7])
    assert np.isnan(found[16])
    assert found[15] == 1.0
    assert found[17] == 3.0


def test_members_side_by_side_give_what_each_gives_alone() -> None:
    rng = np.random.default_rng(51)
    values = rng.uniform(5.0, 20.0, (60, 7))
    values[:20, :5] = rng.uniform(0.0, 12.0, (20, 5))
    values[rng.random(values.shape) < 0.1] = np.nan
    season = {"threshold": 12.8, "below_for_days": 5, "closes_after_days": 20}
    found = (
        trailing_sum(values, days=5),
        trailing_mean(values, days=5),
        coming_sum(values, days=7),
        dry_days(values - 10.0),
        days_since_rising_through(values, **season),
    )
    for member in range(values.shape[1]):
        alone = values[:, member]
        expected = (
            trailing_sum(alone, days=5),
            trailing_mean(alone, days=5),
            coming_sum(alone, days=7),
            dry_days(alone - 10.0),
            days_since_rising_through(alone, **season),
        )
        for together, one in zip(found, expected, strict=True):
            np.testing.assert_allclose(together[:, member], one)
    assert np.nanmax(found[-1]) > 1, "some member has had its spring"
