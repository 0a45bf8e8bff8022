"""Ask for many grounds at once, and for no more days than are missing: a service counts both."""

from __future__ import annotations

import logging
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

from sqlalchemy.orm import Session

from forecaster.errors import WeatherError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.member_pull import MemberOutcome, ask_members
from forecaster.pipeline.services import FORECAST, asking, overall_error
from forecaster.sources.openmeteo import fetch_forecasts
from forecaster.storage.database import reading
from forecaster.storage.weather import issue_spans
from forecaster.weather.frame import HourlyWeather

log = logging.getLogger(__name__)

OPEN_METEO = "open-meteo"
TOGETHER = 50
"""Grounds that are asked for at once and then run one by one: what was pulled waits in memory no longer than that."""
RECENT_DAYS = 4
"""Past days of an ordinary question: with 16 days ahead it weighs 1, the least there is. Further back stored issues know."""
WHOLE_EVERY = timedelta(days=7)
"""After so long all past days are asked for again, late corrections with them: the least often that keeps a cycle's weight near 1."""
_SPREAD_HOURS = 72

Outcome = HourlyWeather | WeatherError


@dataclass(frozen=True)
class Asked:
    """What asking for many grounds together gave for one of them; None: nothing was asked, it asks for itself (members: not due)."""

    forecast: Outcome | None = None
    members: MemberOutcome | None = None


def with_answers(
    grounds: Sequence[Ground], context: Context, *, stopping: Callable[[], bool] = lambda: False
) -> Iterator[tuple[Ground, Asked]]:
    """The grounds one by one, in order, each with what asking for it together with others gave."""
    for start in range(0, len(grounds), TOGETHER):
        batch = grounds[start : start + TOGETHER]
        asked: Mapping[str, Outcome] = {}
        members: Mapping[str, MemberOutcome] = {}
        if not stopping():
            try:
                with context.breakable():
                    asked = ask_together(batch, context, now=context.clock())
                    members = ask_members(batch, context, now=context.clock())
            except Exception:
                # Each ground then asks for itself, and one that fails, fails by itself and is told.
                log.exception("asking for %s grounds together failed", len(batch))
        for ground in batch:
            yield ground, Asked(asked.get(ground.id), members.get(ground.id))


def ask_together(grounds: Sequence[Ground], context: Context, *, now: datetime) -> Mapping[str, Outcome]:
    """Ask Open-Meteo for these grounds in as few requests as it takes; by ground id, an error where a ground's weather did not come.

    A ground that would stand alone, or takes its weather from elsewhere, is left out: it asks for itself. Nothing is stored.
    Promise: returns within two minutes, whatever the service does. Raises: StorageError.
    """
    asked = [ground for ground in grounds if ground.weather.source == OPEN_METEO]
    if len(asked) < 2:
        return {}
    by_days: dict[int, dict[str, Ground]] = {}
    with reading(context.engine) as session:
        for ground in asked:
            days = days_to_ask(session, ground, history_days=context.open_meteo.past_days, now=now)
            by_days.setdefault(days, {})[ground.id] = ground
    found: dict[str, Outcome] = {}
    for days, places in sorted(by_days.items()):
        service = replace(context.open_meteo, past_days=days)
        try:
            with asking(context, FORECAST) as asked_service:
                answers = fetch_forecasts(places, session=context.web_session, now=now, service=service)
                asked_service.error = overall_error(list(answers.values()))
        except WeatherError as error:  # left alone for now
            answers = dict.fromkeys(places, error)
        found |= answers
    return found


def days_to_ask(session: Session, ground: Ground, *, history_days: int, now: datetime) -> int:
    """Past days to ask for: a few where stored issues reach on from the last whole answer without a gap, else all.

    A whole answer serves for four to seven days, by the ground's name, so that grounds that began together do not all ask for everything
    on one day ever after.
    """
    serves = WHOLE_EVERY - timedelta(hours=zlib.crc32(ground.id.encode()) % _SPREAD_HOURS)
    spans = issue_spans(session, ground.id, OPEN_METEO, now=now, since=now - serves)
    reached = datetime.combine(now.date() - timedelta(days=min(RECENT_DAYS, history_days)), time.min, tzinfo=now.tzinfo)
    for span in spans:
        if span.issued_at < reached:
            return history_days
        if span.issued_at - span.first_hour >= timedelta(days=history_days - 1):
            return min(RECENT_DAYS, history_days)
        reached = min(reached, span.first_hour)
    return history_days
