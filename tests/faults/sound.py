"""Whether a database is sound, and what is in it."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Engine, func, select, text

from forecaster.storage.database import reading
from forecaster.storage.models import CycleRow, EpisodeRow, MessageRow, OutlookRow, SoilStateRow, Table, WeatherIssueRow


def assert_sound(engine: Engine) -> None:
    """Every page and index is right, every reference leads somewhere, every row can be read."""
    with reading(engine) as session:
        if engine.dialect.name == "sqlite":
            assert session.execute(text("PRAGMA integrity_check")).scalars().all() == ["ok"]
            assert session.execute(text("PRAGMA foreign_key_check")).all() == []
        for table in Table.metadata.sorted_tables:
            rows = session.execute(table.select()).all()
            assert session.scalar(select(func.count()).select_from(table)) == len(rows)


def contents(engine: Engine) -> dict[str, Any]:
    """What one evaluation leaves, however often it was begun: not when it ran, nor how often it was tried."""
    with reading(engine) as session:
        return {
            "cycles": sorted(session.execute(select(CycleRow.ground_id, CycleRow.status).distinct())),
            "outlooks": sorted(session.execute(select(OutlookRow.ground_id, OutlookRow.surface_id, OutlookRow.local_day))),
            "episodes": sorted(session.execute(select(EpisodeRow.id, EpisodeRow.status, EpisodeRow.severity))),
            "messages": sorted(session.execute(select(MessageRow.key, MessageRow.status))),
            "states": sorted(session.execute(select(SoilStateRow.ground_id, SoilStateRow.local_day).distinct())),
            "sources": sorted(session.execute(select(WeatherIssueRow.ground_id, WeatherIssueRow.source).distinct())),
        }


def messages_by_recipient(engine: Engine) -> dict[tuple[str, str], str]:
    """Where each message stands, by recipient and subject."""
    with reading(engine) as session:
        rows = session.execute(select(MessageRow.recipient, MessageRow.subject, MessageRow.status))
        return {(row.recipient, row.subject): row.status for row in rows}
