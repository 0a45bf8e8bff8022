"""From environment and configuration folder to a Context: the one place where the edges are put together."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from uuid import uuid4

import requests

from forecaster import __version__
from forecaster.delivery.folder import FolderMailer
from forecaster.delivery.outbox import Mailer
from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.pipeline.context import Context, Upkeep, fixed_now, unbroken
from forecaster.pipeline.member_pull import MEMBER_LIMITS, MEMBERS
from forecaster.settings.configuration import Configuration, load_configuration
from forecaster.settings.environment import Environment
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.sources.openmeteo_limits import FREE_LIMITS
from forecaster.stopping import Stop
from forecaster.storage.budget import PartBudget, RequestBudget
from forecaster.storage.database import migrate, open_database


def make_context(environment: Environment, *, stop: Stop | None = None, configuration: Configuration | None = None) -> Context:
    """Read the configuration, open and migrate the database, and choose the mailer. ``stop``: what may break off the work.

    ``configuration``: one that was read already.

    Raises: ConfigurationError with every mistake; StorageError where the database cannot be used.
    """
    configuration = configuration or load_configuration(environment.config)
    still = environment.fixed_now or fixed_now(configuration)
    engine = open_database(environment.database_url)
    migrate(engine)
    key = environment.openmeteo_key
    # With a key the service does the counting; without one the free service's limits are kept here, for all processes together.
    budget = None if key else RequestBudget(engine, "open-meteo", FREE_LIMITS, make_clock(None))
    return Context(
        configuration=configuration,
        engine=engine,
        mailer=make_mailer(environment),
        sender=environment.mail_from,
        public_url=environment.public_url,
        web_session=_web_session(),
        open_meteo=OpenMeteo(
            base_url=environment.openmeteo_url,
            api_key=key.get_secret_value() if key else None,
            past_days=configuration.service.history_days,
            archive_url=environment.openmeteo_archive_url,
            ensemble_url=environment.openmeteo_ensemble_url,
            budget=budget,
            ensemble_budget=None if budget is None else PartBudget(budget, replace(budget, service=MEMBERS, limits=MEMBER_LIMITS)),
        ),
        contact=environment.contact,
        operator_email=environment.operator_email,
        met_norway_url=environment.met_norway_url,
        nasa_power_url=environment.nasa_power_url,
        clock=make_clock(still),
        owner=f"{socket.gethostname()}/{os.getpid()}/{uuid4().hex[:6]}",  # hosts and process ids come again, in containers always
        real_clock=make_clock(None),
        upkeep=Upkeep(
            heartbeat_url=environment.heartbeat_url.get_secret_value() if environment.heartbeat_url else None,
            backup_folder=environment.backup_folder,
            backup_keep=environment.backup_keep,
            disk_folder=environment.data,
            low_disk_mb=environment.low_disk_mb,
            ground_mb=environment.ground_mb,
        ),
        breakable=stop.breakable if stop is not None else unbroken,
    )


def make_clock(still: datetime | None) -> Callable[[], datetime]:
    """The clock of a process: the time in UTC, or a moment that stands still for invented weather."""
    return (lambda: still) if still is not None else (lambda: datetime.now(UTC))


def make_mailer(environment: Environment, *, say: Callable[[str], None] = lambda _step: None) -> Mailer:
    """SMTP where a server is named, else a folder of .eml files. ``say``: is told each step of handing a message to the server."""
    if environment.smtp_host is None:
        assert environment.mail_folder is not None  # the environment reader fills it in
        return FolderMailer(environment.mail_folder)
    password = environment.smtp_password
    assert environment.smtp_port is not None  # the environment reader fills it in
    return SmtpMailer(
        SmtpServer(
            host=environment.smtp_host,
            port=environment.smtp_port,
            security=environment.smtp_tls,
            user=environment.smtp_user,
            password=password.get_secret_value() if password else None,
        ),
        say=say,
    )


def _web_session() -> requests.Session:
    session = requests.Session()
    session.headers["User-Agent"] = f"forecaster/{__version__}"
    return session
