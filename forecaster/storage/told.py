"""What the last daily message of a ground rested on, so that the next one can say what has changed since."""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass
from datetime import date, datetime

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from forecaster.documents import SurfaceOutlook
from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import ToldRow

_OUTLOOKS = TypeAdapter(tuple[SurfaceOutlook, ...])


@dataclass(frozen=True)
class Told:
    """When a daily message was written, and the outlooks it was written from, without their days."""

    at: datetime
    outlooks: tuple[SurfaceOutlook, ...]


def save_told(session: Session, ground_id: str, local_day: date, told: Told) -> None:
    """Keep what the first message of a local day told; later ones of that day leave it as it is. Earlier days but one are forgotten."""
    kept = [outlook.model_copy(update={"days": ()}).model_dump(mode="json") for outlook in told.outlooks]
    values = {"ground_id": ground_id, "local_day": local_day, "told_at": told.at, "outlooks": zlib.compress(json.dumps(kept).encode())}
    if insert_or_ignore(session, ToldRow, values, key=("ground_id", "local_day")):
        before = select(ToldRow.local_day).where(ToldRow.ground_id == ground_id, ToldRow.local_day < local_day)
        newest = session.scalar(before.order_by(ToldRow.local_day.desc()).limit(1))
        if newest is not None:
            session.execute(delete(ToldRow).where(ToldRow.ground_id == ground_id, ToldRow.local_day < newest))


def last_told(session: Session, ground_id: str, *, before: date) -> Told | None:
    """What the last message from before a local day told; None before the first one.

    One that another version of the program wrote counts as none: what changed since then is not told, and the cycle goes on.
    """
    row = session.scalars(
        select(ToldRow).where(ToldRow.ground_id == ground_id, ToldRow.local_day < before).order_by(ToldRow.local_day.desc()).limit(1)
    ).first()
    if row is None:
        return None
    try:
        return Told(row.told_at, _OUTLOOKS.validate_json(zlib.decompress(row.outlooks)))
    except (ValidationError, zlib.error):
        return None
