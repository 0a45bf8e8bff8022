"""How much room a ground takes: its blobs and texts, which are nearly all of the database."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from forecaster.storage.models import (
    ExplanationRow,
    MessageRow,
    OutlookRow,
    SoilStateRow,
    ToldRow,
    WeatherIssueRow,
    WeatherReportRow,
)


def stored_bytes(session: Session, ground_id: str) -> int:
    """Bytes of a ground's weather, outlooks, charts, states and messages. Indexes and short columns are not counted."""
    sizes = (
        (WeatherIssueRow, func.length(WeatherIssueRow.blob)),
        (OutlookRow, func.length(OutlookRow.document) + func.length(OutlookRow.charts)),
        (ExplanationRow, func.length(ExplanationRow.document)),
        (WeatherReportRow, func.length(WeatherReportRow.document)),
        (ToldRow, func.length(ToldRow.outlooks)),
        (SoilStateRow, func.length(SoilStateRow.blob)),
        (MessageRow, func.length(MessageRow.text) + func.length(MessageRow.html)),
    )
    return sum(int(session.scalar(select(func.coalesce(func.sum(size), 0)).where(row.ground_id == ground_id)) or 0) for row, size in sizes)
