"""Grounds as pages and the API show them."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from typing import Any

from pydantic import ValidationError
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from forecaster.documents import GroundSummary
from forecaster.errors import NotFound, StorageError
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import GroundRow


def save_ground(session: Session, ground: GroundSummary, updated_at: datetime) -> None:
    """Keep a ground's description; a ground that was retired is back. Everything else kept for a ground needs this first."""
    values = {"id": ground.id, "document": ground.model_dump(mode="json"), "updated_at": updated_at, "retired_at": None}
    insert_or_replace(session, GroundRow, values, key=("id",))


def retire_other_grounds(session: Session, configured: Iterable[str], now: datetime) -> tuple[GroundSummary, ...]:
    """Grounds that are no longer configured vanish from lists; their history stays. Returns those that have just gone."""
    gone = (GroundRow.id.not_in(list(configured)), GroundRow.retired_at.is_(None))
    found = session.execute(select(GroundRow.id, GroundRow.document).where(*gone)).all()
    session.execute(update(GroundRow).where(*gone).values(retired_at=now), execution_options={"synchronize_session": False})
    retired = []
    for ground_id, document in found:
        with suppress(StorageError):  # described by another version of the program: nobody can be told of it in words
            retired.append(_read(ground_id, document))
    return tuple(retired)


def list_grounds(session: Session) -> tuple[GroundSummary, ...]:
    """All grounds that are configured, by name. Raises: StorageError where another version of the program described one."""
    rows = session.execute(select(GroundRow.id, GroundRow.document).where(GroundRow.retired_at.is_(None)))
    return tuple(sorted((_read(*row) for row in rows), key=lambda ground: (ground.name.casefold(), ground.id)))


def get_ground(session: Session, ground_id: str) -> GroundSummary:
    """One ground. Raises: NotFound where it does not exist or is no longer configured; StorageError as ``list_grounds``."""
    document = session.scalar(select(GroundRow.document).where(GroundRow.id == ground_id, GroundRow.retired_at.is_(None)))
    if document is None:
        raise NotFound(f"there is no ground {ground_id!r}", hint="The list of grounds names those that exist.")
    return _read(ground_id, document)


def _read(ground_id: str, document: dict[str, Any]) -> GroundSummary:
    try:
        return GroundSummary.model_validate(document)
    except ValidationError as error:
        raise StorageError(
            f"the description of the ground {ground_id} is damaged or from another version of the program",
            hint="Run one cycle, or start the service again: it writes it anew.",
        ) from error
