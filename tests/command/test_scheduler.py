"""What is due lives in the task table: the tick itself remembers nothing."""

from __future__ import annotations

from forecaster.scheduler import run_due
from tests.pipeline.conftest import Service, service  # noqa: F401 - the fixture


def test_a_cycle_runs_when_due_and_not_before(service: Service) -> None:  # noqa: F811
    from forecaster.pipeline.cycle import register_grounds

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
    from forecaster.pipeline.cycle import register_grounds

    register_grounds(service.context())
    run_due(service.context())
    service.wait(days=3)
    service.write_weather()
    assert run_due(service.context()) == ("brackenholt",)
    assert run_due(service.context()) == ()


def test_a_claimed_cycle_is_left_to_the_process_that_has_it(service: Service) -> None:  # noqa: F811
    from datetime import timedelta

    from forecaster.pipeline.cycle import register_grounds
    from forecaster.storage.database import transaction
    from forecaster.storage.tasks import claim_task, ensure_task

    register_grounds(service.context())
    with transaction(service.engine) as session:
        ensure_task(session, "cycle/brackenholt", service.now)
        assert claim_task(session, "cycle/brackenholt", owner="another", now=service.now, lasts=timedelta(minutes=30))
    assert run_due(service.context()) == ()
    service.wait(minutes=31)
    assert run_due(service.context()) == ("brackenholt",), "the other process is gone: its claim has run out"
