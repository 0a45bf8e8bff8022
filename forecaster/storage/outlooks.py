"""Outlooks with their rendered charts: the newest of each surface and local day."""

from __future__ import annotations

import json
import zlib
from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from forecaster.documents import SurfaceOutlook
from forecaster.errors import StorageError
from forecaster.storage.ahead import not_ahead
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import OutlookRow


def save_outlook(session: Session, outlook: SurfaceOutlook, charts: Mapping[str, str]) -> None:
    """Keep an outlook and its charts (name: SVG); it takes the place of an earlier one of the same surface and local day."""
    values = {
        "ground_id": outlook.ground_id,
        "surface_id": outlook.surface_id,
        "local_day": outlook.today,
        "issued_at": outlook.issued_at_utc,
        "document": zlib.compress(outlook.model_dump_json().encode()),
        "charts": zlib.compress(json.dumps(dict(charts)).encode()),
    }
    insert_or_replace(session, OutlookRow, values, key=("ground_id", "surface_id", "local_day"))


def latest_outlook(session: Session, ground_id: str, surface_id: str, *, now: datetime) -> SurfaceOutlook | None:
    """The newest outlook of one surface; None where there is none yet.

    Raises: StorageError where it was written by another version of the program.
    """
    row = session.scalars(_newest_of_surface(ground_id, surface_id, now)).first()
    return None if row is None else _read(row)


def latest_outlooks(
    session: Session, ground_id: str, *, now: datetime, surface_ids: Collection[str] | None = None
) -> dict[str, SurfaceOutlook]:
    """The newest outlook of these surfaces (None: of every one that ever had one), by surface id. Raises: as ``latest_outlook``.

    Name the surfaces that the ground has: what is left of others is never written anew and may be of an old version for good.
    """
    query = _newest_of_each(ground_id, now)
    if surface_ids is not None:
        query = query.where(OutlookRow.surface_id.in_(surface_ids))
    return {row.surface_id: _read(row) for row in session.scalars(query)}


def outlooks_of_day(session: Session, ground_id: str, day: date) -> dict[str, SurfaceOutlook]:
    """The outlooks of one local day, by surface id; old ones without their past days. Raises: as ``latest_outlook``."""
    rows = session.scalars(select(OutlookRow).where(OutlookRow.ground_id == ground_id, OutlookRow.local_day == day))
    return {row.surface_id: _read(row) for row in rows}


def outlook_times(session: Session, ground_id: str, *, now: datetime, surface_ids: Collection[str]) -> dict[str, datetime]:
    """When the newest outlook of each of these surfaces was made, by surface id; without reading what it says."""
    query = _newest_of_each(ground_id, now).where(OutlookRow.surface_id.in_(surface_ids))
    rows = session.execute(query.with_only_columns(OutlookRow.surface_id, OutlookRow.issued_at))
    return {row.surface_id: row.issued_at for row in rows}


def latest_charts(session: Session, ground_id: str, surface_id: str, *, now: datetime) -> dict[str, str]:
    """The charts (name: SVG) that belong to ``latest_outlook``; empty where there is none yet. Raises: StorageError where damaged."""
    row = session.scalars(_newest_of_surface(ground_id, surface_id, now)).first()
    if row is None:
        return {}
    try:
        return dict(json.loads(zlib.decompress(row.charts)))
    except (zlib.error, ValueError, TypeError) as error:
        raise StorageError(
            f"the charts of {row.ground_id}/{row.surface_id} for {row.local_day} are damaged", hint="Run one cycle: it draws them anew."
        ) from error


def _newest_of_surface(ground_id: str, surface_id: str, now: datetime) -> Select[Any]:
    return (
        select(OutlookRow)
        .where(OutlookRow.ground_id == ground_id, OutlookRow.surface_id == surface_id, not_ahead(OutlookRow.issued_at, now))
        .order_by(OutlookRow.local_day.desc())
        .limit(1)
    )


def _newest_of_each(ground_id: str, now: datetime) -> Select[Any]:
    newest = select(OutlookRow.surface_id, func.max(OutlookRow.local_day).label("day"))
    chosen = (
        newest.where(OutlookRow.ground_id == ground_id, not_ahead(OutlookRow.issued_at, now)).group_by(OutlookRow.surface_id).subquery()
    )
    return (
        select(OutlookRow)
        .join(chosen, (OutlookRow.surface_id == chosen.c.surface_id) & (OutlookRow.local_day == chosen.c.day))
        .where(OutlookRow.ground_id == ground_id)
        .order_by(OutlookRow.surface_id)
    )


def _read(row: OutlookRow) -> SurfaceOutlook:
    try:
        return SurfaceOutlook.model_validate_json(zlib.decompress(row.document))
    except (ValidationError, zlib.error) as error:
        raise StorageError(
            f"the outlook of {row.ground_id}/{row.surface_id} for {row.local_day} is damaged or from another version of the program",
            hint="Run one cycle: it writes the outlook anew.",
        ) from error
