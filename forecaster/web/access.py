"""Who may ask, and what a browser may do with an answer.

Promise: a request under a host name that is not this program's own is refused before anything is read, so a page on the internet that
points its own name at loopback gets nothing; every answer carries a content policy without script.
"""

from __future__ import annotations

from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forecaster.web.problems import problem, problem_response

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})

PROTECTIONS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}


def host_name(value: str) -> str:
    """The name in a Host header, lower case and without the port."""
    name = value.strip().lower()
    if name.startswith("["):
        return name[: name.find("]") + 1]
    return name.rpartition(":")[0] if name.count(":") == 1 else name


class Access:
    """ASGI middleware: checks the Host header and adds the protections to every answer."""

    def __init__(self, app: ASGIApp, *, also_served: Iterable[str] = ()) -> None:
        self.app = app
        self.served = LOOPBACK_NAMES | {name.lower() for name in also_served}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def protected(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in PROTECTIONS.items():
                    headers[name] = value
            await send(message)

        host = Headers(scope=scope).get("host", "")
        if host_name(host) not in self.served:
            document = problem(
                "host-refused",
                f"This program does not answer under the name {host!r}." if host else "The request names no host.",
                instance=scope["path"],
                hint="Open it by the address it printed when it started, or set its public address in the settings.",
            )
            await problem_response(document)(scope, receive, protected)
            return
        await self.app(scope, receive, protected)
