"""Events keep their identity, and SEQUENCE and stamp move exactly when calendars must take notice (RFC 5545, section 3.8.7.4)."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from sqlalchemy import Engine

from forecaster.storage.calendar import PlannedEvent, StoredEvent, keep_events, kept_events
from forecaster.storage.database import reading, transaction
from tests.storage.builders import NOON

HOUR = timedelta(hours=1)
EVENT = PlannedEvent("work.meadow.2026-09-15@x", NOON + 20 * HOUR, NOON + 24 * HOUR, "Meadow: dry and free for work", "Look first.")


def plan(engine: Engine, *events: PlannedEvent, hours: float = 0) -> list[StoredEvent]:
    with transaction(engine) as session:
        keep_events(session, "hollow", events, now=NOON + hours * HOUR)
    with reading(engine) as session:
        return list(kept_events(session, "hollow"))


def test_the_same_plan_again_changes_nothing(database: Engine) -> None:
    (first,) = plan(database, EVENT)
    assert (first.sequence, first.changed_at, first.cancelled) == (0, NOON, False)
    assert plan(database, EVENT, hours=3) == [first]


def test_another_time_counts_and_other_words_alone_do_not(database: Engine) -> None:
    plan(database, EVENT)
    (reworded,) = plan(database, replace(EVENT, description="Look twice."), hours=3)
    assert (reworded.sequence, reworded.changed_at, reworded.description) == (0, NOON, "Look twice.")
    (moved,) = plan(database, replace(EVENT, ends_at=NOON + 23 * HOUR), hours=6)
    assert (moved.sequence, moved.changed_at, moved.ends_at) == (1, NOON + 6 * HOUR, NOON + 23 * HOUR)


def test_what_is_no_longer_planned_is_called_off_once_and_can_come_back(database: Engine) -> None:
    plan(database, EVENT)
    for hours in (3, 6):
        (off,) = plan(database, hours=hours)
        assert (off.sequence, off.cancelled, off.changed_at) == (1, True, NOON + 3 * HOUR)
    (back,) = plan(database, EVENT, hours=9)
    assert (back.sequence, back.cancelled) == (2, False)


def test_a_window_that_goes_on_keeps_its_start_and_one_that_is_over_stays_as_it_was(database: Engine) -> None:
    (first,) = plan(database, EVENT)
    assert plan(database, replace(EVENT, starts_at=NOON + 21 * HOUR), hours=21) == [first]
    assert plan(database, hours=25) == [first], "over, not called off"
    assert plan(database, hours=24 * 40) == [], "forgotten"
