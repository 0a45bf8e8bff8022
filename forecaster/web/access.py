"""Who may ask, and what a browser may do with an answer.

Promise: a request under a host name that is not this program's own is refused before anything is read, so a page on the internet that
points its own name at loopback gets nothing. Where no key is needed, only this machine is answered, and nothing that came through a proxy.
Where one is needed, nothing but ``OPEN`` is answered without. A change from another site is refused. Every answer carries a content policy
without script.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forecaster.errors import ForecasterError, NotAllowed
from forecaster.storage.keys import StoredKey
from forecaster.web.keys import StoredKeys
from forecaster.web.problems import KINDS, Problem, problem, problem_response
from forecaster.web.visitor import MACHINE, NOBODY, Visitor, require_write

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})
SIGN_OUT = "/sign-out"
READS = frozenset({"GET", "HEAD", "OPTIONS"})
SIGNED = ("/mail/off/", "/feeds/private/")
"""Beginnings of the addresses that carry their own permission, a word that nobody can guess: mail servers post to them (RFC 8058)."""
OPEN = ("/static/", "/sign-in", "/api/v1/live", "/api/v1/ready", *SIGNED)
"""Beginnings of the addresses that need no key: each shows nothing of a ground, or proves its right itself."""

PROTECTIONS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    # Not no-referrer: with it, browsers send "Origin: null" with our own forms, and we could not tell them from another site's.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

# Set by proxies; a browser or a script that asks this machine directly sends none of them.
_PROXY_HEADERS = frozenset({"forwarded", "via", "x-real-ip", "x-client-ip", "true-client-ip", "x-original-host", "x-original-url"})
_PROXY_PREFIXES = ("x-forwarded-", "cf-")


@dataclass(frozen=True)
class Doors:
    """Where the service can be reached from."""

    keys_needed: bool = False
    public_url: str | None = None
    bound_to: str = "127.0.0.1"

    @property
    def secure(self) -> bool:
        """Whether browsers reach it by https, so that cookies may insist on it."""
        return self.public_url is not None and urlsplit(self.public_url).scheme == "https"

    @property
    def session_cookie(self) -> str:
        """Name of the cookie of a browser that signed in; with the prefix no other host can have set it (RFC 6265bis)."""
        return f"{'__Host-' if self.secure else ''}forecaster"

    @property
    def form_cookie(self) -> str:
        """Name of the cookie that names a browser for the forms it is shown."""
        return f"{self.session_cookie}-form"

    @property
    def public_host(self) -> str | None:
        """Host name of the public address."""
        return urlsplit(self.public_url).hostname if self.public_url else None


# RFC 3986, section 3.2.2: a name or a bracketed address, and perhaps a port. A path behind it would change what the framework takes for
# the address that was asked for.
_HOST = re.compile(r"(?P<name>[a-z0-9._-]+|\[[0-9a-f:.]+\])(:[0-9]{0,5})?")


def host_name(value: str) -> str:
    """The name in a Host header, lower case and without the port; "" where it is more or less than a name and a port."""
    found = _HOST.fullmatch(value.strip().lower())
    return found["name"] if found else ""


def is_api(path: str) -> bool:
    """Whether an address is for programs, which get problem documents instead of pages."""
    return path == "/api" or path.startswith("/api/")


class Access:
    """ASGI middleware: finds out who asks, refuses who may not, and adds the protections to every answer.

    ``refusal`` makes the answer for a problem: a page, or a document for programs.
    """

    def __init__(
        self, app: ASGIApp, *, doors: Doors, keys: StoredKeys | None, refusal: Callable[[Request, Problem, dict[str, str]], Response]
    ) -> None:
        self.app, self.doors, self.keys, self.refusal = app, doors, keys, refusal
        self.served = LOOPBACK_NAMES | {name for name in (doors.public_host, doors.bound_to.lower()) if name}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        answer: ASGIApp = self.app
        key: StoredKey | None = None
        refused = self._stranger(request)
        if refused is not None:
            answer = problem_response(refused)
        else:
            try:
                visitor, key = await self._who(request)
                scope.setdefault("state", {})["visitor"] = visitor
                answer = self._let_in(request, visitor) or self.app
            except ForecasterError as error:
                slug = error.slug if error.slug in KINDS else ForecasterError.slug
                document = problem(slug, error.message, instance=scope["path"], hint=error.hint)
                answer = self.refusal(request, document, {})
        await answer(scope, receive, self._protecting(scope, send))
        if key is not None and self.keys is not None:
            await run_in_threadpool(self.keys.note_use, key)

    def _stranger(self, request: Request) -> Problem | None:
        """Why nobody at all is answered in this way; None where there is no such reason."""
        path, host = str(request.scope["path"]), request.headers.get("host", "")
        if not self._serves(host_name(host)):
            detail = f"This program does not answer under the name {host!r}." if host else "The request names no host."
            hint = "Open it by the address it printed when it started, or set its public address in the settings."
            return problem("host-refused", detail, instance=path, hint=hint)
        if not self.doors.keys_needed:
            passed_on = [name for name in request.headers if name in _PROXY_HEADERS or name.startswith(_PROXY_PREFIXES)]
            if passed_on or not _may_be_this_machine(request):
                detail = "Without keys, this program answers this machine only, and nothing that was passed on by a proxy."
                hint = "To reach it from elsewhere, make a key with the command keys add and set FORECASTER_PUBLIC_URL."
                return problem("proxy-refused", detail, instance=path, hint=hint)
        if request.method not in READS and not self._from_here(request):
            detail = "The request came from a page of another site."
            return problem("cross-site-refused", detail, instance=path, hint="Open the page here and try again.")
        return None

    def _serves(self, name: str) -> bool:
        # With keys, a page that points its own name at this machine brings neither key nor cookie, so plain addresses do no harm.
        return name in self.served or (self.doors.keys_needed and _address(name) is not None)

    def _from_here(self, request: Request) -> bool:
        """Whether a change comes from our own pages, or from no page at all. Browsers send at least one of these headers with a change."""
        site = request.headers.get("sec-fetch-site")
        if site is not None and site not in ("same-origin", "none"):
            return False
        origin = request.headers.get("origin")
        if origin is None:
            return True
        ours = {request.headers.get("host", "").lower()}
        if self.doors.public_url:
            ours.add(urlsplit(self.doors.public_url).netloc.lower())
        return urlsplit(origin).netloc.lower() in ours

    async def _who(self, request: Request) -> tuple[Visitor, StoredKey | None]:
        """Who asks. Raises: StorageError."""
        scheme, _, given = request.headers.get("authorization", "").partition(" ")
        if scheme:
            key = await run_in_threadpool(self.keys.by_text, given.strip()) if self.keys and scheme.lower() == "bearer" else None
            return (NOBODY if key is None else Visitor(key.name, key.may_write, key.grounds, "key", key.id)), key
        token = request.cookies.get(self.doors.session_cookie)
        if token and self.keys:
            key = await run_in_threadpool(self.keys.by_session, token)
            if key is not None:
                return Visitor(key.name, key.may_write, key.grounds, "session", key.id), key
        return (NOBODY if self.doors.keys_needed else MACHINE), None

    def _let_in(self, request: Request, visitor: Visitor) -> Response | None:
        """None where the visitor may go on to the route. Raises: NotAllowed."""
        path = str(request.scope["path"])
        if path.startswith(OPEN):
            return None
        if visitor.by == "nobody":
            return self._ask_for_key(request)
        if request.method not in READS and path != SIGN_OUT:
            require_write(request)
            if visitor.by == "session" and is_api(path):
                raise NotAllowed("A change through the API needs a key in the header Authorization.", hint="Signing in is for pages.")
        return None

    def _ask_for_key(self, request: Request) -> Response:
        path = str(request.scope["path"])
        browser = self.keys is not None and not is_api(path) and "text/html" in request.headers.get("accept", "")
        if browser and request.method in READS and "authorization" not in request.headers:
            wanted = path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/sign-in?next={quote(wanted, safe='/')}", status_code=303)
        if "authorization" in request.headers:
            detail = "This key opens nothing: it is unknown, was revoked, or has expired."
        else:
            detail = "What is here is not for everybody."
        hint = "Send a key in the header Authorization: Bearer. Whoever runs this program makes one with the command keys add."
        return self.refusal(request, problem("key-needed", detail, instance=path, hint=hint), {"WWW-Authenticate": "Bearer"})

    def _protecting(self, scope: Scope, send: Send) -> Send:
        private = self.doors.keys_needed and not scope["path"].startswith(OPEN)

        async def protected(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in PROTECTIONS.items():
                    headers[name] = value
                new_browser = scope.get("state", {}).get("new_browser")
                if new_browser:
                    secure = "; Secure" if self.doors.secure else ""
                    headers.append("Set-Cookie", f"{self.doors.form_cookie}={new_browser}; Path=/; HttpOnly; SameSite=Strict{secure}")
                if private:
                    caching = headers.get("Cache-Control", "no-cache")
                    headers["Cache-Control"] = caching if "private" in caching or "no-store" in caching else f"private, {caching}"
                    headers.add_vary_header("Authorization, Cookie")
            await send(message)

        return protected


def _address(name: str) -> Any:
    try:
        return ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return None


def _may_be_this_machine(request: Request) -> bool:
    """False where the other end of the connection has an address that is not loopback."""
    found = None if request.client is None else _address(request.client.host)
    if found is None:  # a socket file, or a test without a network
        return True
    mapped = getattr(found, "ipv4_mapped", None)
    return bool((mapped or found).is_loopback)
