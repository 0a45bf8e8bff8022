"""The task table: what was missed runs once, one process at a time, and a lease that was lost keeps nothing."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
from sqlalchemy import Engine

from forecaster.storage.database import reading, transaction
from forecaster.storage.tasks import (
    LONGEST_LEASE,
    Task,
    TaskStanding,
    any_free_task,
    claim_task,
    due_tasks,
    ensure_task,
    finish_task,
    give_back_task,
    hasten_task,
    holds_lease,
    renew_lease,
    task_standing,
)
from tests.storage.builders import NOON

MINUTE = timedelta(minutes=1)
LASTS = 2 * MINUTE
CYCLE = Task("cycle", "hollow")


@pytest.fixture
def tasks(database: Engine) -> Engine:
    with transaction(database) as session:
        assert ensure_task(session, CYCLE, NOON)
        assert not ensure_task(session, CYCLE, NOON + timedelta(days=9))
    return database


def test_a_task_missed_several_times_runs_once_and_is_claimed_by_one(tasks: Engine) -> None:
    late = NOON + timedelta(hours=5)
    with transaction(tasks) as session:
        assert due_tasks(session, NOON - MINUTE, kind="cycle") == ()
        assert not claim_task(session, CYCLE, owner="a", now=NOON - MINUTE, lasts=LASTS, due_by=NOON - MINUTE)
        assert due_tasks(session, late, kind="cycle") == (CYCLE,)
        assert due_tasks(session, late, kind="backup") == ()
        assert claim_task(session, CYCLE, owner="a", now=late, lasts=LASTS, due_by=late)
        assert not claim_task(session, CYCLE, owner="b", now=late, lasts=LASTS)
        assert not finish_task(session, CYCLE, owner="b", next_due_at=late)
        assert finish_task(session, CYCLE, owner="a", next_due_at=late + timedelta(hours=1))
        assert due_tasks(session, late, kind="cycle") == ()
        assert due_tasks(session, late + timedelta(hours=1), kind="cycle") == (CYCLE,)


def test_the_lease_of_a_dead_process_passes_on_and_what_it_worked_out_is_not_kept(tasks: Engine) -> None:
    with transaction(tasks) as session:
        assert claim_task(session, CYCLE, owner="dead", now=NOON, lasts=LASTS)
        assert not claim_task(session, CYCLE, owner="b", now=NOON + 2 * MINUTE - timedelta(seconds=1), lasts=LASTS)
        assert holds_lease(session, CYCLE, owner="dead")
        assert claim_task(session, CYCLE, owner="b", now=NOON + 2 * MINUTE, lasts=LASTS)
        assert not holds_lease(session, CYCLE, owner="dead")
        assert not renew_lease(session, CYCLE, owner="dead", until=NOON + 9 * MINUTE)
        assert not finish_task(session, CYCLE, owner="dead", next_due_at=NOON)
        assert not give_back_task(session, CYCLE, owner="dead")
        assert holds_lease(session, CYCLE, owner="b")


def test_a_lease_that_is_renewed_lasts(tasks: Engine) -> None:
    with transaction(tasks) as session:
        assert claim_task(session, CYCLE, owner="a", now=NOON, lasts=LASTS)
        assert renew_lease(session, CYCLE, owner="a", until=NOON + 3 * MINUTE)
        assert not claim_task(session, CYCLE, owner="b", now=NOON + 2 * MINUTE, lasts=LASTS)
        assert claim_task(session, CYCLE, owner="b", now=NOON + 3 * MINUTE, lasts=LASTS)


def test_a_lease_from_a_clock_that_was_years_ahead_does_not_count(tasks: Engine) -> None:
    with transaction(tasks) as session:
        assert claim_task(session, CYCLE, owner="a", now=NOON + timedelta(days=4000), lasts=LASTS)
        assert claim_task(session, CYCLE, owner="b", now=NOON, lasts=LASTS)
        assert hasten_task(session, CYCLE, latest=NOON - MINUTE, due_at=NOON - MINUTE)
    assert LASTS < LONGEST_LEASE


def test_attempts_are_counted_until_one_goes_well_and_the_last_error_is_kept(tasks: Engine) -> None:
    for error, attempts in (("no weather", 1), ("no weather either", 2), (None, 0)):
        with transaction(tasks) as session:
            assert claim_task(session, CYCLE, owner="a", now=NOON, lasts=LASTS)
            assert finish_task(session, CYCLE, owner="a", next_due_at=NOON, error=error)
            assert task_standing(session, CYCLE) == TaskStanding(NOON, attempts, error, None, None)


def test_what_is_due_and_free_is_seen_and_what_somebody_works_at_is_not(tasks: Engine) -> None:
    with transaction(tasks) as session:
        assert not any_free_task(session, NOON - MINUTE, real_now=NOON)
        assert any_free_task(session, NOON, real_now=NOON)
        assert claim_task(session, CYCLE, owner="a", now=NOON, lasts=LASTS)
        assert not any_free_task(session, NOON, real_now=NOON)
        assert any_free_task(session, NOON, real_now=NOON + LASTS)
        assert give_back_task(session, CYCLE, owner="a")
        assert any_free_task(session, NOON, real_now=NOON)


def test_of_many_workers_each_task_goes_to_one(database: Engine) -> None:
    """Six workers take what they can of twenty tasks at once."""
    wanted = [Task("cycle", f"ground-{number}") for number in range(20)]
    with transaction(database) as session:
        for task in wanted:
            ensure_task(session, task, NOON)
    start = threading.Barrier(6)
    taken: list[Task] = []

    def work(owner: str) -> None:
        start.wait()
        for task in wanted:
            with transaction(database) as session:
                if claim_task(session, task, owner=owner, now=NOON, lasts=LASTS, due_by=NOON):
                    taken.append(task)

    threads = [threading.Thread(target=work, args=(f"worker {number}",)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken) == sorted(wanted)
    with reading(database) as session:
        assert all(task_standing(session, task).attempts == 1 for task in wanted)  # type: ignore[union-attr]
