"""Charts as pictures for mail: most mail programs show no SVG."""

from __future__ import annotations

import io
import re

PAPER = "#fffdf8"
"""Pictures keep light paper: a mail program may put them on any colour."""
COLOURS = 32
"""A chart has eight colours and their soft edges: with 32 a picture looks the same and takes an eighth of the bytes (30 kB, not 240)."""
SCALE = 2.0
"""Twice the size in which it is shown, for the fine screens of phones."""


def mail_picture(svg: str) -> bytes:
    """A chart's SVG as PNG with a palette. The renderer is loaded on the first call; it reads no file and no network.

    Raises: ValueError where the text is no SVG that can be drawn.
    """
    import vl_convert
    from PIL import Image

    # The colours are variables of the page, each with its light value behind it; the picture has no page.
    plain = re.sub(r"var\(--[a-z-]+, (#[0-9a-f]{6})\)", r"\1", svg)
    drawn = Image.open(io.BytesIO(vl_convert.svg_to_png(plain, scale=SCALE))).convert("RGBA")
    whole = Image.new("RGBA", drawn.size, PAPER)
    whole.alpha_composite(drawn)
    out = io.BytesIO()
    whole.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()
