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
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import urljoin, urlsplit

import requests
import urllib3

from forecaster import __version__
from forecaster.errors import Trouble, WeatherError, WeatherMalformed, WeatherRefused, WeatherUnavailable, Window
from forecaster.sources.deadline import LeftBehind, done_within

USER_AGENT = f"forecaster/{__version__} (weather risk for sports turf)"
# 499 is no answer to what was asked: a gateway says with it that the connection was closed before there was one.
TRANSIENT_STATUSES = frozenset({499, 500, 502, 503, 504})
MOVED_STATUSES = frozenset({301, 302, 303, 307, 308})
TERMS_STATUSES = frozenset({402, 404, 410, 451})
"""To be paid for, not there, gone, forbidden by law: not a matter of this question, but of what is offered at all."""
NOT_MODIFIED = 304
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
    limit_window: Callable[[str], Window | None] = lambda reason: None
    """Which window of the service's limits the reason of a 429 says is used up."""
    key_refused: Callable[[str], bool] = lambda reason: False
    """Whether the reason of a status that else speaks of the question says that the key is wrong."""
    user_agent: str = USER_AGENT
    accepted: frozenset[int] = frozenset({200})
    """Statuses that are an answer. 304 belongs here only where a header made the question conditional."""
    refusal_hints: Mapping[int, str] = field(default_factory=dict)
    """What a person can do about a refusal, by status, where the usual hint does not fit the service."""
    moves: int = 0
    """How many redirects are followed, within the same scheme and host only."""


@dataclass(frozen=True)
class Answer:
    """An answer with an accepted status. ``content`` is the parsed body, None with status 304.

    ``last_modified``: the header's exact text, to be sent back as If-Modified-Since. ``expires``: None where the service does not say.
    """

    status: int
    body: bytes
    content: Any
    last_modified: str | None
    expires: datetime | None


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

    def __init__(self, said: str, trouble: Trouble = "silent", retry_after_s: float | None = None) -> None:
        super().__init__(said)
        self.trouble, self.retry_after_s = trouble, retry_after_s


def fetch_json(session: requests.Session, query: Query, *, patience: Patience | None = None) -> Any:
    """The parsed JSON of ``fetch_answer``."""
    return fetch_answer(session, query, patience=patience).content


def fetch_answer(session: requests.Session, query: Query, *, patience: Patience | None = None) -> Answer:
    """Ask once, at most three times, and give back an answer whose body is JSON.

    Promise: returns or raises within the deadline (plus a moment), whatever the server does. Another attempt is made only after
    a failed or broken connection, an answer that breaks off or is not JSON, and 499, 500, 502, 503 or 504; never after another 4xx.
    Redirects are followed only as far as the query allows.

    Raises: WeatherUnavailable (try later: unreachable, too slow, overloaded, limit reached), WeatherRefused (the source said no),
    WeatherMalformed (too large).
    """
    patience = patience or Patience()
    ends_at = patience.clock() + patience.deadline_seconds
    failure = _Transient("gave no answer")
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
        failure = outcome
    # Raised out here, so that no library exception (whose text holds the address) hangs on to it.
    raise WeatherUnavailable(
        f"{query.source} {failure}", source=query.source, hint=LATER, trouble=failure.trouble, retry_after_s=failure.retry_after_s
    )


def _attempt(session: requests.Session, query: Query, patience: Patience, seconds: float) -> Answer | _Transient:
    """One attempt in a thread of its own: the answer, or the transient failure."""
    try:
        return done_within(seconds, lambda abandoned: _ask(session, query, patience, abandoned), name=f"weather from {query.source}")
    except LeftBehind:
        return _Transient(f"did not finish its answer within {patience.deadline_seconds:.0f} seconds")
    except _Transient as failure:
        return failure


def _ask(session: requests.Session, query: Query, patience: Patience, abandoned: threading.Event) -> Answer:
    url, params = query.url, dict(query.params)
    for _ in range(query.moves + 1):
        status, headers, body = _get(session, query, (url, params), patience, abandoned)
        if status in query.accepted:
            content = None if status == NOT_MODIFIED else _parse(body, web_page=_is_web_page(headers, body))
            return Answer(status, body, content, headers.get("Last-Modified"), _moment(headers.get("Expires")))
        moved_to = _moved_within_host(url, headers.get("Location")) if status in MOVED_STATUSES else None
        if moved_to is None:
            break
        url, params = moved_to, {}  # a redirect's address holds the parameters itself
    raise _error_of_status(status, _reason(body, query), query, retry_after_s=_seconds(headers))


def _get(
    session: requests.Session, query: Query, address: tuple[str, dict[str, str]], patience: Patience, abandoned: threading.Event
) -> tuple[int, Mapping[str, str], bytes]:
    """Status, headers and body of one request."""
    failure = refusal = ""
    try:
        with session.get(
            address[0],
            params=address[1],
            headers={**query.headers, "User-Agent": query.user_agent, "Accept": "application/json"},
            timeout=(patience.connect_seconds, patience.read_seconds),
            stream=True,
            allow_redirects=False,
        ) as response:
            return response.status_code, response.headers, _read_body(response, query, patience, abandoned)
    except (requests.exceptions.InvalidURL, requests.exceptions.InvalidSchema, requests.exceptions.MissingSchema):
        refusal = f"{query.source} has an address that cannot be used"
    except (requests.RequestException, urllib3.exceptions.HTTPError) as error:
        failure = _said(error)
    except ValueError:  # from the library, which works out where a redirect leads although it is not to follow
        failure = "sent an answer that cannot be read"
    if refusal:
        raise WeatherRefused(refusal, source=query.source, hint="Check the address in the settings.")
    raise _Transient(failure)


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


def parse_json(body: bytes) -> Any:
    """Parse a body that must be JSON by the standard. Raises ValueError."""

    def refuse(token: str) -> None:
        raise ValueError(f"{token} is not JSON")

    try:
        return json.loads(body, parse_constant=refuse)
    except RecursionError:  # brackets without end
        too_deep = ValueError("nested too deeply")
    raise too_deep


def _parse(body: bytes, *, web_page: bool) -> Any:
    try:
        return parse_json(body)
    except ValueError:  # also bytes that are not UTF-8
        failure = _Transient("sent an answer that breaks off or is not JSON")
    # A gateway's page of a minute, or the terms that must now be agreed to: the next attempts, and the next cycles, tell.
    raise _Transient("sent a web page in place of data", "page") if web_page else failure


def _is_web_page(headers: Mapping[str, str], body: bytes) -> bool:
    return "html" in (headers.get("Content-Type") or "").lower() or body.lstrip()[:1] == b"<"


def _seconds(headers: Mapping[str, str]) -> float | None:
    """The Retry-After header in seconds, whichever of its two forms it has (RFC 9110, 10.2.3); None where it says nothing."""
    said = (headers.get("Retry-After") or "").strip()
    if said.isascii() and said.isdigit():
        return float(said[:9])
    until, sent = _moment(said or None), _moment(headers.get("Date"))
    return None if until is None or sent is None else max(0.0, (until - sent).total_seconds())


def _moment(header: str | None) -> datetime | None:
    """The time that a header names; None where it is missing or, as in ``Expires: 0``, no time."""
    try:
        moment = parsedate_to_datetime(header) if header else None
        return moment.replace(tzinfo=moment.tzinfo or UTC).astimezone(UTC) if moment else None
    except (ValueError, OverflowError):
        return None


def _moved_within_host(url: str, location: str | None) -> str | None:
    """Where a redirect leads, if it stays with the same scheme and host."""
    try:
        moved_to = urljoin(url, location) if location else ""
        return moved_to if urlsplit(moved_to)[:2] == urlsplit(url)[:2] else None
    except ValueError:  # no address at all
        return None


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


def _error_of_status(status: int, reason: str, query: Query, *, retry_after_s: float | None) -> Exception:
    said = f": {reason}" if reason else ""
    if status in TRANSIENT_STATUSES:
        return _Transient(f"is out of order (status {status}{said})", retry_after_s=retry_after_s)
    if status == TOO_MANY_REQUESTS:
        return WeatherUnavailable(
            f"{query.source} has had too many requests from here{said}",
            source=query.source,
            hint=query.limit_hint(reason),
            trouble="limit",
            window=query.limit_window(reason),
            retry_after_s=retry_after_s,
        )
    return _refusal(status, said, query, key_refused=query.key_refused(reason))


def _refusal(status: int, said: str, query: Query, *, key_refused: bool) -> WeatherError:
    trouble: Trouble = "question"
    if status in MOVED_STATUSES:
        trouble = "terms"
        message, hint = f"{query.source} has moved (status {status})", "Put the new address in the settings."
    elif status in (401, 403) or (status == 400 and key_refused):
        trouble = "shut out"
        message = f"{query.source} does not let us in (status {status}{said})"
        hint = "Check the API key in the settings, and what it allows."
    elif status in TERMS_STATUSES:
        trouble = "terms"
        message = f"{query.source} no longer serves what it did (status {status}{said})"
        hint = "Read the service's terms, and check the address in the settings."
    elif 400 <= status < 500:
        message = f"{query.source} refused the request (status {status}{said})"
        hint = "Check place, days and address in the settings."
    else:
        return WeatherMalformed(f"{query.source} answered with status {status}{said}", source=query.source, hint=LATER)
    return WeatherRefused(message, source=query.source, hint=query.refusal_hints.get(status, hint), trouble=trouble)


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
