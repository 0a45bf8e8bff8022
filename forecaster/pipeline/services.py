"""Ask a weather service only when its breaker lets us, keep how it went, and tell whoever runs the program what needs a person."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from forecaster.credits import ServiceNote
from forecaster.errors import WeatherError, WeatherUnavailable
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.operator import tell_operator
from forecaster.storage.database import reading, transaction
from forecaster.storage.services import change_service, service_states
from forecaster.weather.service_state import Named, ServiceState, after_answer, after_failure, before_asking

log = logging.getLogger(__name__)

FORECAST, ARCHIVE, ENSEMBLE, MET_NORWAY, NASA_POWER = "open-meteo", "open-meteo-archive", "open-meteo-ensemble", "met-norway", "nasa-power"
NAMES: Mapping[str, str] = {
    FORECAST: "Open-Meteo",
    ARCHIVE: "Open-Meteo's archive",
    ENSEMBLE: "Open-Meteo's ensemble",
    MET_NORWAY: "MET Norway",
    NASA_POWER: "NASA POWER",
}
KEPT_FOR = timedelta(minutes=5)
"""A good answer is written down again only after so long: many grounds get one from the same service within a cycle."""

SAID: Mapping[Named, tuple[str, str]] = {
    "shut out": ("does not let us in", "The key may have expired, or its plan does not include this."),
    "terms": (
        "has moved, or its terms have changed",
        "It answers with something else than weather: read its terms, and check its address.",
    ),
    "limit": ("has had as much from us as it allows", "Nothing to do if it is rare; else ask less often, or use a key."),
    "deprecated": ("says that this form of its forecast is about to end", "Look for a newer version of this program before it does."),
}
"""What each name means, for a subject or after a name, and what to do about it."""


@dataclass
class Asking:
    """One round of asking a service. ``deprecated``: set where its answer says so. ``error``: set where it failed without raising."""

    deprecated: bool = False
    error: WeatherError | None = None


@contextmanager
def asking(context: Context, service: str) -> Iterator[Asking]:
    """Ask within this: what is raised inside counts as the service's failure, everything else as its answer.

    Raises: WeatherUnavailable where the service is left alone for now; then nothing inside has run. StorageError.
    """
    _ask_leave(context, service)
    asked = Asking()
    try:
        yield asked
    except WeatherError as error:
        _note(context, service, error=error)
        raise
    except BaseException:
        # No word about the service, but whoever waits for how it went must not wait for nothing.
        with transaction(context.engine) as session:
            change_service(session, service, lambda state: _without_probe(state))
        raise
    _note(context, service, error=asked.error, deprecated=asked.deprecated)


def overall_error(outcomes: Sequence[Any]) -> WeatherError | None:
    """What many outcomes of one round say of the service: nothing where any is an answer, else the first error."""
    errors = [outcome for outcome in outcomes if isinstance(outcome, WeatherError)]
    return errors[0] if errors and len(errors) == len(outcomes) else None


def services_of(ground: Ground) -> tuple[str, ...]:
    """The services that a ground's weather may come from."""
    return tuple(NAMES) if ground.weather.source == FORECAST else ()


def service_notes(session: Session, ground: Ground, *, now: datetime) -> tuple[ServiceNote, ...]:
    """What is wrong with the services of a ground, in words; those that are well are left out."""
    return tuple(_note_of(state, now) for state in service_states(session, services_of(ground)) if state.named or state.held_until)


def _ask_leave(context: Context, service: str) -> None:
    now, asked_as = context.real_clock(), _asked_as(context, service)
    with reading(context.engine) as session:
        states = service_states(session, [service])
    if states and states[0].held_until is None and states[0].asked_as == asked_as:
        return  # the usual case writes nothing
    allowed = True

    def change(state: ServiceState) -> ServiceState:
        nonlocal allowed
        after, allowed = before_asking(state, asked_as=asked_as, now=now)
        return after

    with transaction(context.engine) as session:
        before, after = change_service(session, service, change)
        if before.asked_as != after.asked_as and before.named:
            log.info("%s has another address or key than before: asked anew", NAMES[service])
    if not allowed:
        until = after.held_until if after.breaker(now) == "open" else after.probe_until
        assert until is not None  # what does not allow asking is one of the two
        raise WeatherUnavailable(
            f"{NAMES[service]} is left alone until {until:%H:%M} UTC: {after.last_error or 'it failed before'}",
            source=NAMES[service],
            hint=after.last_hint or "Nothing to do: asking goes on by itself then.",
        )


def _note(context: Context, service: str, *, error: WeatherError | None, deprecated: bool = False) -> None:
    now = context.real_clock()

    def change(state: ServiceState) -> ServiceState:
        if error is not None:
            return after_failure(state, error, now=now)
        after = after_answer(state, now=now, deprecated=deprecated)
        recent = state.answered_at is not None and timedelta(0) <= now - state.answered_at < KEPT_FOR
        same = (state.failures, state.held_until, state.named) == (after.failures, after.held_until, after.named)
        return state if recent and same else after

    with transaction(context.engine) as session:
        before, after = change_service(session, service, change)
        if after.named:
            _tell_trouble(session, context, after, now=now)
        elif before.named:
            _tell_end(session, context, before, now=now)


def _without_probe(state: ServiceState) -> ServiceState:
    return replace(state, probe_until=None)


def _tell_trouble(session: Session, context: Context, state: ServiceState, *, now: datetime) -> None:
    assert state.named is not None
    said, to_do = SAID[state.named]
    paragraphs = [
        f"{NAMES[state.service]} {said}, since {state.named_since or now:%Y-%m-%d %H:%M} UTC.",
        *([f"It was last asked at {now:%H:%M} UTC: {state.last_error}."] if state.last_error and state.named != "deprecated" else []),
        to_do if state.last_hint is None or state.named == "deprecated" else state.last_hint,
        "Meanwhile other services and the last good weather serve as far as they reach; pages and mails say how old it is. "
        "You are told of this once a day at most, and when it is over.",
    ]
    key = f"service/{state.service}/{state.named}/{now.astimezone(UTC):%Y-%m-%d}"
    tell_operator(session, context, f"{NAMES[state.service]} {said}", paragraphs, key=key, now=now)


def _tell_end(session: Session, context: Context, before: ServiceState, *, now: datetime) -> None:
    assert before.named is not None
    name, said = NAMES[before.service], SAID[before.named][0]
    since = before.named_since or now
    paragraphs = [f"{name} answers again as it should. What was told before is over: it {said}, since {since:%Y-%m-%d %H:%M} UTC."]
    key = f"service/{before.service}/{before.named}/over/{now.astimezone(UTC):%Y-%m-%d}"
    tell_operator(session, context, f"{name} answers again", paragraphs, key=key, now=now)


def _note_of(state: ServiceState, now: datetime) -> ServiceNote:
    name, where = NAMES[state.service], state.breaker(now)
    assert state.named or where != "closed"  # else there is nothing to note
    if state.named:
        text = f"{name} {SAID[state.named][0]}"
        if state.named_since is not None:
            text += f", since {state.named_since:%Y-%m-%d %H:%M} UTC"
    else:
        text = f"{name} failed {state.failures} times in a row" if state.failures > 1 else f"{name} failed"
    if where == "open" and state.held_until is not None:
        text += f"; it is asked again at {state.held_until:%Y-%m-%d %H:%M} UTC"
    return ServiceNote(
        service=state.service,
        name=name,
        state=state.named or ("open" if where == "open" else "half-open"),
        text=f"{text}.",
        last_error=state.last_error,
        since_utc=state.named_since or state.failed_at,
        asked_again_utc=state.held_until,
        answered_at_utc=state.answered_at,
    )


def _asked_as(context: Context, service: str) -> str:
    """A fingerprint of address and key: with another one a service is asked anew, whatever it said to the one before."""
    open_meteo = context.open_meteo
    parts = {
        FORECAST: (open_meteo.base_url, open_meteo.api_key),
        ARCHIVE: (open_meteo.archive_url, open_meteo.api_key),
        ENSEMBLE: (open_meteo.ensemble_url, open_meteo.api_key),
        MET_NORWAY: (context.met_norway_url, context.contact),
        NASA_POWER: (context.nasa_power_url, None),
    }[service]
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]
