"""Alerts as an Atom feed (RFC 4287), newest change first."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from xml.etree import ElementTree

from forecaster.documents import AlertDocument, GroundSummary

ATOM = "http://www.w3.org/2005/Atom"
_WORDS = {"expected": "expected", "present": "now", "held": "still open, not judged for lack of weather", "ended": "ended"}


def render_atom(ground: GroundSummary, alerts: Sequence[AlertDocument], *, updated_at: datetime, self_url: str | None) -> bytes:
    """The feed of one ground. The same alerts give the same bytes.

    ``updated_at``: when the alerts were last judged; an entry is stamped when it was raised or ended, since nothing else of it is dated.
    ``self_url``: where the feed lies; its alerts link to their surfaces' pages beside it, or to nothing where it is None.
    """
    ElementTree.register_namespace("", ATOM)
    feed = ElementTree.Element(f"{{{ATOM}}}feed")
    sample = "[Sample] " if ground.sample else ""
    add(feed, "id", f"urn:forecaster:{ground.id}:alerts")
    add(feed, "title", f"{sample}Alerts of {ground.name}")
    add(feed, "updated", stamp(max([updated_at, *(alert.ended_at_utc or alert.raised_at_utc for alert in alerts)])))
    add(add(feed, "author"), "name", ground.name)
    if self_url is not None:
        add(feed, "link", rel="self", href=self_url, type="application/atom+xml")
    names = {surface.id: surface.name for surface in ground.surfaces}
    for alert in sorted(alerts, key=lambda one: (one.ended_at_utc or one.raised_at_utc, one.id), reverse=True):
        entry = add(feed, "entry")
        surface = names.get(alert.surface_id, alert.surface_id)
        add(entry, "id", f"urn:forecaster:alert:{alert.id}")
        add(entry, "title", f"{sample}{surface}: {alert.title} ({alert.severity}), {_WORDS[alert.status]}")
        add(entry, "published", stamp(alert.raised_at_utc))
        add(entry, "updated", stamp(alert.ended_at_utc or alert.raised_at_utc))
        add(entry, "category", term=alert.severity.value)
        if self_url is not None and alert.surface_id in names:
            host = "/".join(self_url.split("/")[:3])
            add(entry, "link", rel="alternate", href=f"{host}/grounds/{ground.id}/surfaces/{alert.surface_id}", type="text/html")
        add(entry, "content", f"{alert.reason}\n\nDo: {alert.advice}", type="text")
    return bytes(ElementTree.tostring(feed, encoding="utf-8", xml_declaration=True))


def add(parent: ElementTree.Element, name: str, text: str | None = None, **attributes: str) -> ElementTree.Element:
    """An element of Atom below another."""
    child = ElementTree.SubElement(parent, f"{{{ATOM}}}{name}", attributes)
    # Characters that XML 1.0 does not know would make the whole feed unreadable.
    child.text = None if text is None else "".join(letter for letter in text if letter in "\n\t" or ord(letter) >= 32)
    return child


def stamp(moment: datetime) -> str:
    """A time as Atom has it."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
