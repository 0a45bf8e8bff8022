"""A calendar from an address that a person entered. Whoever can enter one must not reach through this program what lies behind it.

Promise: https only, to a host whose every address is public; the connection goes to an address that was checked (the name is looked up
once), and the certificate is checked for the name. Redirects are checked anew. Nothing here repeats more of an address than its host: the
rest is often the only secret of a calendar.
"""

from __future__ import annotations

import re
import socket
import ssl
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from urllib.parse import urljoin, urlsplit

import urllib3

from forecaster.errors import CalendarRefused, CalendarUnavailable
from forecaster.sources.deadline import LeftBehind, done_within
from forecaster.sources.http import LATER, MOVED_STATUSES, USER_AGENT
from forecaster.sources.public_address import is_public

MOVES = 3
_PIECE_BYTES = 65536
_CHECK = "Check the address of the calendar in the settings."
_OPENING = b"BEGIN:VCALENDAR"  # RFC 5545, 3.4


def resolved(host: str, port: int) -> Sequence[str]:
    """Every address of a name. Raises: OSError, UnicodeError."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


@dataclass(frozen=True)
class Reach:
    """What may be asked, and how long. ``deadline_seconds`` covers everything, the look-up of names and all redirects."""

    resolve: Callable[[str, int], Sequence[str]] = resolved
    allowed: Callable[[str], bool] = is_public
    ports: frozenset[int] = frozenset({443})
    tls: Callable[[], ssl.SSLContext] = ssl.create_default_context
    deadline_seconds: float = 20.0
    silence_seconds: float = 10.0
    size_limit: int = 5_000_000
    """Bytes of the unpacked body. Ten years of a club's fixtures take about 1 MB. Status: assumption."""


@dataclass(frozen=True)
class _Target:
    host: str
    port: int
    path: str = field(repr=False)


def fetch_calendar(address: str, *, reach: Reach | None = None) -> bytes:
    """The calendar at an address, as it was sent (RFC 5545 text, not yet read).

    Raises: CalendarUnavailable (try later), CalendarRefused (the address is not one to ask, or what is there is no calendar).
    """
    reach = reach or Reach()
    try:
        return done_within(reach.deadline_seconds, lambda abandoned: _follow(address, reach, abandoned), name="calendar")
    except LeftBehind:
        pass
    raise CalendarUnavailable(f"The calendar was not there within {reach.deadline_seconds:g} seconds.", hint=LATER)


def _follow(address: str, reach: Reach, abandoned: threading.Event) -> bytes:
    for _ in range(MOVES + 1):
        target = _target(address, reach)
        moved_to, body = _ask(target, _checked_addresses(target, reach), reach, abandoned)
        if moved_to is None:
            return body
        address = _joined(address, moved_to, target)
    raise CalendarRefused(f"The calendar's address leads from one to the next, more than {MOVES} times.", hint=_CHECK)


def _joined(address: str, moved_to: str, target: _Target) -> str:
    try:
        return urljoin(address, moved_to)
    except ValueError:
        pass
    raise CalendarRefused(f"{target.host} sends on to something that is no address.", hint=_CHECK)


def _target(address: str, reach: Reach) -> _Target:
    """Take an address apart. Raises: CalendarRefused."""
    if not re.fullmatch(r"[!-~]+", address) or "\\" in address:
        raise CalendarRefused("The calendar's address has characters that no web address has.", hint=_CHECK)
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port or 443
    except ValueError:
        host, port = None, 0
    if host is None or parts.scheme != "https":
        raise CalendarRefused("A calendar is fetched from an address that begins with https:// only.", hint=_CHECK)
    if "@" in parts.netloc:
        raise CalendarRefused("The calendar's address holds a user name.", hint="Use an address that needs no user name or password.")
    if port not in reach.ports:
        raise CalendarRefused(f"The calendar's address names port {port}, which is not asked.", hint=_CHECK)
    return _Target(host, port, (parts.path or "/") + (f"?{parts.query}" if parts.query else ""))


def _checked_addresses(target: _Target, reach: Reach) -> Sequence[str]:
    """Where the host is, if all of it may be asked. Raises: CalendarUnavailable, CalendarRefused."""
    try:
        found = reach.resolve(target.host, target.port)
    except (OSError, UnicodeError):
        found = ()
    if not found:
        raise CalendarUnavailable(f"The calendar's host {target.host} was not found.", hint=_CHECK)
    if not all(reach.allowed(address) for address in found):
        hint = "Only calendars on the open internet are fetched."
        raise CalendarRefused(f"The calendar's host {target.host} lies on this machine or in a network that is not public.", hint=hint)
    return found


def _ask(target: _Target, addresses: Sequence[str], reach: Reach, abandoned: threading.Event) -> tuple[str | None, bytes]:
    """Where the answer sends us on to, or the calendar. The next address is tried only where no connection came about."""
    said = "no connection"
    for address in addresses:
        if abandoned.is_set():
            break
        try:
            return _ask_one(target, address, reach, abandoned)
        except (urllib3.exceptions.NewConnectionError, urllib3.exceptions.ConnectTimeoutError):
            continue
        except urllib3.exceptions.SSLError:
            said = "no secure connection, its certificate does not prove its name"
        except urllib3.exceptions.TimeoutError:
            said = "it did not answer in time"
        except (urllib3.exceptions.HTTPError, OSError, ValueError):
            said = "its answer breaks off or cannot be read"
        break
    # Raised out here, so that no library exception (whose text holds the address) hangs on to it.
    raise CalendarUnavailable(f"The calendar at {target.host} could not be fetched: {said}.", hint=LATER)


def _ask_one(target: _Target, address: str, reach: Reach, abandoned: threading.Event) -> tuple[str | None, bytes]:
    name = f"[{target.host}]" if ":" in target.host else target.host
    with urllib3.HTTPSConnectionPool(
        address,
        target.port,
        ssl_context=reach.tls(),
        server_hostname=target.host,
        timeout=urllib3.Timeout(connect=5.0, read=reach.silence_seconds),
        retries=False,
    ) as pool:
        response = pool.request(
            "GET",
            target.path,
            headers={
                "Host": name if target.port == 443 else f"{name}:{target.port}",
                "User-Agent": USER_AGENT,
                "Accept": "text/calendar",
            },
            redirect=False,
            preload_content=False,
        )
        try:
            if response.status in MOVED_STATUSES and (moved_to := response.headers.get("Location")):
                return moved_to, b""
            if response.status != 200:
                raise _error_of_status(response.status, target)
            return None, _calendar(response, target, reach, abandoned)
        finally:
            response.close()


def _error_of_status(status: int, target: _Target) -> Exception:
    said = f"{target.host} answered with status {status} in place of the calendar."
    if status >= 500 or status in (408, 429):
        return CalendarUnavailable(said, hint=LATER)
    return CalendarRefused(said, hint=_CHECK)


def _calendar(response: urllib3.BaseHTTPResponse, target: _Target, reach: Reach, abandoned: threading.Event) -> bytes:
    kind = response.headers.get("Content-Type", "").partition(";")[0].strip().lower()
    # Files on plain web servers come as text or as bytes; a web page is never a calendar, whatever is written in it.
    if kind not in ("text/calendar", "text/plain", "application/octet-stream", "binary/octet-stream", ""):
        raise CalendarRefused(f"{target.host} sent {kind[:60]!r} in place of a calendar.", hint=_CHECK)
    body = bytearray()
    while piece := response.read1(_PIECE_BYTES, decode_content=True):
        body += piece
        if len(body) > reach.size_limit:
            raise CalendarRefused(f"The calendar at {target.host} is larger than {reach.size_limit / 1e6:g} MB.", hint=_CHECK)
        if abandoned.is_set():
            raise LeftBehind  # nobody waits for it any more
    if not bytes(body[:64]).removeprefix(b"\xef\xbb\xbf").lstrip().upper().startswith(_OPENING):
        raise CalendarRefused(f"What {target.host} sent is no calendar.", hint=_CHECK)
    return bytes(body)
