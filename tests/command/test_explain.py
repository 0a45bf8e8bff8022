"""``forecaster explain`` and the API's explanation: the same document, made by the cycle that made the outlook."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy.orm import Session

from forecaster.risk.explain import explanation
from forecaster.risk.judgement import judge
from forecaster.storage.database import open_database
from forecaster.storage.explanations import latest_explanation
from forecaster.storage.outlooks import latest_outlook
from tests.command.conftest import invoke
from tests.risk import builders

NOW = datetime(2030, 1, 1, tzinfo=UTC)


def test_every_rule_is_listed_with_its_limits_numbers_and_reason(run_once: Path) -> None:
    told = invoke("explain", "brackenholt", "main-pitch", "--data", str(run_once))
    assert told.exit_code == 0, told.output
    text = " ".join(told.stdout.split())
    for rule in builders.shipped_rules():
        assert rule.title in text
        assert rule.quantity in text
    assert "Drought stress: silent: sound_transpiration_deficit" in text
    assert "starts at 0.3 for 2 days; ends short of 0.15 for 3 days" in text


def test_it_agrees_with_the_outlook_on_every_day_and_rule(run_once: Path) -> None:
    engine = open_database(f"sqlite:///{run_once}/forecaster.db")
    with Session(engine) as session:
        outlook = latest_outlook(session, "brackenholt", "main-pitch", now=NOW)
        explained = latest_explanation(session, "brackenholt", "main-pitch")
    engine.dispose()
    assert outlook is not None
    assert explained is not None
    assert [day.day for day in explained.days] == [day.day for day in outlook.days]
    for ours, theirs in zip(explained.days, outlook.days, strict=True):
        assert {said.rule_id: said.severity for said in ours.rules if said.speaks} == {r.rule_id: r.severity for r in theirs.risks}
        speaking = {risk.rule_id: risk.value for risk in theirs.risks}
        for said in ours.rules:
            if said.rule_id in speaking and not said.held:
                assert said.numbers[0].value == speaking[said.rule_id]


def test_a_day_without_weather_is_held_and_its_numbers_are_not_known() -> None:
    run = builders.run(daily=builders.daily_weather(builders.TODAY - timedelta(days=20), 34, missing=(3,)))
    today = builders.TODAY
    rules = [builders.rule()]
    found = explanation(run, judge(run, rules, today=today), rules, today=today, issued_at=builders.ISSUED)
    day = next(one for one in found.days if one.day == run.daily.days[0] + timedelta(days=3))
    assert day.rules[0].held
    assert day.rules[0].numbers[0].value is None
    assert "no weather" in day.rules[0].why


def test_a_rule_for_rings_says_that_it_does_not_look_at_a_surface_without_them() -> None:
    run = builders.run(of=builders.surface())
    today = builders.TODAY
    rules = [builders.rule(ring_types=(1,))]
    found = explanation(run, judge(run, rules, today=today), rules, today=today, issued_at=builders.ISSUED)
    assert not found.rules[0].looks_at_this_surface
    assert all(day.rules == () for day in found.days)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("nowhere", "main-pitch"), "Known are: brackenholt"),
        (("brackenholt", "moon"), "has no surface 'moon'"),
        (("brackenholt", "main-pitch", "1999-01-01"), "is not in the newest outlook of main-pitch. Its days:"),
    ],
)
def test_what_is_not_there_is_answered_with_what_is(run_once: Path, words: tuple[str, ...], expected: str) -> None:
    told = invoke("explain", *words, "--data", str(run_once))
    assert told.exit_code == 1
    assert expected in told.output


def test_before_the_first_cycle_it_says_so(tmp_path: Path) -> None:
    told = invoke("explain", "brackenholt", "main-pitch", "--data", str(tmp_path))
    assert told.exit_code == 1
    assert "Run one cycle first" in told.output
