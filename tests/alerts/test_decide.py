"""Alerts are raised once, held without weather, and ended once."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.alerts.decide import EpisodeDecision, decide_episodes
from forecaster.alerts.episode import Episode
from forecaster.documents import SurfaceOutlook
from forecaster.quantities import Severity
from tests.alerts.builders import NOW, RULES, outlook, signal
from tests.risk.builders import MISSING, TODAY


def decide(episodes: tuple[Episode, ...], *outlooks: SurfaceOutlook, day: int = 0, **changes) -> EpisodeDecision:
    later = timedelta(days=day)
    return decide_episodes(episodes, outlooks, **({"rules": RULES, "today": TODAY + later, "now": NOW + later} | changes))


def on(day: int, *signals, **changes) -> SurfaceOutlook:
    return outlook(*signals, today=TODAY + timedelta(days=day), **changes)


def speaking(day: int, *, lead: int = 0, **changes) -> SurfaceOutlook:
    return on(day, signal(lead=lead, today=TODAY + timedelta(days=day), **changes))


def raised(**changes) -> Episode:
    (episode,) = decide((), speaking(0, **changes)).open_episodes
    return episode


def test_a_signal_that_is_present_opens_an_episode_with_an_identity_and_a_reason():
    (change,) = decide((), speaking(0)).opened
    assert change.episode.id == "brackenholt/main/rings-showing/2026-09-28"
    assert (change.episode.status, change.episode.raised_at, change.episode.quiet_since) == ("present", NOW, None)
    assert change.reason == "Rings showing: now, since today."


@pytest.mark.parametrize(("lead", "opens"), [(7, True), (8, False)])
def test_an_expected_signal_opens_within_the_lead_of_its_rule(lead, opens):
    found = decide((), speaking(0, lead=lead)).opened
    assert [change.episode.status for change in found] == (["expected"] if opens else [])


def test_a_rule_on_trial_opens_nothing():
    assert decide((), speaking(0, trial=True)) == EpisodeDecision()


def test_an_outlook_that_is_not_known_opens_nothing():
    found = outlook(signal(), known=False, weather=MISSING)
    assert decide((), found) == EpisodeDecision()


def test_an_open_episode_follows_the_newest_outlook_but_keeps_its_identity():
    first = raised(lead=5)
    found = decide((first,), speaking(1, lead=6, severity=Severity.SEVERE), day=1)
    (change,) = found.continued
    assert found.opened == ()
    assert (change.episode.id, change.episode.first_day, change.episode.raised_at) == (first.id, first.first_day, first.raised_at)
    assert (change.episode.severity, change.changed) == (Severity.SEVERE, True)


def test_what_was_expected_becomes_present():
    assert decide((raised(lead=2),), speaking(2), day=2).open_episodes[0].status == "present"


def test_two_rules_of_one_surface_and_one_rule_of_two_surfaces_are_separate_episodes():
    flush = signal(rule_id="flush", title="Toadstool flush")
    found = decide((), outlook(signal(), flush), outlook(signal(), name="green"))
    assert len({episode.id for episode in found.open_episodes}) == 3


def test_it_ends_only_after_the_days_out_and_only_once():
    episodes = (raised(),)
    for day, quiet_days in ((1, 0), (2, 1), (3, 2)):
        found = decide(episodes, on(day), day=day)
        assert (found.ended, found.opened) == ((), ()), quiet_days
        assert found.open_episodes[0].quiet_since == TODAY + timedelta(days=1)
        episodes = found.open_episodes
    found = decide(episodes, on(4), day=4)
    (change,) = found.ended
    assert (change.episode.status, change.episode.ended_at) == ("ended", NOW + timedelta(days=4))
    assert change.reason == "Rings showing: quiet for 3 days, so this alert has ended."
    assert found.open_episodes == ()
    assert decide(found.open_episodes, on(4), day=4) == EpisodeDecision()


def test_many_evaluations_in_one_day_do_not_count_as_many_days():
    episodes = (raised(),)
    for _ in range(10):
        found = decide(episodes, on(1), day=1)
        episodes = found.open_episodes
    assert len(episodes) == 1


def test_a_rule_that_speaks_again_stops_the_count():
    quiet = decide((raised(),), on(1), day=1).open_episodes
    again = decide(quiet, speaking(2), day=2).open_episodes
    assert again[0].quiet_since is None
    assert decide(again, on(4), day=4).ended == ()


def test_without_weather_everything_open_is_held_and_says_why():
    found = decide((raised(),), on(1, known=False, weather=MISSING), day=1)
    (change,) = found.held
    assert change.episode.status == "held"
    assert change.reason == "No weather has come for 9 days. Without weather the alert stays open as it was."
    assert found.ended == found.opened == ()


def test_a_gap_in_the_weather_starts_the_count_of_quiet_days_anew():
    quiet = decide((raised(),), on(1), day=1).open_episodes
    held = decide(quiet, on(2, known=False), day=2).open_episodes
    assert decide(held, on(9), day=9).ended == ()


def test_a_held_episode_goes_on_as_what_it_was_when_the_weather_is_back():
    held = decide((raised(),), on(1, known=False), day=1).open_episodes
    assert decide(held, speaking(2), day=2).open_episodes[0].status == "present"
    assert decide(held, on(2), day=2).open_episodes[0].status == "present"


def test_an_expected_episode_is_held_when_the_days_it_is_about_have_no_weather():
    # Expected in 5 days; the next forecast ends after 3: its silence proves nothing.
    expected = raised(lead=5)
    found = decide((expected,), on(1, missing=tuple(range(3, 14))), day=1)
    (change,) = found.held
    assert change.reason == "There is no weather for 5 days that this alert is about; it stays open."


def test_an_expected_episode_whose_days_are_known_and_quiet_ends():
    episodes = (raised(lead=5),)
    for day in range(1, 4):
        episodes = decide(episodes, on(day), day=day).open_episodes
        assert len(episodes) == 1
    assert len(decide(episodes, on(4), day=4).ended) == 1


def test_a_surface_without_an_outlook_keeps_its_episode():
    found = decide((raised(),), on(1, name="green"), day=1)
    assert [change.episode.status for change in found.held] == ["held"]


def test_a_rule_taken_out_of_the_configuration_ends_its_episode():
    found = decide((raised(),), on(1), day=1, rules=())
    assert found.ended[0].reason == "Rings showing: its rule was taken out of the configuration."


def test_the_identity_of_an_ended_episode_is_not_used_again():
    first = raised()
    found = decide((), speaking(1, lead=-1), day=1, used_ids={first.id})
    assert found.opened[0].episode.id == f"{first.id}/2026-09-29"


def test_two_open_episodes_of_one_surface_and_rule_are_refused():
    first = raised()
    with pytest.raises(ValueError, match="two open episodes"):
        decide((first, first), on(1), day=1)


def test_an_episode_can_be_stored_as_a_document():
    document = raised().document()
    assert (document.id, document.raised_at_utc, document.status) == ("brackenholt/main/rings-showing/2026-09-28", NOW, "present")


# One day of a made-up season: what the outlook of that day is like.
DAYS = st.lists(st.sampled_from(["present", "expected", "far", "quiet", "unknown", "gap"]), min_size=1, max_size=20)


def season_day(day: int, kind: str) -> SurfaceOutlook:
    if kind in ("present", "expected", "far"):
        return speaking(day, lead={"present": 0, "expected": 4, "far": 10}[kind])
    return on(day, known=kind != "unknown", missing=tuple(range(14)) if kind == "unknown" else (0,) if kind == "gap" else ())


@settings(max_examples=40, deadline=None)
@given(DAYS)
def test_the_same_evaluation_twice_changes_nothing_and_no_alert_ends_on_a_day_without_weather(kinds):
    episodes: tuple[Episode, ...] = ()
    quiet = 0
    for day, kind in enumerate(kinds):
        found = season_day(day, kind)
        decision = decide(episodes, found, day=day)
        again = decide(decision.open_episodes, found, day=day)
        assert (again.opened, again.ended) == ((), ())
        assert again.open_episodes == decision.open_episodes
        assert not any(change.changed for change in (*again.continued, *again.held))
        keys = [episode.key for episode in decision.open_episodes]
        assert len(keys) == len(set(keys))
        quiet = quiet + 1 if kind == "quiet" else 0
        if decision.ended:
            # Silent on this day and the three before it, each with weather.
            assert quiet > 3
        episodes = decision.open_episodes
