"""Hand a message to an SMTP server."""

from __future__ import annotations

import contextlib
import re
import smtplib
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import SMTP
from pathlib import Path
from typing import Literal

from forecaster.errors import AddressRefused, DeliveryDoubtful, DeliveryPostponed, DeliveryRejected, DeliveryUnreachable

Security = Literal["none", "starttls", "tls"]

_HINTS = {
    "connect": "Check the mail server's name, port and kind of encryption, and the network. The message stays in the outbox.",
    "certificate": "Name the mail server as its certificate does, or have its certificate renewed. The message stays in the outbox.",
    "sender": "Check FORECASTER_MAIL_FROM and what the mail server lets this user send. The message stays in the outbox.",
    "log-in": "Check user name and password of the mail server. The message stays in the outbox.",
}


# RFC 3463: 5.1 is about the address, 5.2 about the mailbox (5.2.2: it is full, which passes), 5.7 about a rule of the server.
_ENHANCED = re.compile(r"5\.(?P<subject>\d{1,3})\.(?P<detail>\d{1,3})\b")


@dataclass(frozen=True)
class SmtpServer:
    """Where and how mail is handed over. ``security``: "tls" from the first byte (often port 465), "starttls" (587), or "none"."""

    host: str
    port: int
    security: Security = "starttls"
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    timeout_s: float = 30.0
    authority: Path | None = None
    """File with the certificate of a private authority; None: those the system trusts."""
    hello_name: str | None = None
    """Name this machine gives itself; None: its own name, or its address where the name has no domain."""


class SmtpMailer:
    """Sends over one connection per message: a day has few, and none waits for another.

    Promise: returns only when the server has taken the message. Certificates are always checked.
    """

    def __init__(self, server: SmtpServer, *, say: Callable[[str], None] = lambda _step: None) -> None:
        """``say``: is told each step that went well, in a sentence for a person."""
        self._server, self._say = server, say

    def send(self, message: EmailMessage) -> None:
        """Hand one message over.

        Raises: DeliveryUnreachable where no message can be handed over (no connection, log-in or sender refused); DeliveryPostponed where
        this one may work later (the server says 4xx, or broke off); DeliveryDoubtful where the connection broke before the server's last
        word; AddressRefused where it knows no such mailbox; DeliveryRejected where it refused the message for good (5xx).
        """
        sender, recipient = (message[name].addresses[0].addr_spec for name in ("From", "To"))
        with self._connection() as smtp:
            # A server may hang on one message and take the others, so this is not called unreachable.
            with _postponing("connect", "the connection to the mail server broke", DeliveryPostponed):
                _judge_sender(smtp.mail(sender), sender)
                self._say(f"The server takes mail from {sender}.")
                _judge_recipient(smtp.rcpt(recipient), recipient)
                self._say(f"The server takes mail for {recipient}.")
                _judge(smtp.docmd("DATA"), "message", expected=3)
                smtp.send(_framed(message.as_bytes(policy=SMTP)))
            try:
                answer = smtp.getreply()
                if answer[0] == -1:  # how smtplib says that the line made no sense
                    raise smtplib.SMTPException(f"it answered {answer[1]!r}")
            except (smtplib.SMTPException, OSError) as error:
                raise DeliveryDoubtful(
                    f"the mail server did not say whether it took the message: {_one_line(error)}",
                    hint="It is sent once more; the reader may get it twice.",
                ) from error
            _judge(answer, "message")
            self._say(f"The server took the message: {answer[0]} {_one_line(answer[1].decode('utf-8', 'replace'))}.")

    @contextmanager
    def _connection(self) -> Iterator[smtplib.SMTP]:
        server = self._server
        with _postponing("connect", f"no connection to the mail server {server.host}:{server.port}"):
            context = ssl.create_default_context(cafile=server.authority)
            name = server.hello_name or _own_name()
            if server.security == "tls":
                smtp: smtplib.SMTP = smtplib.SMTP_SSL(server.host, server.port, name, timeout=server.timeout_s, context=context)
            else:
                smtp = smtplib.SMTP(server.host, server.port, name, timeout=server.timeout_s)
        try:
            with _postponing("connect", f"the mail server {server.host}:{server.port} did not greet back"):
                self._say(f"Connected to {server.host}:{server.port}.")
                if server.security == "starttls":
                    smtp.starttls(context=context)
                smtp.ehlo_or_helo_if_needed()
                self._say(_protection(smtp.sock))
            if server.user is not None:
                with _postponing("log-in", f"the mail server {server.host}:{server.port} refused the log-in"):
                    smtp.login(server.user, server.password or "")
                self._say(f"Signed in as {server.user}.")
            else:
                self._say("Not signed in: no user is set (FORECASTER_SMTP_USER).")
            yield smtp
            # The message is taken; how the goodbye goes changes nothing about that.
            with contextlib.suppress(smtplib.SMTPException, OSError):
                smtp.quit()
        finally:
            smtp.close()


def _protection(line: object) -> str:
    if not isinstance(line, ssl.SSLSocket):
        return "The line is not encrypted (FORECASTER_SMTP_TLS is none)."
    cipher = line.cipher()
    return f"The line is encrypted with {line.version()}{f' ({cipher[0]})' if cipher else ''}; the server's certificate is good."


@contextmanager
def _postponing(step: str, what: str, kind: type[DeliveryPostponed] = DeliveryUnreachable) -> Iterator[None]:
    """Trouble with the connection or the server as a whole says nothing against the message: it waits."""
    try:
        yield
    except (smtplib.SMTPException, OSError) as error:
        hint = _HINTS["certificate" if isinstance(error, ssl.SSLCertVerificationError) else step]
        raise kind(f"{what}: {_one_line(error)}", hint=hint) from error


def _judge(answer: tuple[int, bytes], what: str, *, expected: int = 2) -> None:
    """Pass an answer of the ``expected`` hundred; raise for a refusal, for now or for good (RFC 5321 section 4.2.1)."""
    code, said = answer
    if code // 100 == expected:
        return
    reason = f"the mail server refused the {what}: {code} {_one_line(said.decode('utf-8', 'replace'))}"
    # Anything outside the standard is no verdict on the message.
    if code // 100 == 5:
        raise DeliveryRejected(reason, hint="Check the address and what the mail server says about it.")
    raise DeliveryPostponed(reason, hint="The server asked to wait; the message is tried again.")


def _judge_sender(answer: tuple[int, bytes], sender: str) -> None:
    """A sender refused for good says nothing against the message: all wait until someone has corrected the settings."""
    try:
        _judge(answer, f"sender {sender}")
    except DeliveryRejected as error:
        raise DeliveryUnreachable(error.message, hint=_HINTS["sender"]) from error


def _judge_recipient(answer: tuple[int, bytes], recipient: str) -> None:
    """Tell an address that does not exist from a rule of the server, which may refuse every address alike."""
    try:
        _judge(answer, f"recipient {recipient}")
    except DeliveryRejected as error:
        code, said = answer
        status = _ENHANCED.match(said.decode("utf-8", "replace"))
        about_mailbox = status["subject"] in ("1", "2") and status["detail"] != "2" if status else code in (550, 551, 553)
        if code in (550, 551, 553, 554) and about_mailbox:
            raise AddressRefused(error.message, hint=error.hint) from error
        raise


def _framed(raw: bytes) -> bytes:
    """Double a dot that begins a line and close with a lone dot (RFC 5321 section 4.5.2)."""
    stuffed = re.sub(rb"(?m)^\.", b"..", raw)
    return stuffed + (b"" if stuffed.endswith(b"\r\n") else b"\r\n") + b".\r\n"


def _own_name() -> str:
    # Not getfqdn: without a name server it can hang for seconds.
    name = socket.gethostname()
    return name if "." in name else "[127.0.0.1]"


def _one_line(error: object) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        said = error.smtp_error
        error = f"{error.smtp_code} {said.decode('utf-8', 'replace') if isinstance(said, bytes) else said}"
    return " ".join(str(error).split())[:300] or type(error).__name__
