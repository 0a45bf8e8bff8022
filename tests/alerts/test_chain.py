"""The chain of an alert's messages: begun once, told when something changes, called off once."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from forecaster.alerts.chain import Issued, NextMessage, next_message
from forecaster.alerts.decide import EpisodeDecision, decide_episodes
from forecaster.alerts.episode import Episode
from forecaster.documents import SurfaceOutlook
from forecaster.quantities import Certainty, Severity
from tests.alerts.builders import NOW, RULES
from tests.alerts.test_decide import on, speaking
from tests.risk.builders import MISSING, TODAY

HOLDS = timedelta(days=2)


@dataclass
class Season:
    """Decisions day after day, and the chain of each alert as it is issued from them."""

    open: tuple[Episode, ...] = ()
    chains: dict[str, list[Issued]] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)

    def day(self, number: int, outlook: SurfaceOutlook, *, certainty: Certainty | None = Certainty.LIKELY) -> list[NextMessage]:
        now = NOW + timedelta(days=number)
        today = TODAY + timedelta(days=number)
        decision = decide_episodes(self.open, [outlook], rules=RULES, today=today, now=now, used_ids=self.used)
        self.open = decision.open_episodes
        self.used |= {change.episode.id for change in decision.ended}
        due = self.issue(decision, now, certainty)
        assert self.issue(decision, now, certainty) == [], "asked twice, nothing is new"
        return due

    def issue(self, decision: EpisodeDecision, now: datetime, certainty: Certainty | None) -> list[NextMessage]:
        due = []
        for change in (*decision.ended, *decision.held, *decision.continued, *decision.opened):
            chain = self.chains.setdefault(change.episode.id, [])
            found = next_message(change, chain, certainty=certainty, now=now)
            if found is not None:
                due.append(found)
                name = f"{change.episode.id}.{found.number}"
                chain.append(Issued(name, found.number, found.kind, now, now + HOLDS, found.standing.mark))
        return due


def kinds(due: list[NextMessage]) -> list[str]:
    return [message.kind for message in due]


def test_an_alert_begins_is_told_when_it_gets_worse_and_is_called_off() -> None:
    season = Season()
    (first,) = season.day(0, speaking(0))
    assert (first.kind, first.number, first.references, first.response) == ("Alert", 1, (), "Execute")
    assert first.standing.urgency == "Expected"
    (worse,) = season.day(1, speaking(1, severity=Severity.EXTREME))
    assert (worse.kind, worse.number) == ("Update", 2)
    assert [one.number for one in worse.references] == [1]
    messages = [message for number in range(2, 9) for message in season.day(number, on(number), certainty=None)]
    end = messages[-1]
    assert (end.kind, end.response, end.standing.urgency) == ("Cancel", "AllClear", "Past")
    assert season.day(9, on(9)) == []


def test_what_is_to_come_is_in_the_future_and_asks_to_prepare() -> None:
    (found,) = Season().day(0, speaking(0, lead=3))
    assert (found.standing.urgency, found.response) == ("Future", "Prepare")


def test_without_weather_nothing_is_known_of_it_and_that_is_told_once() -> None:
    season = Season()
    season.day(0, speaking(0))
    (held,) = season.day(1, on(1, known=False, weather=MISSING))
    assert (held.kind, held.standing.certainty, held.standing.urgency, held.response) == ("Update", None, "Unknown", "Monitor")


def test_a_message_that_runs_out_is_followed_by_another_though_nothing_has_changed() -> None:
    season = Season()
    season.day(0, on(0, *speaking(0).signals))
    change = decide_episodes(season.open, [on(3, *speaking(0).signals)], rules=RULES, today=TODAY + timedelta(days=3), now=NOW).continued[0]
    (chain,) = season.chains.values()
    assert next_message(change, chain, certainty=Certainty.LIKELY, now=NOW + timedelta(hours=1)) is None
    late = next_message(change, chain, certainty=Certainty.LIKELY, now=NOW + HOLDS)
    assert late is not None
    assert (late.kind, [one.number for one in late.references]) == ("Update", [1])


def test_the_end_of_an_alert_that_no_message_told_of_is_not_told() -> None:
    season = Season()
    season.day(0, speaking(0))
    season.chains.clear()
    (episode,) = season.open
    gone = replace(episode, status="ended", ended_at=NOW)
    decision = decide_episodes((episode,), [on(0)], rules=(), today=TODAY, now=NOW)
    assert [change.episode.status for change in decision.ended] == [gone.status]
    assert season.issue(decision, NOW, None) == []


DAY = st.sampled_from(["silent", "minor", "extreme", "ahead", "no weather"])


@given(st.lists(DAY, min_size=1, max_size=30))
def test_every_chain_begins_with_an_alert_goes_on_without_a_gap_and_nothing_follows_its_cancel(days: list[str]) -> None:
    season = Season()
    for number, what in enumerate(days):
        outlook = {
            "silent": lambda n: on(n),
            "minor": lambda n: speaking(n, severity=Severity.MINOR),
            "extreme": lambda n: speaking(n, severity=Severity.EXTREME),
            "ahead": lambda n: speaking(n, lead=4),
            "no weather": lambda n: on(n, known=False, weather=MISSING),
        }[what](number)
        season.day(number, outlook)
    for chain in season.chains.values():
        assert [one.number for one in chain] == list(range(1, len(chain) + 1))
        assert chain[0].kind == "Alert"
        assert all(one.kind == "Update" for one in chain[1:-1])
        assert len(chain) == 1 or chain[-1].kind in ("Update", "Cancel")
    ended = {name for name, chain in season.chains.items() if chain[-1].kind == "Cancel"}
    assert ended == set(season.chains) - {episode.id for episode in season.open}
