"""Repellency of sound turf and band, ring contrast, and the chance of fruit bodies."""

from __future__ import annotations

import math
from collections.abc import Sequence

from forecaster.charts.drawing import (
    BAND,
    BAND_LINE,
    FLUSH,
    INK,
    SOFT,
    SOUND,
    SOUND_LINE,
    Layer,
    Pairs,
    Width,
    amount,
    background,
    day_at,
    edge_words,
    end_labels,
    instant,
    layer,
    limit,
    line,
    panel,
    sheet,
    shown_days,
)
from forecaster.charts.finding import percent, ring_finding
from forecaster.documents import OutlookDay, SurfaceOutlook
from forecaster.quantities import REPELLENCY_CLASSES

# Upper edge of the drawn scale, log10 s: room for the class "extreme", which has no upper limit.
TOP_LOG10_S = 4.6
PERCENT_LABELS = {"values": [0, 25, 50, 75, 100], "labelExpr": "datum.value + '%'"}


def ring_chart(outlook: SurfaceOutlook, width: Width) -> Layer:
    """The ring chart as a Vega-Lite specification; days without weather leave a gap."""
    days = shown_days(outlook)
    finding = ring_finding(outlook)
    return sheet(
        [_repellency(outlook, days, width), _contrast(outlook, days, width), _flush(outlook, days, width)],
        width,
        finding=finding,
        description=f"Chart of {outlook.surface_name}: {finding}. The table below it holds the numbers.",
    )


def _repellency(outlook: SurfaceOutlook, days: Sequence[OutlookDay], width: Width) -> Layer:
    height = round(1.2 * width.panel_px)
    limits = [math.log10(upper) for _, upper in REPELLENCY_CLASSES[:-1]]
    edges = [0.0, *limits, TOP_LOG10_S]
    names = [
        {"repellency": (low + high) / 2, "words": name}
        for (name, _), low, high in zip(REPELLENCY_CLASSES, edges[:-1], edges[1:], strict=True)
    ]
    y = amount("repellency", (0.0, TOP_LOG10_S), values=limits, labels=False, ticks=False)
    sound: Pairs = [(d.day, None if d.sound is None else d.sound.repellency_log10_s) for d in days]
    band: Pairs = [(d.day, None if d.band is None else d.band.repellency_log10_s) for d in days]
    layers = [
        *background(outlook, days, width, top=True),
        line(sound, days, width, y=y, look=SOUND_LINE),
        line(band, days, width, y=y, look=BAND_LINE),
        *edge_words(names, width, y=y, colour=SOFT, baseline="middle"),
        *end_labels([("sound", SOUND, sound), ("band", BAND, band)], days, width, y=y, height=height),
    ]
    return panel(layers, width, title="Water repellency, class by drop test: sound turf (line), band (dashes)", height=height)


def _contrast(outlook: SurfaceOutlook, days: Sequence[OutlookDay], width: Width) -> Layer:
    pairs: Pairs = [(d.day, None if d.ring_contrast is None else 100 * d.ring_contrast) for d in days]
    values = [value for _, value in pairs if value is not None]
    domain = (1.05 * min(0.0, *values, 0.0), 1.05 * max(50.0, *values, 110 * (outlook.marks.rings_show_at or 0.0)))
    y = amount("contrast", domain, **PERCENT_LABELS)
    layers = [*background(outlook, days, width), line(pairs, days, width, y=y, look={"color": INK, "strokeWidth": 2.4})]
    seen_from = outlook.marks.rings_show_at
    if seen_from is not None:
        words = f"stands out above {percent(seen_from)}"
        rule, above = limit(100 * seen_from, words, width, field="contrast", domain=domain, colour=SOFT)
        layers = [*layers[:-1], rule, layers[-1], *above]
    return panel(layers, width, title="Green cover: how much more sound turf has than the band, % of ground", height=width.panel_px)


def _flush(outlook: SurfaceOutlook, days: Sequence[OutlookDay], width: Width) -> Layer:
    rows = [{"day": instant(d.day), "none": 0.0, "chance": 100 * d.flush_chance_7_days} for d in days if d.flush_chance_7_days is not None]
    x, y = day_at("day", days, width, labelled=True), amount("none", (0.0, 100.0), **PERCENT_LABELS)
    layers = [
        *background(outlook, days, width, bottom=True),
        layer(rows, "bar", x=x, y=y, y2="chance", look={"size": width.bar_px, "color": FLUSH}),
    ]
    return panel(layers, width, title="Chance that one ring fruits in this and the next six days", height=round(0.8 * width.panel_px))
