"""When each rule would have spoken over past seasons: one row a rule, a bar a spell, thicker where it was worse."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from forecaster.charts.drawing import BAND, GRID, INK, SOFT, SOUND, WIDE, Layer, instant, layer, sheet
from forecaster.quantities import Severity
from forecaster.risk.rehearsal import Difference, RehearsedRule
from forecaster.risk.sentences import counted

ROW_PX = 34
NAMES_PX = 215
# Thickness says how bad it was, so that colour is not asked to.
THICKNESS_PX: Mapping[Severity, int] = {Severity.MINOR: 4, Severity.MODERATE: 7, Severity.SEVERE: 11, Severity.EXTREME: 15}
# Two files lie above each other in a row: the first above its middle, the other below.
SHIFT_PX = 8
INSIDE = "transparent"


def rehearsal_chart(
    surface_name: str, files: Sequence[tuple[str, Sequence[RehearsedRule]]], *, first: date, last: date, finding: str
) -> Layer:
    """One or two rule files over the days ``first`` to ``last``, as a Vega-Lite specification.

    ``files``: name and rehearsed rules of each, two at most. Raises ValueError for any other number.
    """
    if not 1 <= len(files) <= 2:
        raise ValueError(f"one or two rule files can be drawn, not {len(files)}")
    titles = list(dict.fromkeys(found.rule.title for _, rules in files for found in rules if found.applies))
    day: Layer = {"type": "temporal", "scale": {"type": "utc", "domain": [instant(first), instant(last, hours=23)], "nice": False}}
    x: Layer = {"field": "from", **day, "axis": {"format": "%-d %b %Y", "title": None, "grid": True, "labelOverlap": True, "tickCount": 8}}
    y = {
        "field": "rule",
        "type": "nominal",
        "sort": titles,
        "axis": {"title": None, "domain": False, "ticks": False, "labelLimit": NAMES_PX - 10},
    }
    y["scale"] = {"domain": titles}
    rows = [{"rule": title, "from": instant(first), "to": instant(last, hours=23)} for title in titles]
    layers = [layer(rows, "rule", x=x, x2="to", y=y, look={"color": GRID, "strokeWidth": 1})]
    paints: tuple[Layer, Layer] = ({"color": SOUND}, {"color": INSIDE, "stroke": BAND, "strokeWidth": 1.6})
    for number, ((_, rules), paint) in enumerate(zip(files, paints, strict=False)):
        shift = 0 if len(files) == 1 else SHIFT_PX * (2 * number - 1)
        for severity, thickness in THICKNESS_PX.items():
            bars = [
                {"rule": found.rule.title, "from": instant(spell.first), "to": instant(spell.last, hours=23)}
                for found in rules
                for spell in found.spells
                if spell.worst is severity
            ]
            if bars:
                layers.append(layer(bars, "bar", x=x, x2="to", y=y, look={**paint, "height": thickness, "yOffset": shift}))
    whole = {
        "layer": layers,
        "width": WIDE.whole_px - NAMES_PX - 20,
        "height": {"step": ROW_PX},
        "title": {
            "text": [
                *_legend([name for name, _ in files]),
                f"The thicker the bar, the worse: {', '.join(severity.value for severity in THICKNESS_PX)}. Local days.",
            ],
            "anchor": "start",
            "frame": "group",
            "fontSize": WIDE.font_px,
            "fontWeight": "normal",
            "color": SOFT,
            "offset": 6,
        },
    }
    drawn = sheet([whole], WIDE, finding=finding, description=f"{surface_name}: {finding}")
    drawn["config"]["axisY"] = {"minExtent": NAMES_PX, "maxExtent": NAMES_PX, "labelColor": INK, "labelFontSize": WIDE.font_px}
    return drawn


def _legend(names: Sequence[str]) -> list[str]:
    if len(names) == 1:
        return [f"A bar: days on which the rule speaks, by {names[0]}."]
    return [f"Filled bars, above: {names[0]}. Hollow bars, below: {names[1]}."]


def rehearsal_finding(surface_name: str, rules: Sequence[RehearsedRule], *, days: int) -> str:
    """What the rehearsal found on one surface, in one sentence: the rule that spoke most, or that none did."""
    spoke = max(rules, key=lambda found: len(found.spoken), default=None)
    if spoke is None or not spoke.spoken:
        return f"{surface_name}: no rule would have spoken on {counted(days, 'day')}"
    spells = counted(len(spoke.spells), "spell")
    return f"{surface_name}: “{spoke.rule.title}” would have spoken most, on {len(spoke.spoken)} of {counted(days, 'day')} in {spells}"


def comparison_finding(surface_name: str, found: Sequence[Difference], names: tuple[str, str]) -> str:
    """Where two rule files differ most on one surface, in one sentence, or that they do not."""
    most = max(found, key=lambda difference: len(difference.only_one) + len(difference.only_other), default=None)
    if most is None:
        return f"{surface_name}: {names[0]} and {names[1]} speak on the same days"
    known = most.one or most.other
    assert known is not None  # a difference is of a rule in one of the files
    sides = [
        f"on {counted(len(days), 'day')} only by {name}" for days, name in zip((most.only_one, most.only_other), names, strict=True) if days
    ]
    return f"{surface_name}: the files differ most on “{known.rule.title}”, which speaks {' and '.join(sides)}"
