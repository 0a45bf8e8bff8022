"""The list of a ground's CAP messages as an Atom feed (RFC 4287): each entry leads to one message."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol
from xml.etree import ElementTree

from forecaster.documents import GroundSummary
from forecaster.feeds.atom import ATOM, add, stamp
from forecaster.feeds.cap import CONTENT_TYPE


class ListedMessage(Protocol):
    """An issued message as storage keeps it."""

    @property
    def identifier(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def severity(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def sent_at(self) -> datetime: ...


def render_cap_index(ground: GroundSummary, messages: Sequence[ListedMessage], *, updated_at: datetime, self_url: str | None) -> bytes:
    """The list, newest first. The same messages give the same bytes.

    ``updated_at``: when alerts were last judged. ``self_url``: where the list lies, with the messages beside it; links are relative
    without it.
    """
    ElementTree.register_namespace("", ATOM)
    feed = ElementTree.Element(f"{{{ATOM}}}feed")
    add(feed, "id", f"urn:forecaster:{ground.id}:cap")
    add(feed, "title", f"{'[Sample] ' if ground.sample else ''}Alert messages of {ground.name} (CAP 1.2)")
    add(feed, "updated", stamp(max([updated_at, *(message.sent_at for message in messages)])))
    add(add(feed, "author"), "name", ground.name)
    if self_url is not None:
        add(feed, "link", rel="self", href=self_url, type="application/atom+xml")
    beside = "" if self_url is None else self_url.rpartition("/")[0] + "/"
    for message in messages:
        entry = add(feed, "entry")
        add(entry, "id", f"urn:forecaster:cap:{message.identifier}")
        add(entry, "title", message.title)
        add(entry, "updated", stamp(message.sent_at))
        add(entry, "category", term=message.kind)
        add(entry, "category", term=message.severity)
        add(entry, "link", rel="alternate", href=f"{beside}cap/{message.identifier}.xml", type=CONTENT_TYPE)
    return bytes(ElementTree.tostring(feed, encoding="utf-8", xml_declaration=True))
