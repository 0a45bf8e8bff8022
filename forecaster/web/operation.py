"""For those who watch the machine: is it alive, is it ready, and its numbers for Prometheus.

Alive and ready are open to everybody who reaches the service and name no ground. Metrics name the grounds that the visitor's key opens.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from time import monotonic
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from sqlalchemy import Engine

import forecaster
from forecaster.documents import Document, GroundSummary, WeatherStatus
from forecaster.errors import StorageError
from forecaster.storage.conditions import conditions
from forecaster.storage.database import prove_writable, reading
from forecaster.storage.messages import count_messages, waiting_since
from forecaster.web.ages import ground_weather, hours_between, worst_weather
from forecaster.web.reading import Store
from forecaster.web.standing import outlooks_of
from forecaster.web.visitor import visible_grounds

# The library is loaded where somebody asks for metrics: most services are never asked.
if TYPE_CHECKING:
    from prometheus_client.core import GaugeMetricFamily

UNSENT_LIMIT = timedelta(hours=6)
"""A message that should have gone out so long ago is a fault of the machine, not of a mailbox. Status: assumption."""
PROOF_SERVES_S = 5.0
"""Writing is proved no oftener than this, however often anybody asks: each proof takes the write lock for a moment."""


class Liveness(Document):
    """The web process answers."""

    alive: bool
    version: str


class Readiness(Document):
    """Whether the service does its work, with the numbers behind it. Ages are None where there is nothing yet."""

    ready: bool
    database_writable: bool
    grounds: int
    grounds_without_good_cycle: int
    oldest_last_good_cycle_age_hours: float | None
    """Of the ground whose last good cycle is longest ago."""
    last_good_cycle_limit_hours: float
    oldest_unsent_message_age_hours: float | None
    """Since the message that waits longest should have gone out."""
    unsent_message_limit_hours: float
    oldest_weather_age_hours: float | None
    weather: str
    """The state of the least trustworthy weather of all grounds: fresh, stale or missing."""
    services: tuple[str, ...]
    """Weather services that are not well, in sentences."""
    problems: tuple[str, ...]
    """Why it is not ready, and what else is wrong, in sentences."""
    answered_at_utc: datetime


@dataclass
class Operation:
    """Reads for those who watch. ``engine`` None: an application over a store without a database, whose writing proves nothing."""

    store: Store
    engine: Engine | None
    now: Callable[[], datetime]
    limit_hours: float
    _proved: tuple[float, str | None] | None = None

    def readiness(self) -> Readiness:
        """Look at everything. A database that fails is a result, not an error."""
        moment = self.now()
        unwritable = self._unwritable()
        try:
            grounds = list(self.store.grounds())
            goods = [self._last_good(ground) for ground in grounds]
            weathers = [self._weather(ground, moment) for ground in grounds]
            weather = worst_weather(weathers) if weathers else None
            services = tuple(dict.fromkeys(note.text for found in weathers for note in found.services))
            waiting, wrong = self._waiting_and_wrong(moment)
        except StorageError as error:
            grounds, goods, weather, services, waiting, wrong = [], [], None, (), None, ()
            unwritable = unwritable or error.message
        ages = [hours_between(good, moment) for good in goods if good is not None]
        unsent = None if waiting is None else hours_between(waiting, moment)
        late = [age for age in ages if age > self.limit_hours]
        failing = [
            *([f"The database cannot be written: {unwritable}."] if unwritable else []),
            *(["There is no ground."] if not grounds and not unwritable else []),
            *([f"{goods.count(None)} of {len(grounds)} grounds never had a good cycle."] if None in goods else []),
            *([f"{len(late)} of {len(grounds)} grounds had no good cycle for {self.limit_hours:g} hours."] if late else []),
            *([f"A message has been waiting for {unsent:.1f} hours."] if unsent is not None and unsent > _hours(UNSENT_LIMIT) else []),
            *([f"The weather of a ground is {weather.state}."] if weather is not None and weather.state != "fresh" else []),
        ]
        return Readiness(
            ready=not failing,
            database_writable=unwritable is None,
            grounds=len(grounds),
            grounds_without_good_cycle=goods.count(None),
            oldest_last_good_cycle_age_hours=max(ages, default=None),
            last_good_cycle_limit_hours=self.limit_hours,
            oldest_unsent_message_age_hours=unsent,
            unsent_message_limit_hours=_hours(UNSENT_LIMIT),
            oldest_weather_age_hours=None if weather is None else weather.age_hours,
            weather="missing" if weather is None else weather.state,
            services=services,
            problems=(*failing, *wrong),
            answered_at_utc=moment,
        )

    def wrong(self) -> tuple[str, ...]:
        """What is wrong with the program or its machine, for the head of pages."""
        if self.engine is None:
            return ()
        with reading(self.engine) as session:
            return tuple(condition.text for condition in conditions(session))

    def metrics(self, grounds: Sequence[GroundSummary]) -> bytes:
        """The numbers in Prometheus' text format, by ground for these. Raises: StorageError."""
        from prometheus_client import CollectorRegistry, generate_latest

        ready = self.readiness()
        registry = CollectorRegistry()
        registry.register(_Families(_families(ready, self._counts(), self._by_ground(grounds))))
        return generate_latest(registry)

    def _counts(self) -> Mapping[str, int]:
        if self.engine is None:
            return {}
        with reading(self.engine) as session:
            return {str(status): count for status, count in count_messages(session).items()}

    def _by_ground(self, grounds: Sequence[GroundSummary]) -> Mapping[str, tuple[float | None, float | None]]:
        """Seconds since the last good cycle, and of the weather's age, by ground id."""
        moment = self.now()
        found = {}
        for ground in grounds:
            good, age = self._last_good(ground), self._weather(ground, moment).age_hours
            since = None if good is None else (moment - good).total_seconds()
            found[ground.id] = (since, None if age is None else age * 3600.0)
        return found

    def _last_good(self, ground: GroundSummary) -> datetime | None:
        cycle = self.store.last_cycle(ground.id)
        return None if cycle is None else cycle.good_at_utc

    def _weather(self, ground: GroundSummary, moment: datetime) -> WeatherStatus:
        return ground_weather(ground, outlooks_of(self.store, ground), moment, limit_hours=self.limit_hours)

    def _waiting_and_wrong(self, moment: datetime) -> tuple[datetime | None, tuple[str, ...]]:
        if self.engine is None:
            return None, ()
        with reading(self.engine) as session:
            return waiting_since(session, moment), tuple(condition.text for condition in conditions(session))

    def _unwritable(self) -> str | None:
        if self.engine is None:
            return None
        if self._proved is None or monotonic() - self._proved[0] > PROOF_SERVES_S:
            try:
                prove_writable(self.engine)
                problem = None
            except StorageError as error:
                problem = error.message
            self._proved = (monotonic(), problem)
        return self._proved[1]


@dataclass(frozen=True, eq=False)
class _Families:
    """What Prometheus' library asks a collector for."""

    families: Sequence[GaugeMetricFamily]

    def collect(self) -> Sequence[GaugeMetricFamily]:
        return self.families


def operation_router(operation: Operation) -> APIRouter:
    """The addresses for those who watch."""
    router = APIRouter()

    @router.get("/api/v1/live", tags=["service"])
    def show_live() -> Liveness:
        """Whether the web process answers. Needs no key."""
        return Liveness(alive=True, version=forecaster.__version__)

    @router.get(
        "/api/v1/ready",
        tags=["service"],
        response_model=Readiness,
        responses={503: {"description": "Not ready; the numbers and the reasons are in the body", "model": Readiness}},
    )
    def show_ready() -> Response:
        """Whether the service does its work: database, last good cycles, unsent messages, age of the weather. Needs no key."""
        found = operation.readiness()
        headers = {"Cache-Control": "no-store"}
        return JSONResponse(found.model_dump(mode="json"), status_code=200 if found.ready else 503, headers=headers)

    @router.get("/metrics", include_in_schema=False)
    def show_metrics(request: Request) -> Response:
        """Numbers for Prometheus, of the grounds that the visitor may see."""
        from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4

        found = operation.metrics(visible_grounds(request, operation.store))
        return Response(found, media_type=CONTENT_TYPE_PLAIN_0_0_4, headers={"Cache-Control": "no-store"})

    return router


def _families(
    ready: Readiness, counts: Mapping[str, int], by_ground: Mapping[str, tuple[float | None, float | None]]
) -> list[GaugeMetricFamily]:
    from prometheus_client.core import GaugeMetricFamily

    found = [
        _gauge("ready", "1 where the service does its work.", float(ready.ready)),
        _gauge("database_writable", "1 where the database can be written.", float(ready.database_writable)),
        _gauge("grounds", "Grounds in the configuration.", ready.grounds),
        _gauge("grounds_without_good_cycle", "Grounds that never had a good cycle.", ready.grounds_without_good_cycle),
        _gauge("problems", "Sentences that the readiness check says.", len(ready.problems)),
    ]
    if ready.oldest_unsent_message_age_hours is not None:
        waited = ready.oldest_unsent_message_age_hours * 3600.0
        found.append(_gauge("oldest_unsent_message_age_seconds", "Since the message that waits longest should have gone out.", waited))
    messages = GaugeMetricFamily("forecaster_messages", "Messages in the outbox by where they stand.", labels=["status"])
    for status, count in counts.items():
        messages.add_metric([status], count)
    good = GaugeMetricFamily("forecaster_last_good_cycle_age_seconds", "Since the last good cycle of a ground.", labels=["ground"])
    age = GaugeMetricFamily("forecaster_weather_age_seconds", "Age of the weather behind a ground's outlook.", labels=["ground"])
    for ground_id, (since, old) in by_ground.items():
        if since is not None:
            good.add_metric([ground_id], since)
        if old is not None:
            age.add_metric([ground_id], old)
    return [*found, messages, good, age]


def _gauge(name: str, help_text: str, value: float) -> GaugeMetricFamily:
    from prometheus_client.core import GaugeMetricFamily

    return GaugeMetricFamily(f"forecaster_{name}", help_text, value=value)


def _hours(span: timedelta) -> float:
    return span / timedelta(hours=1)
