"""Real SMTP servers on loopback, with answers that a test chooses."""

from __future__ import annotations

import asyncio
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

# In the place of an answer to DATA: what the server does instead of giving one.
HANG, HANG_UP, TAKE_AND_HANG_UP = "hang", "hang up", "take the message, then hang up"
HANG_SECONDS = 3.0


@dataclass
class Postbox:
    """Takes mail; answers MAIL, RCPT and DATA from the lists first, then with 250."""

    to_senders: list[str] = field(default_factory=list)
    to_recipients: list[str] = field(default_factory=list)
    to_messages: list[str] = field(default_factory=list)
    received: list[bytes] = field(default_factory=list)
    refused: int = 0
    encrypted: list[bool] = field(default_factory=list)
    users: list[str] = field(default_factory=list)

    @property
    def messages(self) -> list[Message]:
        return [message_from_bytes(raw, policy=default) for raw in self.received]  # type: ignore[arg-type]

    async def handle_MAIL(self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]) -> str:
        if self.to_senders:
            self.refused += 1
            return self.to_senders.pop(0)
        envelope.mail_from = address
        return "250 fine"

    async def handle_RCPT(self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]) -> str:
        if self.to_recipients:
            self.refused += 1
            return self.to_recipients.pop(0)
        envelope.rcpt_tos.append(address)
        return "250 fine"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        answer = self.to_messages.pop(0) if self.to_messages else ""
        if answer == HANG:
            await asyncio.sleep(HANG_SECONDS)
        if answer in (HANG_UP, HANG):
            return await self._hang_up(server)
        if answer and answer != TAKE_AND_HANG_UP:
            self.refused += 1
            return answer
        assert isinstance(envelope.content, bytes)
        self.received.append(envelope.content)
        self.encrypted.append(session.ssl is not None)
        return await self._hang_up(server) if answer == TAKE_AND_HANG_UP else "250 taken"

    async def _hang_up(self, server: SMTP) -> str:
        assert server.transport is not None
        server.transport.abort()
        return "421 nobody hears this"

    def authenticate(self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
        right = isinstance(data, LoginPassword) and data.password == b"right"
        if right:
            self.users.append(data.login.decode())
        return AuthResult(success=right, handled=False)


@contextmanager
def smtp_server(
    postbox: Postbox, *, starttls: ssl.SSLContext | None = None, tls: ssl.SSLContext | None = None, **more: Any
) -> Iterator[int]:
    """Run a server; gives its port."""
    controller = Controller(
        postbox,
        hostname="127.0.0.1",
        port=_free_port(),
        tls_context=starttls,
        require_starttls=starttls is not None,
        ssl_context=tls,
        **more,
    )
    controller.start()
    try:
        yield controller.port
    finally:
        controller.stop()


@contextmanager
def silent_after_data() -> Iterator[tuple[int, list[bytes]]]:
    """A server that takes a message whole and hangs up without a word, once per connection; gives its port and what it took."""
    taken: list[bytes] = []
    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:  # closed: the test is over
                return
            with connection, connection.makefile("rwb") as line:
                _take_one(line, taken)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield listener.getsockname()[1], taken
    finally:
        listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join(5)


def _take_one(line: Any, taken: list[bytes]) -> None:
    line.write(b"220 ready\r\n")
    line.flush()
    for command in line:
        if command.upper().startswith(b"DATA"):
            line.write(b"354 go on\r\n")
            line.flush()
            body = []
            for part in line:
                if part == b".\r\n":
                    taken.append(b"".join(body))
                    return
                body.append(part)
        line.write(b"250 fine\r\n")
        line.flush()


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])
