"""Soil states at the end of local days, so that a cycle need not start from the beginning. Imports numpy: not for the web process."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy.typing as npt
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from forecaster.storage.arrays import pack_arrays
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import SoilStateRow


def save_state(session: Session, ground_id: str, local_day: date, *, fingerprint: str, arrays: Mapping[str, npt.NDArray[Any]]) -> None:
    """Keep the state of all columns of a ground at the end of a day; it takes the place of an earlier one of that day and fingerprint."""
    values = {"ground_id": ground_id, "local_day": local_day, "fingerprint": fingerprint, "blob": pack_arrays(arrays)}
    insert_or_replace(session, SoilStateRow, values, key=("ground_id", "local_day", "fingerprint"))


def latest_state_before(session: Session, ground_id: str, day: date, *, fingerprint: str) -> tuple[date, bytes] | None:
    """The newest state from before ``day`` with these settings as its day and packed arrays; None where there is none."""
    row = session.execute(
        select(SoilStateRow.local_day, SoilStateRow.blob)
        .where(SoilStateRow.ground_id == ground_id, SoilStateRow.fingerprint == fingerprint, SoilStateRow.local_day < day)
        .order_by(SoilStateRow.local_day.desc())
        .limit(1)
    ).first()
    return None if row is None else (row.local_day, row.blob)


def drop_states_before(session: Session, ground_id: str, day: date) -> None:
    """Forget states from before ``day``: they can be simulated again from the weather, which is kept."""
    session.execute(delete(SoilStateRow).where(SoilStateRow.ground_id == ground_id, SoilStateRow.local_day < day))
