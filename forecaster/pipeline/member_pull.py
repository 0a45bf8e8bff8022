"""Weather members: ask for those that are due, once per cell of the model, and say which stand behind an outlook."""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property

from sqlalchemy.orm import Session

from forecaster.errors import StorageError, WeatherError, WeatherUnavailable
from forecaster.ground.ground import Ground
from forecaster.member_documents import MemberStatus
from forecaster.pipeline.context import Context
from forecaster.pipeline.services import ENSEMBLE, asking
from forecaster.settings.configuration import ServiceOptions
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.http import LATER, Patience
from forecaster.sources.openmeteo_limits import FREE_LIMITS
from forecaster.sources.openmeteo_members import fetch_members, member_cell
from forecaster.sources.sample import load_sample_members
from forecaster.storage.database import reading
from forecaster.storage.retention import MEMBERS as MEMBERS_END
from forecaster.storage.weather import StoredIssue, issue_spans, latest_issues
from forecaster.weather.members import MemberWeather, decode_members, encode_members
from forecaster.weather.status import age_in_words

log = logging.getLogger(__name__)

MEMBERS = f"open-meteo{MEMBERS_END}"
SAMPLE_MEMBERS = f"sample{MEMBERS_END}"
MODEL = "ecmwf_ifs025_ensemble"
MEMBER_LIMITS = {span: limit / 2.0 for span, limit in FREE_LIMITS.items()}
"""Without a key: half of every window at most, since forecasts come first. Status: own choice."""
WHOLE_SECONDS = 60.0
"""For all members of the grounds asked for together; those that do not come in it are asked for in the next cycle."""

MemberOutcome = MemberWeather | WeatherError


@dataclass(frozen=True)
class Members:
    """The members of a ground's outlook (None: there are none that serve), and what is told of them.

    ``new``: pulled in this cycle; ``stored``: what is stored of them, if they are yet.
    """

    weather: MemberWeather | None
    status: MemberStatus
    new: bool = False
    stored: bytes | None = field(default=None, repr=False, compare=False)

    @cached_property
    def blob(self) -> bytes | None:
        """The members as they are stored; None where there are none."""
        if self.weather is None:
            return None
        return encode_members(self.weather) if self.stored is None else self.stored


def source_of(ground: Ground) -> str | None:
    """The name under which a ground's members are stored; None where its kind of weather has none."""
    return {"open-meteo": MEMBERS, "sample": SAMPLE_MEMBERS}.get(ground.weather.source)


def ask_members(grounds: Sequence[Ground], context: Context, *, now: datetime) -> Mapping[str, MemberOutcome]:
    """Ask for the members of those grounds that are due, by ground id, longest due first; a failure is its grounds' own, and no more.

    Grounds in one cell of the model share an answer. Once the service cannot be reached or has had enough, the rest is not asked for.
    Promise: returns within little more than a minute. Raises: StorageError.
    """
    every = timedelta(hours=context.configuration.service.members_every_hours)
    if not every:
        return {}
    due: list[tuple[datetime, Ground]] = []
    with reading(context.engine) as session:
        for ground in grounds:
            source = source_of(ground)
            newest = issue_spans(session, ground.id, source, now=now, since=now - every) if source else ()
            if source and not newest:
                kept = latest_issues(session, ground.id, source, now=now)
                due.append((kept[0].issued_at if kept else datetime.min.replace(tzinfo=now.tzinfo), ground))
    cells: dict[tuple[int, int, int], list[Ground]] = {}
    found: dict[str, MemberOutcome] = {}
    for _, ground in sorted(due, key=lambda pair: pair[0]):
        if ground.weather.source == "sample":
            found[ground.id] = load_sample_members(shipped_folder("sample_weather"))
        else:
            cells.setdefault(member_cell(ground, model=MODEL), []).append(ground)
    ends_at, given_up = time.monotonic() + WHOLE_SECONDS, None
    for sharing in cells.values():
        outcome = given_up or _ask_cell(sharing[0], context, now=now, seconds=ends_at - time.monotonic())
        found |= dict.fromkeys((ground.id for ground in sharing), outcome)
        given_up = outcome if isinstance(outcome, WeatherUnavailable) else None
    return found


def _ask_cell(ground: Ground, context: Context, *, now: datetime, seconds: float) -> MemberOutcome:
    if seconds <= 0.0:
        return WeatherUnavailable("there was no time for all grounds at once", source=MEMBERS, hint=LATER)
    try:
        patience = replace(Patience(), deadline_seconds=seconds)
        with asking(context, ENSEMBLE):
            return fetch_members(ground, session=context.web_session, now=now, service=context.open_meteo, model=MODEL, patience=patience)
    except WeatherError as error:
        return error


def members_of(session: Session, ground: Ground, pulled: MemberOutcome | None, *, now: datetime, options: ServiceOptions) -> Members:
    """The members that stand behind an outlook: those just pulled, or the newest stored ones while they are not stale. All is said."""
    source = source_of(ground)
    if source is None:
        return _none("own weather files have none")
    if not options.members_every_hours:
        return _none("they are switched off in service.toml")
    problem = pulled.message if isinstance(pulled, WeatherError) else None
    if isinstance(pulled, MemberWeather):
        return Members(pulled, _status(pulled, now=now, problem=None), new=True)
    kept, blob = None, None
    for issue in latest_issues(session, ground.id, source, now=now):
        try:
            kept, blob = decode_members(issue.blob), issue.blob
        except StorageError as error:
            log.error("the weather members of %s issued at %s are left out: %s", ground.id, issue.issued_at, error.message)
    if kept is None:
        return _none(problem or "none have come yet", problem)
    status = _status(kept, now=now, problem=problem)
    if (status.age_hours or 0.0) > options.stale_after_hours:
        return _none(f"the newest are {age_in_words(status.age_hours or 0.0)} old" + (f", and {problem}" if problem else ""), problem)
    return Members(kept, status, stored=blob)


def without_use(members: Members, reason: str) -> Members:
    """The same members, where no outlook can be made of them."""
    return _none(reason, members.status.problem)


def member_issues(ground: Ground, members: Members, *, now: datetime) -> list[StoredIssue]:
    """Members that were just pulled, as one compressed blob."""
    weather, blob, source = members.weather, members.blob, source_of(ground)
    if not members.new or weather is None or blob is None or source is None:
        return []
    first, last = weather.hours[0].to_pydatetime(), weather.hours[-1].to_pydatetime()
    return [StoredIssue(ground.id, source, weather.issued_at, now, first, last, blob)]


def _status(weather: MemberWeather, *, now: datetime, problem: str | None) -> MemberStatus:
    age = max((now - weather.issued_at).total_seconds() / 3600.0, 0.0)
    whose = f"{weather.members} weather members of the model {weather.model}"
    if weather.source.sample:
        whose = f"{weather.members} invented weather members"
    tried = f" The newest pull of members failed: {problem}." if problem else ""
    return MemberStatus(
        text=f"{whose}, {age_in_words(age)} old.{tried}",
        members=weather.members,
        model=weather.model,
        issued_at_utc=weather.issued_at,
        age_hours=age,
        problem=problem,
    )


def _none(reason: str, problem: str | None = None) -> Members:
    text = f"No weather members: {reason}. The coming days rest on a single forecast, so how sure it is cannot be said."
    return Members(None, MemberStatus(text=text, problem=problem))
