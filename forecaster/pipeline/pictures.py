"""Which charts go into the day's message, as pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from forecaster.alerts.changes import mailed_signals
from forecaster.charts.finding import ring_finding, water_finding
from forecaster.delivery.picture import mail_picture
from forecaster.delivery.render import MailPicture
from forecaster.documents import SurfaceOutlook

MOST_PICTURES = 2
"""The two worst surfaces: with them a mail takes about 100 kB, which a phone on a field loads. Status: own choice."""
_OF_RINGS = ("ring", "flush", "contrast", "repellency")


def mail_pictures(outlooks: Sequence[SurfaceOutlook], charts: Mapping[str, Mapping[str, str]]) -> tuple[MailPicture, ...]:
    """The chart that shows the worst signal of each of the worst surfaces. ``charts``: SVG by surface and name."""
    speaking = [outlook for outlook in outlooks if outlook.known and outlook.severity is not None and mailed_signals(outlook)]
    speaking.sort(key=lambda outlook: -(outlook.severity.rank if outlook.severity else 0))
    found = []
    for outlook in speaking[:MOST_PICTURES]:
        of_rings = any(word in mailed_signals(outlook)[0].quantity for word in _OF_RINGS)
        name, finding = ("ring_phone", ring_finding(outlook)) if of_rings else ("water_phone", water_finding(outlook))
        svg = charts.get(outlook.surface_id, {}).get(name)
        if svg is not None:
            identity = f"{outlook.surface_id}.{outlook.today.isoformat()}.{outlook.ground_id}@chart.invalid"
            words = f"{outlook.surface_name}. {finding}"
            found.append(MailPicture(outlook.surface_id, identity, words, mail_picture(svg)))
    return tuple(found)
