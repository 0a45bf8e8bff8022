"""A chart specification to SVG text. Computation only: no file, no network, no font from outside."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape
from typing import Any


def render_svg(specification: Mapping[str, Any]) -> str:
    """Render a Vega-Lite specification to one ``<svg>`` element that scales to its place and names itself to screen readers.

    The text carries no XML prologue, no script and no style attribute, so it can stand inside a page with a strict content policy.
    The renderer (100 MB) is loaded on the first call.
    """
    import vl_convert

    svg = str(vl_convert.vegalite_to_svg(dict(specification), allowed_base_urls=[]))
    svg = svg[svg.index("<svg") :].strip()
    label = escape(str(specification.get("description", "")), quote=True)
    svg = svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)
    whole = specification.get("usermeta", {}).get("whole_width_px")
    if whole is not None:
        height = _size(svg, "height")
        svg = re.sub(
            r' width="[^"]+" height="[^"]+" viewBox="[^"]+"',
            f' width="{whole}" height="{height}" viewBox="0 0 {whole} {height}"',
            svg,
            count=1,
        )
    return svg


def _size(svg: str, name: str) -> str:
    found = re.search(rf' {name}="([0-9.]+)"', svg)
    if found is None:
        raise ValueError(f"the renderer's SVG has no {name}")
    return found.group(1)
