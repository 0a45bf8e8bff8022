"""What goes with messages, kept once however many messages it goes with, and only as long as one may still be sent."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import EnclosureRow

KEPT = timedelta(days=3)
"""Longer than any message is of use. Status: own choice."""


def save_enclosure(session: Session, name: str, media_type: str, content_id: str | None, body: bytes, *, now: datetime) -> dict[str, Any]:
    """Keep one enclosure; returns the mark by which a message names it."""
    digest = hashlib.sha256(body).hexdigest()
    insert_or_replace(session, EnclosureRow, {"digest": digest, "body": body, "last_used_at": now}, key=("digest",))
    return {"name": name, "media_type": media_type, "content_id": content_id, "digest": digest}


def enclosure_bodies(session: Session, marks: Iterable[dict[str, Any]]) -> dict[str, bytes]:
    """The bodies behind marks, by digest; one that was dropped is not in it."""
    wanted = [mark["digest"] for mark in marks]
    rows = session.execute(select(EnclosureRow.digest, EnclosureRow.body).where(EnclosureRow.digest.in_(wanted)))
    return {row.digest: row.body for row in rows}


def drop_enclosures(session: Session, now: datetime) -> None:
    """Forget what no message that may still be sent needs."""
    session.execute(delete(EnclosureRow).where(EnclosureRow.last_used_at < now - KEPT))
