"""A ground's weather on its page: sources, what was not used, and where sources differ, in words and short tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from forecaster.weather_report import Difference, KnownQuantity, KnownSource, NotUsed, WeatherReport
from forecaster.web.views import Table
from forecaster.web.wording import age_words

SHOWN_SOURCES = 6
SHOWN_ORIGINALS = 3


@dataclass(frozen=True)
class WeatherView:
    """The weather part of a ground's page."""

    summary: str
    sources: Table
    quantities: Table
    not_used: tuple[str, ...]
    differences: Table | None
    rough: str | None
    notes: tuple[str, ...]


def weather_view(report: WeatherReport | None, now: datetime, time_zone: str) -> WeatherView | None:
    """None before the first cycle."""
    if report is None:
        return None
    count = sum(left.count for left in report.not_used)
    kept_out = "nothing was kept out" if not count else f"{count} {'value was' if count == 1 else 'values were'} not used"
    return WeatherView(
        summary=f"Weather: {_counted(len({source.name for source in report.sources}), 'source')}, {kept_out}",
        sources=_sources(report.sources, now),
        quantities=_quantities(report.quantities),
        not_used=tuple(_not_used(left, time_zone) for left in report.not_used),
        differences=_differences(report.differences) if report.differences else None,
        rough=_rough(report.rough_from_utc, time_zone),
        notes=report.notes,
    )


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _sources(sources: Sequence[KnownSource], now: datetime) -> Table:
    shown = [source for source in sources if source.hours_used or source == sources[0]][:SHOWN_SOURCES]
    rows = tuple(
        (source.name, age_words(now - source.issued_at_utc), str(source.hours_used), str(source.hours_missing)) for source in shown
    )
    return Table("Sources, most trusted first", ("Source", "Age", "Hours used", "Hours without any value"), rows)


def _quantities(quantities: Sequence[KnownQuantity]) -> Table:
    rows = tuple(
        (found.quantity, _share(found.missing_past), _share(found.missing_ahead), ", ".join(found.sources) or "–") for found in quantities
    )
    return Table("What is known", ("Quantity", "Missing so far", "Missing ahead", "From"), rows)


def _share(share: float | None) -> str:
    if share is None:
        return "–"
    return "under 1 %" if 0.0 < share < 0.005 else "over 99 %" if 0.995 <= share < 1.0 else f"{share * 100.0:.0f} %"


def _not_used(left: NotUsed, time_zone: str) -> str:
    what = f"{_counted(left.count, 'value')} of {left.quantity} from {left.source}: {left.why}"
    zone = ZoneInfo(time_zone)
    shown = [
        f"{original.hour_utc.astimezone(zone):%-d %b %H:%M} {'no number' if original.value is None else f'{original.value:g} {left.unit}'}"
        for original in left.originals[:SHOWN_ORIGINALS]
    ]
    more = left.count - len(shown)
    shown += [f"{more} more"] if shown and more > 0 else list(left.examples[:SHOWN_ORIGINALS])
    return f"{what} ({'; '.join(shown)})." if shown else f"{what}."


def _differences(differences: Sequence[Difference]) -> Table:
    rows = tuple(
        (
            f"{found.quantity}: {found.first} minus {found.second}",
            f"{found.mean_difference:+.2f} {found.unit}",
            "–" if found.first_sum is None or found.second_sum is None else f"{found.first_sum:.1f} and {found.second_sum:.1f} mm",
            str(found.hours),
        )
        for found in differences
    )
    return Table("Where two sources know the same hours", ("Quantity", "Mean difference", "In all", "Hours"), rows)


def _rough(since: datetime | None, time_zone: str) -> str | None:
    if since is None:
        return None
    local = since.astimezone(ZoneInfo(time_zone))
    return f"From {local:%A %-d %B, %H:%M} on the forecast is made in steps of several hours: trust the day, not the hour."
