"""One JSON answer from a weather service, within a time that a clock on the wall would agree with.

The time limits of the HTTP library are per read: a server that drips a byte a second never meets them. So each attempt runs in a
thread of its own that is left behind at the deadline, and the body is read piece by piece with a cap on its size.

Nothing here repeats an address with its parameters, a header or the text of a library exception: a key could stand in them.
"""

from __future__ import annotations

import json
import random  # noqa: TID251  (only to spread attempts in time; tests pass their own draw)
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from concurrent.futures import TimeoutError as NotInTime
from dataclasses import dataclass, field
from typing import Any

import requests
import urllib3

from forecaster import __version__
from forecaster.errors import WeatherError, WeatherMalformed, WeatherRefused, WeatherUnavailable

USER_AGENT = f"forecaster/{__version__} (weather risk for sports turf)"
TRANSIENT_STATUSES = frozenset({500, 502, 503, 504})
TOO_MANY_REQUESTS = 429
LATER = "Nothing to do: the next cycle tries again."
_PIECE_BYTES = 65536


@dataclass(frozen=True)
class Query:
    """One question to a weather service. ``limit_hint`` turns the reason of a 429 into what a person can do."""

    source: str
    url: str
    params: Mapping[str, str]
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    limit_hint: Callable[[str], str] = lambda reason: LATER


@dataclass(frozen=True)
class Patience:
    """How long and how often to try. ``deadline_seconds`` covers all attempts and pauses together."""

    deadline_seconds: float = 60.0
    size_limit: int = 20_000_000
    """Bytes of the unpacked body."""
    attempts: int = 3
    connect_seconds: float = 5.0
    read_seconds: float = 30.0
    """Longest silence of the server."""
    longest_pause_seconds: float = 2.0
    """Before the second attempt; doubles with each one. The pause is drawn between nothing and this (full jitter)."""
    sleep: Callable[[float], None] = time.sleep
    draw: Callable[[], float] = random.random
    clock: Callable[[], float] = time.monotonic


class _Transient(Exception):
    """This attempt failed in a way that the next may not. Says how, as half a sentence about the source."""


def fetch_json(session: requests.Session, query: Query, *, patience: Patience | None = None) -> Any:
    """Ask once, at most three times, and give back the parsed JSON.

    Promise: returns or raises within the deadline (plus a moment), whatever the server does. Another attempt is made only after
    a failed or broken connection, an answer that breaks off or is not JSON, and 500, 502, 503 or 504; never after a 4xx.
    Redirects are not followed.

    Raises: WeatherUnavailable (try later: unreachable, too slow, overloaded, limit reached), WeatherRefused (the source said no),
    WeatherMalformed (too large).
    """
    patience = patience or Patience()
    ends_at = patience.clock() + patience.deadline_seconds
    failure = "gave no answer"
    for attempt in range(patience.attempts):
        if attempt:
            pause = patience.draw() * patience.longest_pause_seconds * 2.0 ** (attempt - 1)
            if patience.clock() + pause >= ends_at:
                break
            patience.sleep(pause)
        remaining = ends_at - patience.clock()
        if remaining <= 0.0:
            break
        outcome = _attempt(session, query, patience, remaining)
        if not isinstance(outcome, _Transient):
            return outcome
        failure = str(outcome)
    # Raised out here, so that no library exception (whose text holds the address) hangs on to it.
    raise WeatherUnavailable(f"{query.source} {failure}", source=query.source, hint=LATER)


def _attempt(session: requests.Session, query: Query, patience: Patience, seconds: float) -> Any:
    """One attempt in a thread of its own: the parsed answer, or the transient failure."""
    future: Future[Any] = Future()
    abandoned = threading.Event()

    def work() -> None:
        try:
            future.set_result(_ask(session, query, patience, abandoned))
        except BaseException as error:  # noqa: BLE001  (not swallowed: the waiting caller raises it)
            future.set_exception(error)

    threading.Thread(target=work, name=f"weather from {query.source}", daemon=True).start()
    try:
        return future.result(timeout=seconds)
    except NotInTime:
        abandoned.set()
        return _Transient(f"did not finish its answer within {patience.deadline_seconds:.0f} seconds")
    except _Transient as failure:
        return failure


def _ask(session: requests.Session, query: Query, patience: Patience, abandoned: threading.Event) -> Any:
    failure = refusal = None
    try:
        with session.get(
            query.url,
            params=dict(query.params),
            headers={**query.headers, "User-Agent": USER_AGENT, "Accept": "application/json"},
            timeout=(patience.connect_seconds, patience.read_seconds),
            stream=True,
            allow_redirects=False,
        ) as response:
            status, body = response.status_code, _read_body(response, query, patience, abandoned)
    except (requests.exceptions.InvalidURL, requests.exceptions.InvalidSchema, requests.exceptions.MissingSchema):
        refusal = f"{query.source} has an address that cannot be used"
    except (requests.RequestException, urllib3.exceptions.HTTPError) as error:
        failure = _said(error)
    if refusal:
        raise WeatherRefused(refusal, source=query.source, hint="Check the address in the settings.")
    if failure:
        raise _Transient(failure)
    if status == requests.codes.ok:
        return _parse(body)
    raise _error_of_status(status, _reason(body, query), query)


def _read_body(response: requests.Response, query: Query, patience: Patience, abandoned: threading.Event) -> bytes:
    pieces, size = [], 0
    # read1 hands over what has arrived; the library's own iteration waits until a piece is full.
    while piece := response.raw.read1(_PIECE_BYTES, decode_content=True):
        size += len(piece)
        if size > patience.size_limit:
            raise WeatherMalformed(
                f"{query.source} sent more than {patience.size_limit / 1e6:g} MB",
                source=query.source,
                hint="Check the address in the settings.",
            )
        if abandoned.is_set():
            raise _Transient("was left behind")  # nobody waits for it any more
        pieces.append(piece)
    return b"".join(pieces)


def _parse(body: bytes) -> Any:
    def refuse(token: str) -> None:
        raise ValueError(f"{token} is not JSON")

    try:
        return json.loads(body, parse_constant=refuse)
    except (ValueError, RecursionError):  # also bytes that are not UTF-8, and brackets without end
        failure = _Transient("sent an answer that breaks off or is not JSON")
    raise failure


def _said(error: Exception) -> str:
    """A library's exception in our words; its own text is left out on purpose."""
    if isinstance(error, requests.exceptions.SSLError):
        return "could not be reached: no secure connection"
    if isinstance(error, requests.exceptions.Timeout | urllib3.exceptions.TimeoutError):
        return "could not be reached: it did not answer in time"
    if isinstance(error, requests.exceptions.ChunkedEncodingError | urllib3.exceptions.ProtocolError):
        return "broke off its answer"
    if isinstance(error, requests.exceptions.ConnectionError):
        return "could not be reached: no connection"
    return f"could not be read ({type(error).__name__})"


def _error_of_status(status: int, reason: str, query: Query) -> Exception:
    said = f": {reason}" if reason else ""
    if status in TRANSIENT_STATUSES:
        return _Transient(f"is out of order (status {status}{said})")
    if status == TOO_MANY_REQUESTS:
        message = f"{query.source} has had too many requests from here{said}"
        return WeatherUnavailable(message, source=query.source, hint=query.limit_hint(reason))
    return _refusal(status, said, query)


def _refusal(status: int, said: str, query: Query) -> WeatherError:
    if 300 <= status < 400:
        return WeatherRefused(
            f"{query.source} has moved (status {status})", source=query.source, hint="Put the new address in the settings."
        )
    if status in (401, 403):
        hint = "Check the API key in the settings, and what it allows."
        return WeatherRefused(f"{query.source} does not let us in (status {status}{said})", source=query.source, hint=hint)
    if 400 <= status < 500:
        hint = "Check place, days and address in the settings."
        return WeatherRefused(f"{query.source} refused the request (status {status}{said})", source=query.source, hint=hint)
    return WeatherMalformed(f"{query.source} answered with status {status}{said}", source=query.source, hint=LATER)


def _reason(body: bytes, query: Query) -> str:
    """The reason an error answer gives, if it is JSON; short, on one line, and with our own headers' values blotted out."""
    try:
        answer = json.loads(body)
    except (ValueError, RecursionError):
        return ""
    reason = answer.get("reason") if isinstance(answer, dict) else None
    if not isinstance(reason, str):
        return ""
    for secret in filter(None, query.headers.values()):
        reason = reason.replace(secret, "***")
    return " ".join("".join(c if c.isprintable() else " " for c in reason).split())[:200].rstrip(".")
