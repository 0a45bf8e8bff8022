"""What all charts share: two widths, colours as CSS variables, and the day axis with today and the forecast marked.

Specifications are plain Vega-Lite in dictionaries: building them through a wrapper that checks every channel took a second
per surface, so the tests check them against the schema instead.

Days are drawn as calendar dates on a UTC scale, so the zone of the machine that renders never shifts them.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

from forecaster.documents import OutlookDay, SurfaceOutlook

Layer = dict[str, Any]
Pairs = Sequence[tuple[date, float | None]]

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
PAST_DAYS = 60

# The page sets the variables for light, dark and print; the fallback is the light value.
INK = "var(--chart-ink, #2a2620)"
SOFT = "var(--chart-soft, #6a6358)"
GRID = "var(--chart-grid, #ddd5c6)"
SHADE = "var(--chart-shade, #ebe4d6)"
SOUND = "var(--chart-sound, #3d6a35)"
BAND = "var(--chart-band, #a0431a)"
RAIN = "var(--chart-rain, #3a6288)"
FLUSH = "var(--chart-flush, #6e3a72)"
PAPER = "var(--chart-paper, #fffdf8)"

# Colour never stands alone: sound turf is a whole line, the band is dashed and a little thicker, everywhere.
SOUND_LINE: Layer = {"color": SOUND, "strokeWidth": 2.2}
BAND_LINE: Layer = {"color": BAND, "strokeWidth": 2.6, "strokeDash": [7, 3]}

AXIS_PX = 38


@dataclass(frozen=True)
class Width:
    """One drawing size. ``plot_px`` is the inside of the axes; the rest of ``whole_px`` is for axis and line-end labels."""

    name: str
    whole_px: int
    plot_px: int
    panel_px: int
    title_letters: int
    font_px: int
    day_ticks: int
    bar_px: float


PHONE = Width(name="phone", whole_px=358, plot_px=258, panel_px=112, title_letters=40, font_px=12, day_ticks=4, bar_px=2.6)
WIDE = Width(name="wide", whole_px=900, plot_px=780, panel_px=150, title_letters=96, font_px=13, day_ticks=10, bar_px=7.5)
WIDTHS = (PHONE, WIDE)


def shown_days(outlook: SurfaceOutlook) -> list[OutlookDay]:
    """The days a chart shows: 60 back to the horizon."""
    return [d for d in outlook.days if d.lead_days >= -PAST_DAYS]


def instant(day: date, *, hours: int = 0) -> str:
    """A day (plus hours) as the UTC text the scale reads."""
    return f"{day.isoformat()}T{hours:02d}:00:00Z"


def layer(
    rows: Sequence[dict[str, Any]],
    mark: str,
    *,
    x: Layer | None = None,
    y: Layer | None = None,
    x2: str | None = None,
    y2: str | None = None,
    words: str | None = None,
    look: Layer,
) -> Layer:
    """One mark over its rows. ``x2``, ``y2`` and ``words`` name fields; ``look`` holds the properties of the mark."""
    encoding: Layer = {channel: definition for channel, definition in (("x", x), ("y", y)) if definition is not None}
    encoding |= {channel: {"field": field} for channel, field in (("x2", x2), ("y2", y2)) if field is not None}
    if words is not None:
        encoding["text"] = {"field": words, "type": "nominal"}
    return {"data": {"values": list(rows)}, "mark": {"type": mark, **look}, "encoding": encoding}


def day_at(field: str, days: Sequence[OutlookDay], width: Width, *, labelled: bool = False) -> Layer:
    """The shared day axis over ``field``; only the lowest panel writes its labels."""
    domain = [instant(days[0].day - timedelta(days=1), hours=12), instant(days[-1].day, hours=12)]
    axis = {
        "format": "%-d %b",
        "tickCount": width.day_ticks,
        "labels": labelled,
        "labelFlush": True,
        "labelOverlap": True,
        "grid": False,
        "title": None,
    }
    return {"field": field, "type": "temporal", "scale": {"type": "utc", "domain": domain, "nice": False}, "axis": axis}


def amount(field: str, domain: tuple[float, float], **axis: Any) -> Layer:
    """A y channel over ``field`` with a fixed domain."""
    scale = {"domain": list(domain), "nice": False}
    return {"field": field, "type": "quantitative", "scale": scale, "axis": {"title": None, "domain": False, "tickCount": 4, **axis}}


def background(
    outlook: SurfaceOutlook, days: Sequence[OutlookDay], width: Width, *, top: bool = False, bottom: bool = False
) -> list[Layer]:
    """Shade of the days ahead and the rule after today; the ``top`` panel names them, the ``bottom`` panel labels the days."""
    edge, last = instant(outlook.today, hours=12), instant(days[-1].day, hours=12)
    x = day_at("edge", days, width, labelled=bottom)
    layers = [
        layer([{"edge": edge, "last": last}], "rect", x=x, x2="last", look={"color": SHADE, "opacity": 1}),
        layer([{"edge": edge}], "rule", x=x, look={"color": INK, "strokeDash": [2, 3]}),
    ]
    if top:
        for text, align, dx in (("today", "right", -4), ("ahead", "left", 4)):
            look = {"align": align, "baseline": "top", "dx": dx, "dy": 2, "y": 0, "color": SOFT, "fontSize": width.font_px}
            layers.append(layer([{"edge": edge, "words": text}], "text", x=x, words="words", look=look))
    return layers


def line(pairs: Pairs, days: Sequence[OutlookDay], width: Width, *, y: Layer, look: Layer, bottom: bool = False) -> Layer:
    """A line over days; a day without a number leaves a gap."""
    rows = [{"day": instant(day), y["field"]: value} for day, value in pairs]
    x = day_at("day", days, width, labelled=bottom)
    return layer(rows, "line", x=x, y=y, look={"invalid": "break-paths-show-domains", **look})


def edge_words(
    rows: Sequence[dict[str, Any]], width: Width, *, y: Layer, colour: str, baseline: Literal["bottom", "middle"]
) -> list[Layer]:
    """Words (field "words") at the left edge of a panel, on a rim of paper so that a line behind them stays readable."""
    look = {"align": "left", "baseline": baseline, "x": 0, "dx": 3, "dy": -3 if baseline == "bottom" else 0, "fontSize": width.font_px}
    rim = {"stroke": PAPER, "strokeWidth": 4, "strokeJoin": "round", "color": PAPER}
    return [layer(rows, "text", y=y, words="words", look={**look, **paint}) for paint in (rim, {"color": colour})]


def limit(at: float, words: str, width: Width, *, field: str, domain: tuple[float, float], colour: str) -> tuple[Layer, list[Layer]]:
    """A dotted rule across a panel, and the words above it (to be drawn last)."""
    rows, y = [{field: at, "words": words}], amount(field, domain)
    rule = layer(rows, "rule", y=y, look={"color": colour, "strokeWidth": 1.4, "strokeDash": [1, 2]})
    return rule, edge_words(rows, width, y=y, colour=colour, baseline="bottom")


def spread(values: Sequence[float], *, gap: float) -> list[float]:
    """Shift label positions apart so that neighbours are at least ``gap`` apart, keeping their order and centre."""
    order = sorted(range(len(values)), key=lambda i: values[i])
    placed = [values[i] for i in order]
    for i in range(1, len(placed)):
        placed[i] = max(placed[i], placed[i - 1] + gap)
    shift = (sum(values) - sum(placed)) / len(values) if values else 0.0
    result = [0.0] * len(values)
    for position, i in zip(placed, order, strict=True):
        result[i] = position + shift
    return result


def end_labels(lines: Sequence[tuple[str, str, Pairs]], days: Sequence[OutlookDay], width: Width, *, y: Layer, height: int) -> list[Layer]:
    """Names at the right ends of lines, kept apart. ``lines``: text, colour, pairs of day and value."""
    ends: list[tuple[str, str, date, float]] = []
    for text, colour, pairs in lines:
        found = next(((day, value) for day, value in reversed(pairs) if value is not None), None)
        if found is not None:
            ends.append((text, colour, *found))
    low, high = y["scale"]["domain"]
    heights = spread([end[3] for end in ends], gap=(high - low) * (width.font_px + 3) / height)
    look = {"align": "left", "baseline": "middle", "dx": 7, "fontSize": width.font_px, "fontWeight": "bold"}
    field = y["field"]
    return [
        layer([{"day": instant(day), field: at, "words": text}], "text", x=day_at("day", days, width), y=y, words="words", look=paint)
        for (text, day, paint), at in zip([(t, d, {**look, "color": c}) for t, c, d, _ in ends], heights, strict=True)
    ]


def _wrapped(text: str, letters: int) -> list[str]:
    """Lines of a title; a number stays with the word after it (textwrap does not break at no-break spaces)."""
    return textwrap.wrap(re.sub(r"(?<=\d) ", "\N{NO-BREAK SPACE}", text), letters)


def panel(layers: Sequence[Layer], width: Width, *, title: str, height: int) -> Layer:
    """One panel of layers with what it shows, and the unit, written above it."""
    words = _wrapped(title, width.title_letters + 6)
    heading = {"text": words, "anchor": "start", "frame": "group", "dx": -AXIS_PX - 4, "fontSize": width.font_px}
    return {
        "layer": list(layers),
        "width": width.plot_px,
        "height": height,
        "title": {**heading, "fontWeight": "normal", "color": SOFT, "offset": 6},
    }


def sheet(panels: Sequence[Layer], width: Width, *, finding: str, description: str) -> Layer:
    """Panels above each other under the finding, as a Vega-Lite specification.

    ``usermeta.whole_width_px`` is read by ``render_svg``: labels at line ends stand outside the plot, where the renderer's idea of a
    letter's width is not the reader's, and a fixed width for the whole drawing leaves them room.
    """
    heading = {"text": _wrapped(finding, width.title_letters), "anchor": "start", "fontSize": width.font_px + 2, "fontWeight": "bold"}
    return {
        "$schema": SCHEMA,
        "description": description,
        "title": {**heading, "color": INK, "offset": 10},
        "padding": 2,
        "background": "transparent",
        "usermeta": {"whole_width_px": width.whole_px},
        "spacing": 14,
        "vconcat": list(panels),
        "resolve": {"scale": {"x": "shared"}},
        "config": {
            "aria": False,
            "font": "system-ui, sans-serif",
            "view": {"stroke": None},
            "axis": {
                "labelColor": SOFT,
                "domainColor": SOFT,
                "tickColor": SOFT,
                "gridColor": GRID,
                "labelFontSize": width.font_px,
            },
            "axisY": {"minExtent": AXIS_PX, "maxExtent": AXIS_PX},
        },
    }
