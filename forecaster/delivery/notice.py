"""A short message of a few sentences, in text and HTML: for what is not the daily message."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from html import escape

from forecaster.delivery.render import TEXT_WIDTH, RenderedMessage


def render_notice(
    subject: str, paragraphs: Sequence[str], *, link: str | None, link_words: str = "The page of this ground"
) -> RenderedMessage:
    """Write the paragraphs, then a link to the page; the sentences are the same in both forms."""
    subject = " ".join(subject.split())
    text = "\n\n".join(textwrap.fill(paragraph, TEXT_WIDTH, break_long_words=False, break_on_hyphens=False) for paragraph in paragraphs)
    html = [f"<p>{escape(paragraph)}</p>" for paragraph in paragraphs]
    if link is not None:
        text += f"\n\n{link}"
        html.append(f'<p><a href="{escape(link)}">{escape(link_words)}</a></p>')
    head = f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{escape(subject)}</title></head>\n<body>'
    return RenderedMessage(subject=subject, text=f"{text}\n", html="\n".join([head, *html, "</body>\n</html>"]) + "\n")
