"""What is due lives in the task table: the tick itself remembers nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from forecaster.errors import StorageError
from forecaster.ground.ground import Ground
from forecaster.pipeline.claims import run_cycles, who_has_it
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds, run_ground
from forecaster.pipeline.leases import LEASE_LASTS
from forecaster.scheduler import run_due
from forecaster.storage.cycles import CycleRecord
from forecaster.storage.database import transaction
from forecaster.storage.tasks import Task, claim_task, ensure_task
from tests.pipeline.conftest import Service, service  # noqa: F401 - the fixture

CYCLE = Task("cycle", "brackenholt")


def test_a_cycle_runs_when_due_and_not_before(service: Service) -> None:  # noqa: F811
    context = service.context()
    every = service.configuration.service.cycle_every_minutes
    register_grounds(context)
    assert run_due(context) == ("brackenholt",)
    assert run_due(context) == ()
    service.wait(minutes=every - 1)
    assert run_due(context) == ()
    service.wait(minutes=1)
    service.write_weather()
    assert run_due(context) == ("brackenholt",)


def test_missed_hours_collapse_into_one_run(service: Service) -> None:  # noqa: F811
    register_grounds(service.context())
    run_due(service.context())
    service.wait(days=3)
    service.write_weather()
    assert run_due(service.context()) == ("brackenholt",)
    assert run_due(service.context()) == ()


def test_a_claimed_cycle_is_left_to_the_process_that_has_it(service: Service) -> None:  # noqa: F811
    register_grounds(service.context())
    with transaction(service.engine) as session:
        ensure_task(session, CYCLE, service.now)
        assert claim_task(session, CYCLE, owner="another", now=service.now, lasts=LEASE_LASTS)
    assert run_due(service.context()) == ()
    service.wait(minutes=2)
    assert run_due(service.context()) == ("brackenholt",), "the other process is gone: its claim has run out"


def test_a_cycle_whose_weather_did_not_come_is_tried_again_soon(service: Service) -> None:  # noqa: F811
    register_grounds(service.context())
    service.take_weather_away()
    assert run_due(service.context()) == ("brackenholt",)
    service.wait(minutes=19)
    assert run_due(service.context()) == ()
    service.wait(minutes=1)
    service.write_weather()
    assert run_due(service.context()) == ("brackenholt",)
    service.wait(minutes=21)
    assert run_due(service.context()) == (), "this one went well"


def test_a_cycle_whose_end_could_not_be_kept_stays_due_and_messages_go_out(
    service: Service,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def locked(*_args: object, **_other: object) -> None:
        raise StorageError("database is locked")

    register_grounds(service.context())
    sent = []
    with monkeypatch.context() as patch:
        patch.setattr("forecaster.pipeline.claims.run_ground", locked)
        patch.setattr("forecaster.scheduler.send_due", lambda *_args, **_kwargs: sent.append(True))
        with pytest.raises(StorageError, match="locked"):
            run_due(service.context())
    assert sent
    assert run_due(service.context()) == ("brackenholt",), "no claim was left behind"


def test_the_mail_of_one_ground_goes_out_before_the_next_ground_is_run(
    service: Service,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A weather service that keeps one ground waiting for a minute must not keep the others' people waiting."""
    second = replace(service.ground, id="other", name="Other ground", recipients=())
    service.configuration = replace(service.configuration, grounds=(service.ground, second))
    register_grounds(service.context())
    mails_before = {}

    def watched(ground: Ground, context: Context, **asked: Any) -> CycleRecord:
        mails_before[ground.id] = len(service.mails())
        return run_ground(ground, context, **asked)

    monkeypatch.setattr("forecaster.pipeline.claims.run_ground", watched)
    assert run_due(service.context()) == ("brackenholt", "other")
    assert mails_before == {"brackenholt": 0, "other": 2}


def test_a_run_by_hand_leaves_a_ground_to_the_process_that_is_at_it(service: Service) -> None:  # noqa: F811
    """And it runs what is not due yet, so that the service does not repeat it at once."""
    second = replace(service.ground, id="other", name="Other ground", recipients=())
    service.configuration = replace(service.configuration, grounds=(service.ground, second))
    register_grounds(service.context())
    with transaction(service.engine) as session:
        ensure_task(session, CYCLE, service.now)
        assert claim_task(session, CYCLE, owner="host/7", now=service.now, lasts=LEASE_LASTS)
    assert [record.ground_id for record in run_cycles(service.context())] == ["other"]
    assert "another process (host/7) is at it and holds it until 05:02:00 UTC at least" in who_has_it("brackenholt", service.context())
    assert [record.ground_id for record in run_cycles(service.context())] == ["other"], "not due, but asked for"
    assert run_due(service.context()) == (), "the one is claimed, the other has just been run"


def test_a_run_that_is_broken_off_leaves_no_claim(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: F811
    def broken_off(*_args: object, **_other: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("forecaster.pipeline.claims.run_ground", broken_off)
        with pytest.raises(KeyboardInterrupt):
            run_cycles(service.context())
    assert run_due(service.context()) == ("brackenholt",)


def test_a_claim_left_behind_runs_out_also_where_invented_weather_stands_still(service: Service) -> None:  # noqa: F811
    register_grounds(service.context())
    real_now = service.now
    context = replace(service.context(), real_clock=lambda: real_now)
    with transaction(service.engine) as session:
        ensure_task(session, CYCLE, service.now)
        assert claim_task(session, CYCLE, owner="dead", now=real_now, lasts=LEASE_LASTS)
    assert run_due(context) == ()
    real_now += LEASE_LASTS
    assert run_due(context) == ("brackenholt",)


def test_a_cycle_that_a_wrong_clock_put_off_for_years_runs(service: Service) -> None:  # noqa: F811
    register_grounds(service.context())
    with transaction(service.engine) as session:
        ensure_task(session, CYCLE, service.now + timedelta(days=4000))
    assert run_due(service.context()) == ("brackenholt",)


def test_a_process_that_is_told_to_stop_begins_nothing_new(service: Service) -> None:  # noqa: F811
    register_grounds(service.context())
    assert run_due(service.context(), stopping=lambda: True) == ()
    assert service.mails() == []
    assert run_due(service.context()) == ("brackenholt",)
