"""``forecaster rebuild``: past outlooks made once more from what they rested on, and compared with those that were stored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from rich.console import Console

from forecaster.documents import SurfaceOutlook
from forecaster.errors import NotFound, StorageError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.inputs import work_out
from forecaster.pipeline.kept_run import kept_inputs
from forecaster.risk.sentences import counted
from forecaster.storage.database import reading
from forecaster.storage.outlooks import outlooks_of_day
from forecaster.storage.runs import run_days, run_of_day

SHOWN_DIFFERENCES = 5


@dataclass(frozen=True)
class Difference:
    """One value that is not the same, and where in the outlook it stands."""

    surface_id: str
    where: str
    stored: Any
    rebuilt: Any


@dataclass(frozen=True)
class Rebuilt:
    """One day's outlooks made once more. ``differs``: what was other then than now; ``compared``: surfaces; ``shortened``: only the coming
    days could be compared, since the past days of old outlooks are not kept.
    """

    day: date
    made_at: datetime
    compared: int
    shortened: bool
    differs: tuple[str, ...]
    differences: tuple[Difference, ...]

    @property
    def identical(self) -> bool:
        """Whether every value is the same."""
        return not self.differences


def kept_days(ground: Ground, context: Context) -> tuple[date, ...]:
    """The days whose outlooks can be rebuilt, oldest first. Raises: NotFound where there are none."""
    with reading(context.engine) as session:
        days = run_days(session, ground.id)
    if not days:
        raise NotFound(f"nothing is kept of {ground.id} that an outlook could be rebuilt from", hint="Run one cycle first.")
    return days


def rebuild(ground: Ground, day: date, context: Context) -> Rebuilt:
    """Make the outlooks of a day once more; nothing is written.

    Raises: NotFound where they, or what they rest on, are not kept; StorageError where something is damaged.
    """
    with reading(context.engine) as session:
        run = run_of_day(session, ground.id, day)
        if run is None:
            days = run_days(session, ground.id)
            hint = f"Kept: {counted(len(days), 'day')}, {days[0]} to {days[-1]}." if days else "Run one cycle first."
            raise NotFound(f"what the outlooks of {ground.id} on {day} rest on is not kept", hint=hint)
        ready = kept_inputs(session, run, ground, context.configuration)
        stored = {name: kept for name, kept in outlooks_of_day(session, ground.id, day).items() if kept.issued_at_utc == run.started_at}
    if not stored:
        raise NotFound(
            f"the outlooks of {ground.id} made at {run.started_at} are not kept", hint="The disk was nearly full, or they are gone."
        )
    made = {outlook.surface_id: outlook for outlook in work_out(ready.inputs, context.configuration).outlooks}
    differences: list[Difference] = []
    shortened = False
    for name, kept in stored.items():
        if name not in made:
            differences.append(Difference(name, "the surface", "stored", "not configured any more"))
            continue
        again, days_kept = made[name], {one.day for one in kept.days}
        if len(again.days) > len(kept.days) and all(one.lead_days >= 0 for one in kept.days):
            shortened = True
            again = again.model_copy(update={"days": tuple(one for one in again.days if one.day in days_kept)})
        differences += outlook_differences(kept, again)
    return Rebuilt(day, run.started_at, len(stored), shortened, ready.differs, tuple(differences))


def outlook_differences(stored: SurfaceOutlook, rebuilt: SurfaceOutlook) -> tuple[Difference, ...]:
    """Every value that differs between two outlooks of a surface, in the order of the document."""
    one, other = stored.model_dump(mode="json"), rebuilt.model_dump(mode="json")
    return tuple(Difference(stored.surface_id, where, first, second) for where, first, second in _differing("", one, other))


def _differing(where: str, one: Any, other: Any) -> Iterator[tuple[str, Any, Any]]:
    if isinstance(one, dict) and isinstance(other, dict):
        for key in dict.fromkeys((*one, *other)):
            yield from _differing(f"{where}.{key}" if where else key, one.get(key), other.get(key))
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for number, (first, second) in enumerate(zip(one, other, strict=True)):
            yield from _differing(f"{where}[{number}]", first, second)
    elif one != other:
        yield where, one, other


def print_rebuilt(rebuilt: Rebuilt, console: Console) -> None:
    """One line where all is the same, and otherwise what was other then and the first values that differ."""

    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    surfaces = counted(rebuilt.compared, "surface")
    found = "identical" if rebuilt.identical else f"{counted(len(rebuilt.differences), 'value')} not the same"
    part = " (coming days only: the past days of old outlooks are not kept)" if rebuilt.shortened else ""
    say(f"{rebuilt.day}, made at {rebuilt.made_at:%H:%M} UTC, {surfaces}: {found}{part}.")
    for told in rebuilt.differs:
        say(f"  Not as it was: {told}.")
    if not rebuilt.identical and not rebuilt.differs:
        say("  Program, configuration and weather are as they were: the difference is a fault of the program. Please report it.")
    for one in rebuilt.differences[:SHOWN_DIFFERENCES]:
        say(f"  {one.surface_id} {one.where}: stored {_short(one.stored)}, rebuilt {_short(one.rebuilt)}")
    if len(rebuilt.differences) > SHOWN_DIFFERENCES:
        say(f"  and {len(rebuilt.differences) - SHOWN_DIFFERENCES} more")


def _short(value: Any) -> str:
    text = str(value)
    return text if len(text) <= 100 else f"{text[:97]}…"


def try_rebuild(ground: Ground, day: date, context: Context, console: Console) -> bool:
    """Rebuild and print; True where everything is identical. What cannot be rebuilt is said and counts as not identical."""
    try:
        rebuilt = rebuild(ground, day, context)
    except (NotFound, StorageError) as error:
        console.print(f"{day}: not rebuilt: {error.message}. {error.hint}", markup=False, highlight=False, soft_wrap=True)
        return False
    print_rebuilt(rebuilt, console)
    return rebuilt.identical
