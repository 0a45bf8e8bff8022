"""One message of an alert as OASIS Common Alerting Protocol 1.2 (CAP-v1.2-os, 1 July 2010).

Elements stand in the order of the standard's schema. Times carry an offset, never "Z", and UTC is -00:00 (section 3.3.2). Identifiers
and senders have no blanks, commas, < or & (section 3.2.1). The scope is Restricted: these are a ground team's own alerts, and no public
warning.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from xml.etree import ElementTree

CAP = "urn:oasis:names:tc:emergency:cap:1.2"
CONTENT_TYPE = "application/cap+xml"
RESTRICTION = "For the people who keep or book this ground. Not a public warning."
AREA_RADIUS_KM = 0.3
"""Around the point that a ground is configured with. Status: assumption, several pitches side by side."""


@dataclass(frozen=True)
class CapMessage:
    """What stands in a message; texts as people read them. ``references``: of each earlier message its sender, identifier and time.

    ``certainty``: as CAP says it, "Unknown" included. ``test``: invented weather. ``parameters``: name and value.
    """

    identifier: str
    sender: str
    sent_at: datetime
    test: bool
    kind: str
    references: tuple[tuple[str, str, datetime], ...]
    note: str | None
    event: str
    response: str
    urgency: str
    severity: str
    certainty: str
    onset: datetime
    expires_at: datetime
    sender_name: str
    headline: str
    description: str
    instruction: str
    web: str | None
    parameters: tuple[tuple[str, str], ...]
    area: str
    latitude: float
    longitude: float


def render_cap(message: CapMessage) -> bytes:
    """The message as XML. The same message gives the same bytes."""
    ElementTree.register_namespace("", CAP)
    alert = ElementTree.Element(f"{{{CAP}}}alert")
    _add(alert, "identifier", message.identifier)
    _add(alert, "sender", message.sender)
    _add(alert, "sent", cap_time(message.sent_at))
    _add(alert, "status", "Test" if message.test else "Actual")
    _add(alert, "msgType", message.kind)
    _add(alert, "scope", "Restricted")
    _add(alert, "restriction", RESTRICTION)
    if message.note is not None:
        _add(alert, "note", message.note)
    if message.references:
        _add(alert, "references", " ".join(f"{sender},{name},{cap_time(sent)}" for sender, name, sent in message.references))
    info = _add(alert, "info")
    _add(info, "language", "en")
    _add(info, "category", "Env")
    _add(info, "event", message.event)
    _add(info, "responseType", message.response)
    _add(info, "urgency", message.urgency)
    _add(info, "severity", message.severity)
    _add(info, "certainty", message.certainty)
    _add(info, "effective", cap_time(message.sent_at))
    _add(info, "onset", cap_time(message.onset))
    _add(info, "expires", cap_time(message.expires_at))
    _add(info, "senderName", message.sender_name)
    _add(info, "headline", message.headline)
    _add(info, "description", message.description)
    _add(info, "instruction", message.instruction)
    if message.web is not None:
        _add(info, "web", message.web)
    for name, value in message.parameters:
        parameter = _add(info, "parameter")
        _add(parameter, "valueName", name)
        _add(parameter, "value", value)
    area = _add(info, "area")
    _add(area, "areaDesc", message.area)
    _add(area, "circle", f"{message.latitude:.4f},{message.longitude:.4f} {AREA_RADIUS_KM:g}")
    return bytes(ElementTree.tostring(alert, encoding="utf-8", xml_declaration=True))


def cap_time(moment: datetime) -> str:
    """A time in UTC as CAP wants it."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S-00:00")


def cap_name(text: str) -> str:
    """A text as an identifier or sender: without what CAP does not allow in one."""
    return "".join("." if letter == "/" else "-" if letter in " ,<&" or ord(letter) < 32 else letter for letter in text)


def _add(parent: ElementTree.Element, name: str, text: str | None = None) -> ElementTree.Element:
    child = ElementTree.SubElement(parent, f"{{{CAP}}}{name}")
    # Characters that XML 1.0 does not know would make the message unreadable.
    child.text = None if text is None else "".join(letter for letter in text if letter in "\n\t" or ord(letter) >= 32)
    return child
