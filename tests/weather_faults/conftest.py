"""One ground on Open-Meteo, which is a server on the loopback that does what the test says; and another server for MET Norway."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from email.utils import format_datetime
from typing import Any

import pytest

from forecaster.ground.ground import WeatherChoice
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.context import Context
from forecaster.pipeline.outgoing import send_due
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.sources.openmeteo_limits import Budget
from forecaster.storage.cycles import CycleRecord
from forecaster.storage.database import reading
from forecaster.storage.services import service_states
from forecaster.weather.service_state import ServiceState
from tests.pipeline.conftest import Service, after_one_cycle, service  # noqa: F401  (fixtures)
from tests.pipeline.test_together import StandIn
from tests.sources import met_norway_answers
from tests.weather_faults.server import FaultyServer, Speak, as_json, faulty_server

OPERATOR = "operator@example.org"
SECONDS = 1.0
"""Patience with a server that never ends its answer."""


@dataclass
class World:
    """The service, its two weather services, and what can be seen of both."""

    service: Service
    open_meteo: FaultyServer
    met_norway: FaultyServer
    impatient: Callable[[], None]
    """From now on nobody waits long for a service."""
    key: str | None = None
    budget: Budget | None = None
    good: StandIn = field(init=False)

    def __post_init__(self) -> None:
        self.good = StandIn(self.service)

    def well(self, path: str, params: dict[str, str]) -> bytes:
        """Open-Meteo as it should be: a forecast, and no archive of this place."""
        if path != "/v1/forecast":
            return as_json({"error": True, "reason": "No data is available for this location"}, "400 Bad Request")
        return as_json(self.answer(params))

    def answer(self, params: dict[str, str]) -> Any:
        places = list(zip(params["latitude"].split(","), params["longitude"].split(","), strict=True))
        answers = [self.good.answer(*place, params) for place in places]
        return answers[0] if len(answers) == 1 else answers

    def forecast(self, speak: Speak) -> None:
        """Let only the forecast speak like this; the archive stays as it is."""
        self.open_meteo.speak = lambda path, params: speak(path, params) if path == "/v1/forecast" else self.well(path, params)

    def norwegian(self, status: str = "200 OK") -> None:
        """MET Norway answers with nine days from now."""

        def speak(_path: str, params: dict[str, str]) -> bytes:
            later = self.service.now.replace(minute=0, second=0, microsecond=0) - met_norway_answers.START
            answer = json.loads(met_norway_answers.a_body())
            answer["geometry"]["coordinates"] = [float(params["lon"]), float(params["lat"]), 23]
            answer["properties"]["meta"]["updated_at"] = f"{self.service.now:%Y-%m-%dT%H:%M:%SZ}"
            for step in answer["properties"]["timeseries"]:
                step["time"] = f"{datetime.fromisoformat(step['time']) + later:%Y-%m-%dT%H:%M:%SZ}"
            expires = format_datetime(self.service.now + timedelta(minutes=30), usegmt=True)
            return as_json(answer, status, {"Expires": expires, "Last-Modified": format_datetime(self.service.now, usegmt=True)})

        self.met_norway.speak = speak

    def context(self) -> Context:
        settings = OpenMeteo(base_url=self.open_meteo.address, archive_url=self.open_meteo.address, api_key=self.key, budget=self.budget)
        context = replace(self.service.context(), open_meteo=settings, nasa_power_url=self.open_meteo.address)
        return replace(context, met_norway_url=self.met_norway.address)

    def cycles(self) -> tuple[CycleRecord, ...]:
        context = self.context()
        records = run_cycles(context)
        send_due(context)
        return records

    def cycle(self) -> CycleRecord:
        (record,) = self.cycles()
        return record

    def state(self, name: str = "open-meteo") -> ServiceState:
        with reading(self.service.engine) as session:
            (found,) = service_states(session, [name])
        return found

    def told_operator(self) -> list[str]:
        """Subjects of all mails to the operator, oldest first."""
        return [str(mail["Subject"]) for mail in self.service.mails() if mail["To"] == OPERATOR]


@pytest.fixture
def world(service: Service, monkeypatch: pytest.MonkeyPatch) -> Iterator[World]:  # noqa: F811
    def waits(**changes: Any) -> None:
        """The attempts as they are; only how long is waited in all, and the sleep between attempts, are a test's."""
        usual = {name: getattr(Patience(), name) for name, field in Patience.__dataclass_fields__.items() if field.init}
        monkeypatch.setattr(Patience.__init__, "__defaults__", tuple((usual | changes).values()))

    waits(sleep=lambda _seconds: None)
    service.operator_email = OPERATOR
    ground = replace(service.ground, weather=WeatherChoice("open-meteo"), surfaces=service.ground.surfaces[:1], fixtures=())
    # Weather members have a service, a breaker and tests of their own.
    options = replace(service.configuration.service, members_every_hours=0)
    service.configuration = replace(service.configuration, grounds=(ground,), service=options)

    def nothing(_path: str, _params: dict[str, str]) -> bytes:
        return as_json({}, "404 Not Found")

    with faulty_server(nothing) as first, faulty_server(nothing) as second:
        made = World(service, first, second, lambda: waits(deadline_seconds=SECONDS, read_seconds=SECONDS / 2))
        first.speak = made.well
        yield made


@pytest.fixture
def database_kind() -> str:
    """A fault lies before the database; how services stand is kept on both kinds in ``tests/storage``."""
    return "sqlite"
