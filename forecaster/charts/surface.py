"""The charts of one surface, as the cycle stores them."""

from __future__ import annotations

from typing import Any

from forecaster.charts.drawing import WIDTHS
from forecaster.charts.ring import ring_chart
from forecaster.charts.water import water_chart
from forecaster.documents import SurfaceOutlook


def chart_set(outlook: SurfaceOutlook) -> dict[str, dict[str, Any]]:
    """Vega-Lite specifications by name: water_phone, water_wide, ring_phone, ring_wide; empty for an outlook without days."""
    if not outlook.days:
        return {}
    charts = {"water": water_chart, "ring": ring_chart}
    return {f"{name}_{width.name}": draw(outlook, width) for name, draw in charts.items() for width in WIDTHS}
