"""The daily message in text and HTML. Both are made from one arrangement of the digest, so that they say the same."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from urllib.parse import urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined

from forecaster.delivery.message import Enclosure
from forecaster.documents import DigestDocument, DigestEntry, Signal, WeatherStatus

SAMPLE_NOTICE = "This is sample weather: the ground and its weather are invented. Do not act on it."
NO_WEATHER_NOTICE = "The weather to judge it is missing: no word here does not mean that all is well."

NOTHING_CHANGED = "No change to report."
NOTHING_KNOWN_TO_CHANGE = "No change that is known; without weather nobody can say more."
NOTHING_TO_DO = "Nothing beyond the usual round."
LOOK_YOURSELF = "Walk the ground and look for yourself: without weather this message cannot tell you."
MORE_ON_PAGES = "Charts, every reason, sources and what is assumed: on the pages above."
MORE_IN_HTML = "Charts, every reason, sources and what is assumed: in the HTML form of this mail."
TEXT_WIDTH = 78


@dataclass(frozen=True)
class RenderedMessage:
    """A message in words, ready for the outbox, and what goes with it."""

    subject: str
    text: str
    html: str
    enclosures: tuple[Enclosure, ...] = ()


@dataclass(frozen=True)
class MailPicture:
    """The chart of a surface. ``finding``: what it shows, in a sentence, for those who do not see it."""

    surface_id: str
    content_id: str
    finding: str
    png: bytes = field(repr=False)

    def enclosure(self) -> Enclosure:
        """As it goes with the message."""
        return Enclosure(f"{self.surface_id}.png", "image/png", self.content_id, self.png)


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
    picture: MailPicture | None
    also: str
    """All signals but the first, in a line for the text."""
    quiet: bool
    """Known, and nothing speaks against it: a line in the text is enough."""


def render_digest(digest: DigestDocument, *, pictures: Sequence[MailPicture] = (), files: Sequence[Enclosure] = ()) -> RenderedMessage:
    """Write the daily message: sample notice, opening, weather, what to do, changes, surfaces worst first, cautions.

    The HTML has everything: each signal's reason, notes, sources and pictures. The text is for six in the morning: of each surface the
    worst signal with its reason, the others in a line, the quiet ones in a line each. ``files`` go with it.

    Rules on trial are left out: they are shown on pages, never mailed. An advice or caution that stands in the list of the whole
    digest is not repeated beside its surface.
    """
    shown = {picture.surface_id: picture for picture in pictures}
    warned = digest.weather.state == "missing"
    surfaces = [_arrange(entry, warned=warned, picture=shown.get(entry.surface_id)) for entry in digest.entries]
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
        "more": MORE_ON_PAGES if any(surface.link for surface in surfaces) else MORE_IN_HTML,
        "said": " ".join(" ".join(digest.to_do).split()),
    }
    templates = _templates()
    text = templates.get_template("digest.txt").render(parts)
    html = templates.get_template("digest.html").render(parts)
    enclosures = (*(surface.picture.enclosure() for surface in surfaces if surface.picture), *files)
    return RenderedMessage(subject=" ".join(digest.subject.split()), text=text, html=html, enclosures=enclosures)


def _arrange(entry: DigestEntry, *, warned: bool, picture: MailPicture | None) -> _Surface:
    """``warned``: the opening has said already that no weather does not mean that all is well."""
    if not entry.known:
        word, style = "Not known", "unknown"
    elif entry.severity is not None:
        word, style = entry.severity.value, entry.severity.value.lower()
    else:
        word, style = "Nothing against it", "quiet"
    mailed = tuple(signal for signal in entry.signals if not signal.trial)
    return _Surface(
        name=entry.surface_name,
        word=word,
        style=style,
        headline=entry.headline,
        warning="" if entry.known or warned else NO_WEATHER_NOTICE,
        signals=mailed,
        next_fixture=entry.next_fixture,
        link=_web_link(entry.link),
        picture=picture,
        also="; ".join(f"{signal.title} ({signal.severity}, {signal.certainty.lower()}), {signal.when}" for signal in mailed[1:]),
        quiet=entry.known and entry.severity is None,
    )


def _weather_lines(digest: DigestDocument) -> list[str]:
    """The sentence on the weather, why the newest pull failed, and of old or missing weather how its services stand; nothing twice."""
    weather, lines, said = digest.weather, [], digest.opening
    if weather.text not in said:
        lines.append(weather.text)
        said += weather.text
    if weather.problem and weather.problem.strip().rstrip(".") not in said:
        lines.append(f"Why: {weather.problem}")
        said += weather.problem
    if weather.state != "fresh":
        lines += [note.text for note in weather.services if note.text not in said]
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
