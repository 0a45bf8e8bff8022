"""The daily message in text and HTML. Both are made from one arrangement of the digest, so that they say the same."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from urllib.parse import urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined

from forecaster.documents import DigestDocument, DigestEntry, Signal, WeatherStatus

SAMPLE_NOTICE = "This is sample weather: the ground and its weather are invented. Do not act on it."
NO_WEATHER_NOTICE = "The weather to judge it is missing: no word here does not mean that all is well."

NOTHING_CHANGED = "No change to report."
NOTHING_KNOWN_TO_CHANGE = "No change that is known; without weather nobody can say more."
NOTHING_TO_DO = "Nothing beyond the usual round."
LOOK_YOURSELF = "Walk the ground and look for yourself: without weather this message cannot tell you."
TEXT_WIDTH = 78


@dataclass(frozen=True)
class RenderedMessage:
    """A message in words, ready for the outbox."""

    subject: str
    text: str
    html: str


@dataclass(frozen=True)
class _Surface:
    """One surface as the templates show it. ``word`` carries the severity; colour only repeats it."""

    name: str
    word: str
    style: str
    headline: str
    warning: str
    signals: tuple[Signal, ...]
    next_fixture: str | None
    link: str | None


def render_digest(digest: DigestDocument) -> RenderedMessage:
    """Write the daily message: sample notice, opening, weather, what to do, changes, surfaces worst first, cautions, notes, sources.

    Rules on trial are left out: they are shown on pages, never mailed. An advice or caution that stands in the list of the whole
    digest is not repeated beside its surface.
    """
    surfaces = [_arrange(entry, warned=digest.weather.state == "missing") for entry in digest.entries]
    signals = [signal for surface in surfaces for signal in surface.signals]
    unsure = digest.weather.state == "missing" or not all(entry.known for entry in digest.entries)
    parts = {
        "digest": digest,
        "day": f"{digest.local_day:%A} {digest.local_day.day} {digest.local_day:%B %Y}",
        "surfaces": surfaces,
        "sample_notice": SAMPLE_NOTICE if digest.weather.sample else "",
        "weather_lines": _weather_lines(digest),
        "credit": _credit(digest.weather),
        "weather_link": _web_link(digest.weather.link),
        "cautions": _once([*digest.cautions, *(caution for signal in signals for caution in signal.cautions)]),
        "nothing_changed": NOTHING_KNOWN_TO_CHANGE if unsure else NOTHING_CHANGED,
        "nothing_to_do": LOOK_YOURSELF if unsure else NOTHING_TO_DO,
        "sources": _once(f"{signal.title}: {signal.source}" for signal in signals),
        "said": " ".join(" ".join(digest.to_do).split()),
    }
    templates = _templates()
    text = templates.get_template("digest.txt").render(parts)
    html = templates.get_template("digest.html").render(parts)
    return RenderedMessage(subject=" ".join(digest.subject.split()), text=text, html=html)


def _arrange(entry: DigestEntry, *, warned: bool) -> _Surface:
    """``warned``: the opening has said already that no weather does not mean that all is well."""
    if not entry.known:
        word, style = "Not known", "unknown"
    elif entry.severity is not None:
        word, style = entry.severity.value, entry.severity.value.lower()
    else:
        word, style = "Nothing against it", "quiet"
    return _Surface(
        name=entry.surface_name,
        word=word,
        style=style,
        headline=entry.headline,
        warning="" if entry.known or warned else NO_WEATHER_NOTICE,
        signals=tuple(signal for signal in entry.signals if not signal.trial),
        next_fixture=entry.next_fixture,
        link=_web_link(entry.link),
    )


def _weather_lines(digest: DigestDocument) -> list[str]:
    """The sentence on the weather, and why the newest pull failed, each unless it stands in what was already said."""
    weather, lines, said = digest.weather, [], digest.opening
    if weather.text not in said:
        lines.append(weather.text)
        said += weather.text
    if weather.problem and weather.problem.strip().rstrip(".") not in said:
        lines.append(f"Why: {weather.problem}")
    return lines


def _credit(weather: WeatherStatus) -> str:
    """Whose weather it is; empty where there is none."""
    return f"{weather.attribution} ({weather.licence})" if weather.attribution and weather.licence else weather.attribution


def _web_link(address: str | None) -> str | None:
    """Only addresses that open a page: anything else (``javascript:`` and the like) is no link."""
    return address if address is not None and urlsplit(address).scheme in ("http", "https") else None


def _once(sentences: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(sentences))


def _wrap(value: str, first: str = "", rest: str | None = None) -> str:
    """Wrap to the width of a text message; ``first`` stands before the first line, ``rest`` (default: as many blanks) before the others."""
    following = " " * len(first) if rest is None else rest
    # A web address stays whole, even where it is longer than a line.
    return textwrap.fill(
        " ".join(str(value).split()),
        TEXT_WIDTH,
        initial_indent=first,
        subsequent_indent=following,
        break_long_words=False,
        break_on_hyphens=False,
    )


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=PackageLoader("forecaster.delivery", "templates"),
        autoescape=lambda name: name is None or not name.endswith(".txt"),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["wrapped"] = _wrap
    return environment
