"""A service on a CSV ground whose weather file, clock and mail folder the tests hold in their hands."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from functools import cache
from pathlib import Path

import pandas as pd
import pytest
import requests
from sqlalchemy import Engine

from forecaster.delivery.folder import FolderMailer
from forecaster.documents import AlertDocument, SurfaceOutlook
from forecaster.ground.ground import Ground, WeatherChoice
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.context import Context, Upkeep
from forecaster.pipeline.outgoing import send_due
from forecaster.settings.configuration import Configuration, load_configuration
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.storage.cycles import CycleRecord
from forecaster.storage.database import migrate, open_database, reading
from forecaster.storage.episodes import alerts_of
from forecaster.storage.outlooks import latest_outlooks
from tests.databases import database_of

# Before the rain returned on 28 August: a spell of the sample in which alerts are open on every surface.
START = datetime(2026, 8, 20, 5, 0, tzinfo=UTC)


@dataclass
class Service:
    """Everything a test turns by hand: the clock, the weather file, and a look at what came out."""

    folder: Path
    engine: Engine
    configuration: Configuration
    now: datetime = START
    owner: str = "test"
    contact: str | None = None
    operator_email: str | None = None
    upkeep: Upkeep = field(default_factory=Upkeep)
    weather: pd.DataFrame = field(default_factory=lambda: sample_hours().copy())

    @property
    def weather_file(self) -> Path:
        return self.folder / "station.csv"

    @property
    def ground(self) -> Ground:
        return self.configuration.grounds[0]

    def context(self) -> Context:
        return Context(
            configuration=self.configuration,
            engine=self.engine,
            mailer=FolderMailer(self.folder / "mail"),
            sender="forecaster@example.org",
            public_url="https://turf.example.org",
            web_session=requests.Session(),
            open_meteo=OpenMeteo(),
            contact=self.contact,
            operator_email=self.operator_email,
            upkeep=self.upkeep,
            met_norway_url="https://api.met.no",
            nasa_power_url="https://power.larc.nasa.gov",
            clock=lambda: self.now,
            owner=self.owner,
            real_clock=lambda: self.now,
        )

    def write_weather(self, *, days_back: int = 120) -> None:
        """The file as a station with a forecast service behind it would have it now: two weeks ahead are forecast."""
        stamp = pd.Timestamp(self.now)
        rows = self.weather[stamp - pd.Timedelta(days=days_back) : stamp + pd.Timedelta(days=15)]
        origin = ["forecast" if hour >= stamp else "observed" for hour in rows.index]
        rows = rows.assign(origin=origin)
        rows.index = rows.index.strftime("%Y-%m-%dT%H:%M:%SZ")
        rows.to_csv(self.weather_file, index_label="time_utc")

    def take_weather_away(self) -> None:
        self.weather_file.unlink(missing_ok=True)

    def cycle(self) -> CycleRecord:
        (record,) = run_cycles(self.context())
        send_due(self.context())
        return record

    def wait(self, **time: float) -> None:
        self.now += timedelta(**time)

    def outlooks(self) -> dict[str, SurfaceOutlook]:
        with reading(self.engine) as session:
            return latest_outlooks(session, self.ground.id, now=self.now)

    def alerts(self) -> tuple[AlertDocument, ...]:
        with reading(self.engine) as session:
            return alerts_of(session, self.ground.id)

    def mails(self) -> list[EmailMessage]:
        found = (message_from_bytes(path.read_bytes(), policy=policy.default) for path in (self.folder / "mail").glob("*.eml"))
        return sorted(found, key=lambda mail: (mail["Date"].datetime, mail["To"]))

    def mail_text(self) -> str:
        """Text of the newest mail."""
        return " ".join(self.mails()[-1].get_body(("plain",)).get_content().split())


@cache
def sample_hours() -> pd.DataFrame:
    """All hours of the sample weather, one column per variable."""
    parts = [pd.read_csv(shipped_folder("sample_weather") / name) for name in ("history.csv", "forecast.csv")]
    hours = pd.concat(parts).set_index("time_utc").drop(columns="origin", errors="ignore")
    hours.index = pd.to_datetime(hours.index, utc=True)
    return hours


@pytest.fixture
def service(tmp_path: Path, database_url: str, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> Iterator[Service]:
    """Drawing takes most of a cycle's time and has tests of its own; a test marked ``draws`` draws."""
    if request.node.get_closest_marker("draws") is None:
        monkeypatch.setattr("forecaster.pipeline.cycle.chart_set", lambda _outlook: {})
    with made_in(tmp_path, database_url) as made:
        yield made


@dataclass(frozen=True)
class Left:
    """What one cycle leaves: a folder, and the name of the database where that is not in it."""

    folder: Path
    database: str | None


@pytest.fixture(scope="session")
def after_one_cycle(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Callable[[str], Left]:
    """What one cycle leaves on a kind of database, run once for all tests that begin there."""

    @cache
    def left(kind: str) -> Left:
        folder = tmp_path_factory.mktemp("after-one-cycle")
        server = request.getfixturevalue("postgresql") if kind == "postgresql" else None
        name = None if server is None else server.create()
        url = f"sqlite:///{folder / 'forecaster.db'}" if name is None else server.url(name)
        with pytest.MonkeyPatch.context() as patch, made_in(folder, url) as made:
            patch.setattr("forecaster.pipeline.cycle.chart_set", lambda _outlook: {})
            assert made.cycle().status == "ok"
        return Left(folder, name)

    return left


@pytest.fixture
def ran_once(
    after_one_cycle: Callable[[str], Left],
    database_kind: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    request: pytest.FixtureRequest,
) -> Iterator[Service]:
    """A service after one good cycle, with a database, weather file and mails of its own."""
    monkeypatch.setattr("forecaster.pipeline.cycle.chart_set", lambda _outlook: {})
    left = after_one_cycle(database_kind)
    server = None if left.database is None else request.getfixturevalue("postgresql")
    folder = tmp_path / "copy"
    shutil.copytree(left.folder, folder)
    with database_of(database_kind, folder, server, copy_of=left.database) as url, made_in(folder, url, write=False) as made:
        yield made


@cache
def shipped_configuration() -> Configuration:
    """Read once: nothing in it can be changed."""
    return load_configuration(shipped_folder("config"))


@contextmanager
def made_in(folder: Path, url: str, *, write: bool = True) -> Iterator[Service]:
    """The shipped ground, with its weather in a file, its mails in a folder, and a database."""
    engine = open_database(url)
    migrate(engine)
    shipped = shipped_configuration()
    ground = replace(shipped.grounds[0], weather=WeatherChoice("csv", str(folder / "station.csv")))
    made = Service(folder, engine, replace(shipped, grounds=(ground,)))
    if write:
        made.write_weather()
    yield made
    engine.dispose()
