"""The example of the report on a ground's weather."""

from __future__ import annotations

from datetime import UTC, datetime

from forecaster.documents import WeatherStatus
from forecaster.weather_report import Difference, KnownQuantity, KnownSource, NotUsed, OriginalValue, WeatherReport
from forecaster.web.answers import WeatherReportAnswer


def weather_report_example(now: datetime, weather: WeatherStatus) -> dict[str, object]:
    """As JSON, with the moment and the weather of the other examples."""
    answer = WeatherReportAnswer(
        report=WeatherReport(
            ground_id="thistlefold",
            made_at_utc=datetime(2026, 9, 10, 4, 10, tzinfo=UTC),
            since_utc=datetime(2026, 6, 10, 3, tzinfo=UTC),
            sources=(
                KnownSource(
                    name="own rain gauge (gauge)",
                    issued_at_utc=datetime(2026, 9, 10, 3, tzinfo=UTC),
                    first_hour_utc=datetime(2026, 6, 1, tzinfo=UTC),
                    last_hour_utc=datetime(2026, 9, 10, 2, tzinfo=UTC),
                    hours_used=2206,
                    hours_missing=2,
                ),
            ),
            quantities=(
                KnownQuantity(
                    quantity="rain",
                    unit="mm",
                    missing_past=0.0,
                    missing_ahead=0.0,
                    known_until_utc=datetime(2026, 9, 24, 23, tzinfo=UTC),
                    sources=("own rain gauge (gauge)", "Open-Meteo"),
                    origins=("observed", "forecast"),
                ),
            ),
            not_used=(
                NotUsed(
                    source="own rain gauge (gauge)",
                    quantity="rain",
                    unit="mm",
                    check="tipping bucket",
                    why="a burst between dry hours in dry air: a knocked gauge, or a sprinkler",
                    limits="10 mm in one hour in dry air",
                    basis="common practice, no source; 10 mm and 50 % (assumption)",
                    count=1,
                    first_hour_utc=datetime(2026, 9, 3, 8, tzinfo=UTC),
                    last_hour_utc=datetime(2026, 9, 3, 8, tzinfo=UTC),
                    originals=(OriginalValue(hour_utc=datetime(2026, 9, 3, 8, tzinfo=UTC), value=14.2),),
                ),
            ),
            differences=(
                Difference(
                    quantity="rain",
                    unit="mm",
                    first="own rain gauge (gauge)",
                    second="Open-Meteo",
                    hours=2206,
                    mean_difference=-0.01,
                    first_mean=0.05,
                    second_mean=0.06,
                    first_sum=110.4,
                    second_sum=131.0,
                ),
            ),
            rough_from_utc=datetime(2026, 9, 13, 3, 30, tzinfo=UTC),
            notes=(),
        ),
        answered_at_utc=now,
        weather=weather,
    )
    return answer.model_dump(mode="json")
