"""A process that empties the outbox once, by the program's own loop, and may die at a chosen moment.

Run: python -m tests.delivery.send_due DATABASE PORT-OR-FOLDER NOW DEATH OWNER
"""

from __future__ import annotations

import os
import sys
from datetime import datetime
from email.message import EmailMessage
from pathlib import Path

import requests
from sqlalchemy import Engine

from forecaster.delivery.folder import FolderMailer
from forecaster.delivery.outbox import Mailer
from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.pipeline import outgoing
from forecaster.pipeline.context import Context
from forecaster.settings.configuration import load_configuration
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.storage.database import open_database


class MortalMailer:
    """A mailer whose process dies just before, or just after, it has handed a message over."""

    def __init__(self, mailer: Mailer, death: str) -> None:
        self._mailer, self._death = mailer, death

    def send(self, message: EmailMessage) -> None:
        if self._death == "before-send":
            os._exit(9)
        self._mailer.send(message)
        if self._death == "after-send":
            os._exit(9)


def send_due(engine: Engine, mailer: Mailer, *, owner: str, now: datetime) -> None:
    """Send what is due by the program's own loop, as a process called ``owner``, at a moment of the test's choosing."""
    outgoing.send_due(
        Context(
            configuration=load_configuration(shipped_folder("config")),
            engine=engine,
            mailer=mailer,
            sender="outlook@ground.example",
            public_url=None,
            web_session=requests.Session(),
            open_meteo=OpenMeteo(),
            contact=None,
            operator_email=None,
            met_norway_url="https://api.met.no",
            nasa_power_url="https://power.larc.nasa.gov",
            clock=lambda: now,
            owner=owner,
            real_clock=lambda: now,
        )
    )


if __name__ == "__main__":
    database, target, moment, death, owner = sys.argv[1:]
    server = SmtpServer(host="127.0.0.1", port=int(target) if target.isdigit() else 0, security="none")
    mailer: Mailer = SmtpMailer(server) if target.isdigit() else FolderMailer(Path(target))
    send_due(open_database(database), MortalMailer(mailer, death), owner=owner, now=datetime.fromisoformat(moment))
