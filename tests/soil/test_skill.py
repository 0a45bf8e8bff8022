"""Scores and rivals against hand calculation."""

from __future__ import annotations

import numpy as np
import pytest

from forecaster.soil import skill

MONTH = np.repeat(np.arange(1, 13), 30)
DAY = np.arange(1, 361)
ALL = np.ones(360, dtype=bool)


def test_scores_by_hand() -> None:
    """Errors 1, 1, 3, 3: mean 2, rmse √5, about the mean 1. Correlation of (1, 2, 3, 4) + error with (1, 2, 3, 4): by hand 9/√(17·5)."""
    measured = np.array([1.0, 2.0, 3.0, 4.0])
    simulated = measured + np.array([1.0, 1.0, 3.0, 3.0])
    scores = skill.water_scores(simulated, measured, np.ones(4, dtype=bool))
    assert scores is not None
    assert scores.bias == pytest.approx(2.0)
    assert scores.rmse == pytest.approx(np.sqrt(5.0))
    assert scores.unbiased_rmse == pytest.approx(1.0)
    assert scores.correlation == pytest.approx(9.0 / np.sqrt(17.0 * 5.0))
    assert scores.days == 4


def test_days_without_both_values_or_not_scored_do_not_count() -> None:
    measured = np.array([1.0, np.nan, 3.0, 4.0, 100.0])
    simulated = np.array([1.5, 2.5, np.nan, 4.5, 0.0])
    scores = skill.water_scores(simulated, measured, np.array([True, True, True, True, False]))
    assert scores is not None
    assert (scores.days, scores.bias, scores.unbiased_rmse) == (2, 0.5, 0.0)
    assert skill.water_scores(simulated, measured, np.array([True, True, True, False, False])) is None


def test_a_series_that_does_not_vary_has_no_correlation() -> None:
    scores = skill.water_scores(np.full(4, 0.2), np.array([0.1, 0.2, 0.3, 0.2]), np.ones(4, dtype=bool))
    assert scores is not None
    assert np.isnan(scores.correlation)
    held = np.full(4, 0.23) + np.array([0.0, 1.0, 0.0, 1.0]) * 2.0**-53  # as a sum over layers rounds
    assert held.std() > 0.0
    rounded = skill.water_scores(held, np.array([0.1, 0.2, 0.3, 0.2]), np.ones(4, dtype=bool))
    assert rounded is not None
    assert np.isnan(rounded.correlation)


def test_temperature_scores_by_hand() -> None:
    scores = skill.temperature_scores(np.array([1.0, 5.0, np.nan]), np.array([2.0, 2.0, 2.0]))
    assert scores == skill.TemperatureScores(mae=2.0, bias=1.0, days=2)


def test_no_day_is_both_fitted_and_scored() -> None:
    """Issue: parameters from odd months, scores from even months, March to November, unfrozen."""
    unfrozen = DAY % 7 != 0
    fitted, scored = skill.fitted_days(MONTH, unfrozen), skill.scored_days(MONTH, unfrozen)
    assert not (fitted & scored).any()
    assert set(MONTH[scored]) == {4, 6, 8, 10}
    assert set(MONTH[fitted]) == {1, 3, 5, 7, 9, 11}
    assert unfrozen[fitted | scored].all()


def test_contents_are_percentiles_of_the_fitted_days_only() -> None:
    """0.10 to 0.50 in 101 equal steps: the 85th percentile is 0.44, the 5th 0.12."""
    measured = np.concatenate([np.linspace(0.10, 0.50, 101), np.full(50, 0.9)])
    fitted = np.arange(151) < 101
    found = skill.contents_from_series(measured, fitted)
    assert found is not None
    assert found.field_capacity_m3m3 == pytest.approx(0.44)
    assert found.wilting_point_m3m3 == pytest.approx(0.12)
    assert found.saturation_m3m3 == pytest.approx(0.50)
    assert skill.contents_from_series(measured, np.arange(151) < 29) is None


def test_a_soil_that_hardly_varies_still_gets_contents_that_a_column_can_have() -> None:
    found = skill.contents_from_series(np.full(40, 0.01), np.ones(40, dtype=bool))
    assert found is not None
    assert 0.0 <= found.wilting_point_m3m3 < found.field_capacity_m3m3 < found.saturation_m3m3


def test_root_zone_mean_weighs_depths_by_the_soil_they_stand_for() -> None:
    """0-7.5, 7.5-15, 15-35 and 35-50 cm of 50: 0.15, 0.15, 0.4, 0.3."""
    water = {depth: np.array([value, value]) for depth, value in ((5, 0.1), (10, 0.2), (20, 0.3), (50, 0.4), (100, 9.0))}
    water[20][1] = np.nan
    mean, weights = skill.root_zone_mean(water, 0.50)
    assert weights == pytest.approx({5: 0.15, 10: 0.15, 20: 0.4, 50: 0.3})
    assert mean[0] == pytest.approx(0.15 * 0.1 + 0.15 * 0.2 + 0.4 * 0.3 + 0.3 * 0.4)
    assert np.isnan(mean[1])
    with pytest.raises(ValueError, match="no depth within"):
        skill.root_zone_mean({100: water[100]}, 0.50)


def test_seasonal_mean_lies_on_lines_between_the_fitted_months() -> None:
    """March (days 61-90, mean day 75.5) at 0.3, May (mean day 135.5) at 0.1: half-way, on day 105.5, 0.2."""
    measured = np.where(MONTH == 3, 0.3, np.where(MONTH == 5, 0.1, 7.0))
    fitted = np.isin(MONTH, (3, 5))
    simulated = skill.seasonal_mean(measured, DAY, MONTH, fitted)
    assert (simulated[104] + simulated[105]) / 2 == pytest.approx(0.2)
    assert simulated[119] == pytest.approx(0.3 - 0.2 * (120 - 75.5) / 60)
    assert np.isnan(skill.seasonal_mean(measured, DAY, MONTH, ~ALL)).all()


def test_the_year_of_the_seasonal_mean_is_a_ring() -> None:
    """November (mean day 315.5) at 0.3 and January (15.5, so 380.75 of a year of 365.25) at 0.1: day 348 lies 32.5 of 65.25 days on."""
    measured = np.where(MONTH == 11, 0.3, 0.1)
    simulated = skill.seasonal_mean(measured, DAY, MONTH, np.isin(MONTH, (1, 11)))
    assert simulated[347] == pytest.approx(0.3 - 0.2 * 32.5 / 65.25)


def test_antecedent_precipitation_by_hand() -> None:
    """k = 0.5: 8, 4 + 2 = 6, 3, 1.5 + 4 = 5.5; a missing day is dry."""
    assert skill.antecedent_precipitation(np.array([8.0, 2.0, np.nan, 4.0]), 0.5).tolist() == [8.0, 6.0, 3.0, 5.5]


def test_the_index_finds_the_line_and_memory_that_made_the_series() -> None:
    """Water made as 0.12 + 0.004 A with k = 0.87 comes back, also on days it was not fitted on."""
    rain = np.where(np.random.default_rng(3).uniform(size=360) < 0.3, 9.0, 0.0)
    made = 0.12 + 0.004 * skill.antecedent_precipitation(rain, 0.87)
    fitted = MONTH % 2 == 1
    shown = np.where(fitted, made, 0.9)  # what stands in the even months is not looked at
    assert skill.antecedent_precipitation_water(shown, rain, fitted) == pytest.approx(made)
    assert np.isnan(skill.antecedent_precipitation_water(made, rain, ~ALL)).all()
