"""A cycle commits only while its lease is its own."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import timedelta

import pytest

from forecaster.ground.ground import Ground
from forecaster.pipeline import cycle as cycle_module
from forecaster.pipeline.claims import cycle_of, run_claimed
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds
from forecaster.pipeline.leases import LEASE_LASTS, renewed, take
from forecaster.storage.cycles import latest_cycle
from forecaster.storage.database import reading, transaction
from forecaster.storage.messages import recent_messages
from forecaster.storage.tasks import claim_task, task_standing
from tests.pipeline.conftest import Service


def take_over(service: Service) -> None:
    """As another process does once the lease has run out, because this one was suspended."""
    later = service.now + LEASE_LASTS
    with transaction(service.engine) as session:
        assert claim_task(session, cycle_of(service.ground.id), owner="other", now=later, lasts=LEASE_LASTS)


@pytest.mark.parametrize("ends", ["well", "badly"])
def test_a_cycle_whose_lease_was_lost_keeps_nothing(service: Service, monkeypatch: pytest.MonkeyPatch, ends: str) -> None:
    pulling = cycle_module.pull_weather

    def suspended(*args: object, **kwargs: object) -> object:
        take_over(service)
        if ends == "badly":
            raise RuntimeError("the machine woke up")
        return pulling(*args, **kwargs)  # type: ignore[arg-type]

    register_grounds(service.context())
    monkeypatch.setattr("forecaster.pipeline.cycle.pull_weather", suspended)
    assert run_claimed(service.ground, service.context()) is None
    assert service.outlooks() == {}
    assert service.alerts() == ()
    with reading(service.engine) as session:
        assert latest_cycle(session, service.ground.id, now=service.now) is None
        assert recent_messages(session, service.ground.id) == ()
        standing = task_standing(session, cycle_of(service.ground.id))
    assert standing is not None
    assert standing.lease_owner == "other", "the lease of the one who took over is left alone"


def test_a_lease_is_renewed_while_the_work_lasts_and_no_longer(service: Service) -> None:
    register_grounds(service.context())
    task = cycle_of(service.ground.id)
    context: Context = replace(service.context(), real_clock=lambda: service.now)

    def held_until() -> object:
        with reading(service.engine) as session:
            standing = task_standing(session, task)
        assert standing is not None
        return standing.lease_until

    assert take(task, context, early=True)
    first = held_until()
    with renewed(task, context, every_s=0.01) as check:
        service.now += timedelta(minutes=1)
        until = time.monotonic() + 10.0
        while held_until() == first and time.monotonic() < until:
            time.sleep(0.01)
        assert held_until() == service.now + LEASE_LASTS
        with transaction(service.engine) as session:
            check(session)
    before = held_until()
    service.now += timedelta(minutes=1)
    time.sleep(0.1)
    assert held_until() == before


def test_the_error_of_a_cycle_stands_in_its_task(service: Service) -> None:
    register_grounds(service.context())
    service.take_weather_away()
    ground: Ground = service.ground
    assert run_claimed(ground, service.context()) is not None
    with reading(service.engine) as session:
        standing = task_standing(session, cycle_of(ground.id))
    assert standing is not None
    assert standing.attempts == 1
    assert "station.csv" in (standing.last_error or "")
    service.write_weather()
    assert run_claimed(ground, service.context(), early=True) is not None
    with reading(service.engine) as session:
        standing = task_standing(session, cycle_of(ground.id))
    assert standing is not None
    assert (standing.attempts, standing.last_error) == (0, None)
