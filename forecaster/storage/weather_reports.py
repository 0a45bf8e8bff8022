"""What is known of each ground's weather: the newest report, which takes the place of the one before."""

from __future__ import annotations

import zlib

from pydantic import ValidationError
from sqlalchemy.orm import Session

from forecaster.errors import StorageError
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import WeatherReportRow
from forecaster.weather_report import WeatherReport


def save_weather_report(session: Session, report: WeatherReport) -> None:
    """Keep the report of a ground in place of the one before."""
    values = {
        "ground_id": report.ground_id,
        "made_at": report.made_at_utc,
        "document": zlib.compress(report.model_dump_json().encode()),
    }
    insert_or_replace(session, WeatherReportRow, values, key=("ground_id",))


def weather_report_of(session: Session, ground_id: str) -> WeatherReport | None:
    """The report of a ground; None before its first cycle. Raises: StorageError where another version of the program wrote it."""
    row = session.get(WeatherReportRow, ground_id)
    if row is None:
        return None
    try:
        return WeatherReport.model_validate_json(zlib.decompress(row.document))
    except (ValidationError, zlib.error) as error:
        message = f"the report on the weather of {ground_id} cannot be read by this version of the program"
        raise StorageError(message, hint="The next cycle writes it anew.") from error
