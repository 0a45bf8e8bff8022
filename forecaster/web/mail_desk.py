"""Addresses that readers take off by a link, over the database."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Engine

from forecaster.storage.database import reading, transaction
from forecaster.storage.links import MAIL_OFF, signed_content
from forecaster.storage.mail_stops import stop_mail, stopped_addresses


class StoredMailDesk:
    """``MailDesk`` over an open database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def address_of(self, word: str) -> tuple[str, str] | None:
        with reading(self._engine) as session:
            content = signed_content(session, MAIL_OFF, word)
        if content is None or len(content) != 2 or not all(isinstance(part, str) for part in content):
            return None
        return content[0], content[1]

    def is_off(self, ground_id: str, address: str) -> bool:
        with reading(self._engine) as session:
            return address.strip().lower() in stopped_addresses(session, ground_id)

    def take_off(self, ground_id: str, address: str, now: datetime) -> None:
        with transaction(self._engine) as session:
            stop_mail(session, ground_id, address, "unsubscribed", now=now)
