"""Past outlooks made once more from what is kept of their runs: the same to the last digit, or it is said what was other then."""

from __future__ import annotations

import os
import subprocess
import sys
import zlib
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import delete, func, select, update

from forecaster.commands.rebuild import Rebuilt, kept_days, rebuild
from forecaster.errors import NotFound, StorageError
from forecaster.ground.ground import WeatherChoice
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.sample import load_sample
from forecaster.storage.database import reading, transaction
from forecaster.storage.models import OutlookRow, RunPartRow, RunRow, Table, WeatherIssueRow
from forecaster.storage.outlooks import outlooks_of_day
from forecaster.storage.retention import REBUILT_DAILY, WHOLE_OUTLOOKS, prune
from tests.pipeline.conftest import Service
from tests.pipeline.test_entered import enter, ring
from tests.pipeline.test_ladder import Services, gauge, services  # noqa: F401 - the fixture


def again(service: Service, day: date | None = None) -> Rebuilt:
    context = service.context()
    return rebuild(service.ground, kept_days(service.ground, context)[-1] if day is None else day, context)


def counted(service: Service) -> dict[str, int]:
    with reading(service.engine) as session:
        return {name: session.scalar(select(func.count()).select_from(table)) or 0 for name, table in Table.metadata.tables.items()}


def test_every_past_day_comes_out_the_same_whatever_has_happened_since(services: Services) -> None:  # noqa: F811
    """A kept state to go on from, a service that failed, another in its place, a ring that was entered, and a gauge of one's own."""
    service = services.service
    service.cycle()
    service.wait(days=1)
    services.down.add("Open-Meteo")
    service.cycle()
    enter(service, "ring", ring(service, "bowling-green"), "r-new")
    service.wait(days=1)
    service.cycle()
    service.wait(hours=6)
    services.down.clear()
    gauge(service)
    service.cycle()
    service.wait(days=1)
    service.cycle()
    before, days = counted(service), kept_days(service.ground, service.context())
    assert len(days) == 4
    for day in days:
        found = again(service, day)
        assert (found.identical, found.differs, found.compared) == (True, (), len(service.ground.surfaces)), found
    assert counted(service) == before, "nothing is written"
    with reading(service.engine) as session:
        rings = [[one.id for one in outlooks_of_day(session, service.ground.id, day)["bowling-green"].rings] for day in days]
    assert rings == [[], [], ["r-new"], ["r-new"]], "each day as it was then"


def test_the_weather_members_are_part_of_it(service: Service) -> None:
    ground = replace(service.ground, weather=WeatherChoice("sample"))
    service.configuration = replace(service.configuration, grounds=(ground,))
    service.now = load_sample(shipped_folder("sample_weather")).now
    service.cycle()
    found = again(service)
    assert (found.identical, found.differs) == (True, ()), found


def test_what_was_other_in_the_configuration_is_named_with_the_values_that_differ(ran_once: Service) -> None:
    service = ran_once
    rules = tuple(replace(rule, title="Otherwise") for rule in service.configuration.rules)
    service.configuration = replace(service.configuration, rules=rules)
    found = again(service)
    assert found.differs == ("rules.toml in config/ was other than now",)
    assert not found.identical
    assert all(one.rebuilt == "Otherwise" for one in found.differences if one.where.endswith(".title"))
    model = replace(service.configuration.model, drying_days=5.0)
    service.configuration = replace(service.configuration, model=model)
    assert again(service).differs == ("rules.toml in config/ was other than now", "model.toml in config/ was other than now")


def test_an_older_outlook_is_compared_in_what_is_left_of_it(ran_once: Service) -> None:
    service = ran_once
    day = service.now.date()
    with transaction(service.engine) as session:  # old outlooks lose their charts with their past days; this test draws none
        session.execute(update(OutlookRow).values(charts=zlib.compress(b'{"water_phone": "<svg/>"}')))
    service.wait(days=WHOLE_OUTLOOKS.days + 1)
    service.write_weather()
    service.cycle()
    found = again(service, day)
    assert (found.identical, found.shortened) == (True, True), found
    assert not again(service).shortened


def test_what_is_gone_or_has_changed_is_said(ran_once: Service) -> None:
    service, day = ran_once, ran_once.now.date()
    with pytest.raises(NotFound, match="not kept"):
        again(service, day - timedelta(days=1))
    with transaction(service.engine) as session:
        blob = session.scalars(select(WeatherIssueRow.blob)).one()
        session.execute(update(WeatherIssueRow).values(blob=blob + b"!"))
    with pytest.raises(NotFound, match="handed out once more"):
        again(service)
    with transaction(service.engine) as session:
        session.execute(delete(WeatherIssueRow))
    with pytest.raises(NotFound, match="no longer kept"):
        again(service)
    with transaction(service.engine) as session:
        session.execute(update(RunRow).values(document=b"?"))
    with pytest.raises(StorageError, match="damaged"):
        again(service)


def test_a_part_that_is_gone_is_said(ran_once: Service) -> None:
    service = ran_once
    service.wait(days=1)
    service.write_weather()
    service.cycle()  # it goes on from a kept state, which is a part
    with transaction(service.engine) as session:
        session.execute(delete(RunPartRow))
    with pytest.raises(StorageError, match="damaged or gone"):
        again(service)


def test_of_old_runs_one_a_week_stays_with_everything_it_rests_on(ran_once: Service) -> None:
    service = ran_once
    for _ in range(9):
        service.wait(days=1)
        service.write_weather()
        service.cycle()
    days = kept_days(service.ground, service.context())
    assert len(days) == 10  # 20 to 29 August 2026: a Thursday to a Saturday
    with transaction(service.engine) as session:
        prune(session, service.ground.id, service.now + REBUILT_DAILY + timedelta(days=1))
    kept = kept_days(service.ground, service.context())
    assert kept == (date(2026, 8, 20), date(2026, 8, 24))
    assert [again(service, day).identical for day in kept] == [True, True]
    with reading(service.engine) as session:
        wanted = {digest for row in session.scalars(select(RunRow)) for digest in row.rests_on["parts"]}
        assert set(session.scalars(select(RunPartRow.digest))) == wanted


MARKS = """
from forecaster.pipeline.kept_run import configuration_marks, program_mark
from forecaster.settings.configuration import load_configuration
from forecaster.settings.shipped import shipped_folder
found = load_configuration(shipped_folder("config"))
print(program_mark(), configuration_marks(found.grounds[0], found))
"""


def test_the_marks_of_program_and_configuration_are_the_same_in_every_process() -> None:
    told = set()
    for seed in ("1", "2"):
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        told.add(subprocess.run([sys.executable, "-c", MARKS], env=environment, capture_output=True, text=True, check=True).stdout)
    assert len(told) == 1
