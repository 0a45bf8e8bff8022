"""The end of every mail: why it came, and how to get less of it or none."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, replace
from html import escape

from forecaster.delivery.render import TEXT_WIDTH, RenderedMessage

_WISHES = {
    "daily": "every day",
    "on change": "when something changes, and once a week as a sign of life",
    "severe only": "when something is newly severe, and once a week as a sign of life",
}


@dataclass(frozen=True)
class MailFooter:
    """``wish``: how often this reader gets mail, as in the configuration. ``off_link``: None where there is no address to open."""

    ground_name: str
    wish: str
    off_link: str | None


def with_footer(rendered: RenderedMessage, footer: MailFooter) -> RenderedMessage:
    """The message with its end. The link opens a page and changes nothing by itself: mail programs look into links."""
    why = f"You get mail of {footer.ground_name} {_WISHES[footer.wish]}. For more or less of it, ask whoever runs this program for you."
    if footer.off_link is None:
        why += " They also take an address off."
        off_text, off_html = "", ""
    else:
        off_text = f"To take this address off: {footer.off_link}\n"
        off_html = f' <a href="{escape(footer.off_link)}">Take this address off</a>'
    text = f"{rendered.text.rstrip()}\n\n-- \n{textwrap.fill(why, TEXT_WIDTH, break_long_words=False, break_on_hyphens=False)}\n{off_text}"
    style = "max-width: 36rem; margin: 1.5rem auto 0; font-size: .875rem"
    end = f'<p style="{style}">{escape(why)}{off_html}</p>\n</body>'
    return replace(rendered, text=text, html=rendered.html.replace("</body>", end))
