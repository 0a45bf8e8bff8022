"""An alert that is acknowledged or put off is not told as new, until it gets worse or its time is over."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from forecaster.alerts.decide import EpisodeDecision
from forecaster.alerts.episode import GOT_WORSE, Episode
from forecaster.documents import AlertMark, Snooze, SurfaceOutlook
from forecaster.quantities import Severity
from tests.alerts.builders import NOW, outlook, signal
from tests.alerts.test_decide import decide, on, raised, speaking
from tests.alerts.test_digest import digest
from tests.risk.builders import ISSUED, MISSING

KNOWN = AlertMark(at_utc=NOW, by="Ada", severity=Severity.MINOR)
DAY = timedelta(days=1)


def put_off(until: datetime) -> Snooze:
    return Snooze(at_utc=NOW, by="Ada", severity=Severity.MINOR, until_utc=until)


def acknowledged(**changes: object) -> Episode:
    return replace(raised(**changes), acknowledgement=KNOWN)


def quiet(decision: EpisodeDecision, day: int = 0) -> bool:
    return ("main", "rings-showing") in decision.quiet(NOW + day * DAY)


def test_an_acknowledged_alert_stays_quiet_as_long_as_it_is_no_worse():
    episode = acknowledged()
    for day in (1, 2, 9):
        decision = decide((episode,), speaking(day), day=day)
        assert quiet(decision, day)
        (episode,) = decision.open_episodes
    assert episode.acknowledgement == KNOWN


def test_an_acknowledgement_ends_when_the_alert_gets_worse_and_does_not_come_back_when_it_eases():
    worse = decide((acknowledged(),), speaking(1, severity=Severity.SEVERE), day=1)
    assert not quiet(worse, 1)
    mark = worse.open_episodes[0].acknowledgement
    assert mark is not None
    assert (mark.ended_by, mark.ended_at_utc, mark.by) == (GOT_WORSE, NOW + DAY, "Ada")
    eased = decide(worse.open_episodes, speaking(2), day=2)
    assert not quiet(eased, 2)
    assert eased.open_episodes[0].acknowledgement == mark


def test_an_alert_made_for_a_worse_state_stays_quiet_when_it_eases_and_returns():
    severe = replace(raised(severity=Severity.SEVERE), acknowledgement=KNOWN.model_copy(update={"severity": Severity.SEVERE}))
    eased = decide((severe,), speaking(1), day=1)
    again = decide(eased.open_episodes, speaking(2, severity=Severity.SEVERE), day=2)
    assert quiet(eased, 1)
    assert quiet(again, 2)


def test_a_snooze_ends_by_itself():
    episode = replace(raised(), snooze=put_off(NOW + 3 * DAY))
    assert quiet(decide((episode,), speaking(2), day=2), 2)
    assert not quiet(decide((episode,), speaking(3), day=3), 3)


def test_an_acknowledgement_ends_with_its_alert():
    silent = decide((acknowledged(),), on(1), day=1)
    ended = decide(silent.open_episodes, on(4), day=4)
    assert [change.episode.acknowledgement for change in ended.ended] == [KNOWN]  # kept as history
    again = decide(ended.open_episodes, speaking(5), day=5, used_ids={ended.ended[0].episode.id})
    assert [change.episode.acknowledgement for change in again.opened] == [None]
    assert not quiet(again, 5)


def test_marks_change_nothing_of_raising_holding_and_ending():
    plain, marked = raised(), acknowledged()
    for found in (speaking(1), on(1), on(1, known=False, weather=MISSING)):
        fates = [
            [[change.reason for change in part] for part in (d.opened, d.continued, d.held, d.ended)]
            for d in (decide((plain,), found, day=1), decide((marked,), found, day=1))
        ]
        assert fates[0] == fates[1]
    held = decide((marked,), on(1, known=False, weather=MISSING), day=1)
    assert quiet(held, 1)


def test_the_same_decision_twice_changes_nothing():
    worse = decide((acknowledged(),), speaking(1, severity=Severity.SEVERE), day=1)
    again = decide(worse.open_episodes, speaking(1, severity=Severity.SEVERE), day=1)
    assert again.open_episodes == worse.open_episodes
    assert not any(change.changed for change in again.continued)


def told(episode: Episode, before: SurfaceOutlook, after: SurfaceOutlook, *, days: float) -> tuple[str, ...]:
    now = NOW + days * DAY
    decision = decide((episode,), after, now=now)
    return digest(after, previous=(before,), decision=decision, now=now).changes


def test_the_message_tells_nothing_new_of_an_acknowledged_alert():
    before, after = outlook(signal(lead=5)), outlook(signal())
    assert told(raised(lead=5), before, after, days=1) == ("Main pitch, rings showing: has begun.",)
    assert told(acknowledged(lead=5), before, after, days=1) == ()


def test_the_message_tells_that_an_acknowledged_alert_got_worse():
    after = outlook(signal(severity=Severity.SEVERE))
    assert told(acknowledged(), outlook(signal()), after, days=1) == ("Main pitch, rings showing: worse, Severe instead of Minor.",)


@pytest.mark.parametrize(
    ("until_days", "said"),
    [
        (-0.5, ()),  # over before the last message, which has told it
        (0.5, ("Main pitch, rings showing: was put off by Ada until now, and is still there.",)),
        (1.5, ()),
    ],
)
def test_the_message_after_a_snooze_tells_that_it_is_still_there(until_days: float, said: tuple[str, ...]):
    episode = replace(raised(), snooze=put_off(ISSUED + until_days * DAY))
    assert told(episode, outlook(signal()), outlook(signal()), days=1) == said
