"""A letter as the outbox knows it becomes an email message."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.headerregistry import Address, HeaderRegistry, UnstructuredHeader
from email.message import EmailMessage
from email.policy import SMTP, EmailPolicy
from email.utils import format_datetime
from typing import Any

from forecaster.errors import DeliveryRejected

# What ends a line for some reader of mail, and what no reader shows: none of it may reach a header.
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
# "name@example.org" or "Name <name@example.org>"; not the parser of the standard library, which takes the first of several in silence.
_WRITTEN = re.compile(r'\s*(?:"?(?P<name>[^"<>@]*?)"?\s*<(?P<within>[^<>\s]+)>|(?P<plain>[^<>\s]+))\s*')
_LOCAL_PART = re.compile(r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(?:\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*")  # dot-atom, RFC 5322 section 3.2.3
_DOMAIN = re.compile(r"(?=.{1,253}\Z)(?:[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?)(?:\.[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?)*")


class _WholeHeader(UnstructuredHeader):
    """A header on one line, however long: as an encoded word, which the library makes of it, no mail program takes it for an address."""

    def fold(self, *, policy: Any) -> str:
        return f"{self.name}: {self}{policy.linesep}"  # type: ignore[attr-defined]


def _policy() -> EmailPolicy[Any]:
    headers = HeaderRegistry()
    for name in ("list-unsubscribe", "content-id"):
        headers.map_to_type(name, _WholeHeader)  # type: ignore[arg-type]  # the registry itself adds what it asks for
    return SMTP.clone(header_factory=headers)


_POLICY = _policy()


@dataclass(frozen=True)
class Enclosure:
    """Something that goes with a message. ``content_id``: by which its HTML shows it, without brackets; None: a file beside the message."""

    name: str
    media_type: str
    content_id: str | None
    body: bytes = field(repr=False)


@dataclass(frozen=True)
class Letter:
    """What the outbox keeps of one message. ``sender`` and ``recipient``: "name@example.org" or "Name <name@example.org>"."""

    key: str
    sender: str
    recipient: str
    subject: str
    text: str
    html: str
    written_at: datetime
    off_link: str | None = None
    """Where a mail program may take this address off by one POST (RFC 8058); None where there is no such place."""
    enclosures: tuple[Enclosure, ...] = ()


def compose(letter: Letter) -> EmailMessage:
    """Write the email: text first, HTML with its pictures as the alternative, files beside them.

    The same letter gives the same bytes, so a second copy is known as one.

    Raises: DeliveryRejected where sender or recipient is not one plain address; a line break in either is never passed on.
    """
    sender = _address(letter.sender, "sender")
    recipient = _address(letter.recipient, "recipient")
    message = EmailMessage(policy=_POLICY)
    message["From"] = sender
    message["To"] = recipient
    message["Subject"] = _UNPRINTABLE.sub(" ", letter.subject).strip()
    message["Date"] = format_datetime(letter.written_at.astimezone(UTC))
    message["Message-ID"] = message_id(letter.key, recipient.addr_spec, domain=sender.domain)
    # RFC 3834: no holiday notice or other automatic answer, please.
    message["Auto-Submitted"] = "auto-generated"
    if letter.off_link is not None:
        message["List-Unsubscribe"] = f"<{letter.off_link}>"
        message["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    message.set_content(letter.text, cte="quoted-printable")
    message.add_alternative(letter.html, subtype="html", cte="quoted-printable")
    _enclose(message, letter.enclosures)
    # A boundary is random by default; a fixed one makes a repeated message equal to the byte.
    for number, part in enumerate(part for part in message.walk() if part.is_multipart()):
        part.set_boundary(f"=_{number}_{_digest(letter.key, recipient.addr_spec)}")
    return message


def _enclose(message: EmailMessage, enclosures: tuple[Enclosure, ...]) -> None:
    """Pictures go with the HTML that shows them (RFC 2387), files beside both forms."""
    html = message.get_body(("html",))
    assert isinstance(html, EmailMessage)
    for one in enclosures:
        main, _, sub = one.media_type.partition("/")
        if one.content_id is not None:
            html.add_related(one.body, main, sub, cid=f"<{one.content_id}>", filename=one.name, disposition="inline")
    for one in enclosures:
        main, _, sub = one.media_type.partition("/")
        if one.content_id is None and main == "text":
            message.add_attachment(one.body.decode(), subtype=sub, filename=one.name, cte="quoted-printable")
        elif one.content_id is None:
            message.add_attachment(one.body, main, sub, filename=one.name)


def message_id(key: str, recipient: str, *, domain: str) -> str:
    """The Message-ID, from key and recipient alone: readable to people, unique by its digest."""
    readable = re.sub(r"[^a-z0-9]+", "-", key.lower()).strip("-")[:60].rstrip("-")
    return f"<{readable or 'message'}.{_digest(key, recipient)}@{domain}>"


def _digest(key: str, recipient: str) -> str:
    return hashlib.sha256(f"{key}\0{recipient}".encode()).hexdigest()[:20]


def _address(written: str, role: str) -> Address:
    parts = None if _UNPRINTABLE.search(written) else _WRITTEN.fullmatch(written)
    name, plain = (parts["name"] or "", parts["within"] or parts["plain"]) if parts else ("", "")
    local, at, domain = plain.rpartition("@")
    try:
        domain = domain.encode("idna").decode("ascii")
    except UnicodeError:
        domain = ""
    if not at or not _LOCAL_PART.fullmatch(local) or not _DOMAIN.fullmatch(domain):
        shown = _UNPRINTABLE.sub(" ", written)[:100]
        raise DeliveryRejected(
            f"the {role} {shown!r} is not one email address", hint="Write it like name@example.org in the configuration."
        )
    return Address(display_name=name, username=local, domain=domain)
