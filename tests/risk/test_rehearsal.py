"""What rules would have said over past days. Every expectation is worked out by hand from the rule's own definition."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import altair as alt
import pytest

from forecaster.charts.rehearsal import comparison_finding, rehearsal_chart, rehearsal_finding
from forecaster.charts.render import render_svg
from forecaster.quantities import Severity
from forecaster.risk.evaluate import RuleDay
from forecaster.risk.rehearsal import differences, rehearse_rules, spells_of
from forecaster.risk.rule import SeverityBand
from tests.risk import builders

FIRST = date(2026, 7, 1)
LAST = date(2026, 7, 20)
DEFICIT = {"stress_coefficient": {4: 0.4, 5: 0.4, 6: 0.4, 7: 0.05, 12: 0.5, 13: 0.5}}
RULE = builders.rule(
    id="dry",
    title="Dry",
    quantity="sound_transpiration_deficit",
    raise_at=0.5,
    clear_at=0.3,
    days_in=2,
    days_out=1,
    severity_bands=(SeverityBand(Severity.MINOR, 0.5), SeverityBand(Severity.SEVERE, 0.9)),
    reason="{sound_transpiration_deficit:.0%}",
    conditions=(),
    months=(),
)
TIMID = replace(RULE, days_in=3)


def run(**changes: object):
    daily = builders.daily_weather(FIRST, 20, today=LAST)
    return replace(
        builders.run(), daily=daily, simulation=builders.simulation(20, sound=DEFICIT), irrigation_mm=daily.rain_mm * 0.0, **changes
    )


def said(day: int, *, speaks: bool, severity: Severity | None = None, held: bool = False) -> RuleDay:
    return RuleDay(FIRST + timedelta(days=day), speaks, severity, 0.0, "", "", held)


def test_spells_are_days_in_a_row_with_their_worst_and_their_days_without_weather() -> None:
    minor, severe = Severity.MINOR, Severity.SEVERE
    days = [said(0, speaks=True, severity=minor), said(1, speaks=True, severity=severe), said(2, speaks=True, severity=severe, held=True)]
    days += [said(3, speaks=False), said(4, speaks=True, severity=minor)]
    first, second = spells_of(days)
    assert (first.first, first.last, first.days, first.worst, first.held) == (FIRST, FIRST + timedelta(days=2), 3, severe, 1)
    assert (second.days, second.worst, second.held) == (1, minor, 0)


def test_a_rule_speaks_on_the_days_its_numbers_say() -> None:
    # Deficit 0.6 on days 4 to 6, 0.95 on day 7, 0.5 on 12 and 13, else 0: two days in a row raise it, one below 0.3 ends it.
    (found,) = rehearse_rules(run(), [RULE], counted_from=FIRST, last=LAST)
    assert found.applies
    assert [(spell.first.day, spell.last.day, spell.worst) for spell in found.spells] == [(6, 8, Severity.SEVERE), (14, 14, Severity.MINOR)]


def test_a_spell_under_way_on_the_first_day_that_counts_is_there_from_that_day() -> None:
    (found,) = rehearse_rules(run(), [RULE], counted_from=date(2026, 7, 7), last=LAST)
    assert [(spell.first.day, spell.last.day) for spell in found.spells] == [(7, 8), (14, 14)]


def test_days_past_the_last_one_are_not_counted() -> None:
    (found,) = rehearse_rules(run(), [RULE], counted_from=FIRST, last=date(2026, 7, 7))
    assert [(spell.first.day, spell.last.day) for spell in found.spells] == [(6, 7)]


def test_a_rule_that_does_not_look_at_the_surface_says_so() -> None:
    (found,) = rehearse_rules(run(surface=builders.surface()), [replace(RULE, ring_types=(1,))], counted_from=FIRST, last=LAST)
    assert not found.applies
    assert found.days == found.spells == ()


def test_two_files_differ_by_the_days_on_which_one_alone_speaks() -> None:
    ours = rehearse_rules(run(), [RULE, replace(RULE, id="extra", raise_at=0.94)], counted_from=FIRST, last=LAST)
    theirs = rehearse_rules(run(), [TIMID, replace(RULE, id="other")], counted_from=FIRST, last=LAST)
    by_id = {found.rule_id: found for found in differences(ours, theirs)}
    assert [day.day for day in by_id["dry"].only_one] == [6, 14]  # a third day in a row is needed: one later, one never
    assert by_id["dry"].only_other == ()
    assert by_id["extra"].other is None
    assert by_id["extra"].only_one == ()  # 0.94 is reached on one day alone, and two are needed
    assert [day.day for day in by_id["other"].only_other] == [6, 7, 8, 14]


def test_the_chart_is_valid_and_names_both_files_and_the_finding() -> None:
    ours, theirs = (rehearse_rules(run(), [rule], counted_from=FIRST, last=LAST) for rule in (RULE, TIMID))
    finding = comparison_finding("Main pitch", differences(ours, theirs), ("ours", "theirs"))
    assert finding == "Main pitch: the files differ most on “Dry”, which speaks on 2 days only by ours"
    spec = rehearsal_chart("Main pitch", [("ours", ours), ("theirs", theirs)], first=FIRST, last=LAST, finding=finding)
    alt.Chart.from_dict(spec, validate=True).to_dict(validate=True)
    drawn = render_svg(spec)
    for words in ("ours", "theirs", "Dry", "differ most"):
        assert words in drawn
    with pytest.raises(ValueError, match="one or two"):
        rehearsal_chart("Main pitch", [], first=FIRST, last=LAST, finding="")


def test_the_finding_names_the_rule_that_spoke_most_or_that_none_did() -> None:
    found = rehearse_rules(run(), [RULE, replace(TIMID, id="timid", title="Timid")], counted_from=FIRST, last=LAST)
    assert rehearsal_finding("Green", found, days=20) == "Green: “Dry” would have spoken most, on 4 of 20 days in 2 spells"
    nothing = rehearse_rules(run(), [replace(RULE, raise_at=0.99)], counted_from=FIRST, last=LAST)
    assert rehearsal_finding("Green", nothing, days=20) == "Green: no rule would have spoken on 20 days"
    assert comparison_finding("Green", (), ("a", "b")) == "Green: a and b speak on the same days"
