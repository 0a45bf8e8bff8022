"""What is known of a ground's weather: from where, how old, how complete, what was not used and why, and where two sources differ."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

from forecaster.ground.ground import Ground
from forecaster.member_documents import MemberStatus
from forecaster.pipeline.context import Context
from forecaster.pipeline.gather import joined_weather, read_onsite
from forecaster.pipeline.joining import GatheredWeather
from forecaster.pipeline.member_pull import members_of
from forecaster.pipeline.pull import Pull
from forecaster.storage.database import reading
from forecaster.weather.report import SHOWN_DAYS
from forecaster.weather.status import age_in_words
from forecaster.weather_report import Difference, NotUsed, WeatherReport

SHOWN_ORIGINALS = 4
SHOWN_EXAMPLES = 3


def known_weather(ground_id: str, context: Context) -> tuple[Ground, GatheredWeather]:
    """What the database and the ground's own instruments know; no service is asked. Raises: NotFound where it is not configured."""
    ground = context.configuration.ground(ground_id)
    now = context.clock()
    with reading(context.engine) as session:
        since = now - timedelta(days=SHOWN_DAYS)
        options = context.configuration.service
        onsite, stale = read_onsite(ground, now=now), options.stale_after_hours
        gathered = joined_weather(session, ground, Pull(), onsite, now=now, since=since, stale_after_hours=stale)
        members = members_of(session, ground, None, now=now, options=options)
    return ground, replace(gathered, status=gathered.status.model_copy(update={"members": members.status}))


def show_weather(ground: Ground, gathered: GatheredWeather, *, now: datetime, console: Console) -> None:
    """Print it for people."""

    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False)

    say(f"{ground.name}: {gathered.status.text}")
    if gathered.status.members is not None:
        say(_members(gathered.status.members))
    for service in gathered.status.services:
        say(f"{service.text}{f' The last try: {service.last_error}.' if service.last_error else ''}")
    report = gathered.report
    if report is None:
        say("Nothing has been stored yet: run one cycle first.")
        return
    console.print(_sources(report, now=now))
    console.print(_quantities(report))
    if report.rough_from_utc is not None:
        say(f"From {report.rough_from_utc:%a %d %b %H:%M} UTC on hours are spread from longer steps: do not lean on the exact hour.\n")
    say("Not used" if report.not_used else "Every value passed the checks.")
    for left in report.not_used:
        for line in _not_used(left):
            say(line)
    if report.differences:
        console.print(_differences(report.differences))
    if report.notes:
        say("To know")
    for note in report.notes:
        say(f"- {note}")


def _members(status: MemberStatus) -> str:
    """Which members there are: model, number, when they were asked for."""
    issued = "" if status.issued_at_utc is None else f" Asked for on {status.issued_at_utc:%d %b at %H:%M} UTC."
    return f"{status.text}{issued}"


def _sources(report: WeatherReport, *, now: datetime) -> Table:
    table = Table(title="Sources, most trusted first", title_justify="left", box=SIMPLE)
    for heading in ("source", "issued (UTC)", "age", "first hour", "last hour", "gives hours", "silent hours"):
        table.add_column(heading)
    for source in report.sources:
        age = (now - source.issued_at_utc).total_seconds() / 3600.0
        ends = (f"{end:%d %b %H:%M}" if end is not None else "-" for end in (source.first_hour_utc, source.last_hour_utc))
        table.add_row(
            source.name,
            f"{source.issued_at_utc:%d %b %H:%M}",
            age_in_words(max(age, 0.0)),
            *ends,
            str(source.hours_used),
            str(source.hours_missing),
        )
    return table


def _quantities(report: WeatherReport) -> Table:
    """Past and coming hours apart: what is missing behind is another matter than what is missing ahead."""
    table = Table(title=f"Quantities, last {SHOWN_DAYS} days and ahead", title_justify="left", box=SIMPLE)
    for heading in ("quantity", "missing, past", "missing, ahead", "known until (UTC)", "from", "origin"):
        table.add_column(heading)
    for found in report.quantities:
        table.add_row(
            found.quantity,
            _share(found.missing_past),
            _share(found.missing_ahead),
            f"{found.known_until_utc:%d %b %H:%M}" if found.known_until_utc is not None else "never",
            ", ".join(found.sources) or "-",
            ", ".join(found.origins) or "-",
        )
    return table


def _share(share: float | None) -> str:
    """A share that is not nothing is not shown as nothing, nor is one that is not all shown as all."""
    if share is None:
        return "-"
    return "under 1%" if 0.0 < share < 0.005 else "over 99%" if 0.995 <= share < 1.0 else f"{share:.0%}"


def _not_used(left: NotUsed) -> list[str]:
    values = "value" if left.count == 1 else "values"
    lines = [f"- {left.count} {values} of {left.quantity} from {left.source}: {left.why} (check: {left.check}; limits: {left.basis})"]
    if left.first_hour_utc is not None and left.last_hour_utc is not None:
        unit = f" {left.unit}"
        shown = ", ".join(
            f"{original.hour_utc:%d %b %H:%M} {'no number' if original.value is None else f'{original.value:g}{unit}'}"
            for original in left.originals[:SHOWN_ORIGINALS]
        )
        more = len(left.originals) - SHOWN_ORIGINALS
        lines.append(f"    {shown}{f' and {more} more, the last at {left.last_hour_utc:%d %b %H:%M}' if more > 0 else ''}")
    lines += [f"    {example}" for example in left.examples[:SHOWN_EXAMPLES]]
    return lines


def _differences(differences: tuple[Difference, ...]) -> Table:
    table = Table(title="Where two sources know the same hours", title_justify="left", box=SIMPLE)
    for heading in ("quantity", "first", "second", "hours", "first minus second, mean", "first", "second"):
        table.add_column(heading)
    for found in differences:
        rain = found.first_sum is not None and found.second_sum is not None
        one, two = (found.first_sum, found.second_sum) if rain else (found.first_mean, found.second_mean)
        table.add_row(
            found.quantity,
            found.first,
            found.second,
            str(found.hours),
            f"{found.mean_difference:+.2f} {found.unit}",
            f"{one:.1f} {found.unit}{' in all' if rain else ''}",
            f"{two:.1f} {found.unit}{' in all' if rain else ''}",
        )
    return table
