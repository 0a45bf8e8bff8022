"""The daily message in words: text and HTML say the same, safely and readably."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from forecaster.delivery.render import (
    LOOK_YOURSELF,
    MORE_IN_HTML,
    MORE_ON_PAGES,
    NO_WEATHER_NOTICE,
    NOTHING_CHANGED,
    NOTHING_TO_DO,
    SAMPLE_NOTICE,
    MailPicture,
    render_digest,
)
from forecaster.documents import DigestDocument, Signal
from forecaster.quantities import Severity
from tests.delivery.examples import digest, entry, signal, weather

NASTY = "<script>alert(1)</script> & \"Sons\" <img src=x onerror='alert(2)'>"


class Page(HTMLParser):
    """What a reader of the HTML sees, and every element with its attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self._shown: list[str] = []
        self._style = False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._style = tag in ("style", "title")

    def handle_endtag(self, tag: str) -> None:
        self._style = False

    def handle_data(self, data: str) -> None:
        if not self._style:
            self._shown.append(data)

    @property
    def words(self) -> str:
        return flat(" ".join(self._shown))


def flat(text: str) -> str:
    return " ".join(text.split())


def both(document: DigestDocument) -> tuple[str, str]:
    rendered = render_digest(document)
    return flat(rendered.text), Page(rendered.html).words


def assert_in_order(words: str, parts: list[str]) -> None:
    position = 0
    for part in parts:
        found = words.find(part, position)
        assert found >= 0, f"{part!r} is missing after {words[:position][-60:]!r}"
        position = found + len(part)


def test_text_and_html_say_the_same_in_the_same_order() -> None:
    document = digest(weather=weather(sample=True))
    start = [SAMPLE_NOTICE, document.ground_name, document.opening, document.weather.text, *document.to_do, *document.changes]

    def surfaces(signal_parts) -> list[str]:
        return [
            part
            for found in document.entries
            for part in (
                found.surface_name,
                found.headline,
                *(p for number, s in enumerate(found.signals) for p in signal_parts(number, s)),
            )
        ]

    def heads(number: int, given: Signal) -> tuple[str, ...]:
        return (given.title, f"({given.severity}, {given.certainty.lower()})", given.when, *((given.reason,) if number == 0 else ()))

    end = [*document.cautions, document.weather.attribution, document.weather.licence]
    text, page = both(document)
    in_page = surfaces(lambda _number, s: (*heads(1, s), s.reason))
    assert_in_order(text.replace("*** act", "act"), [*start, *surfaces(heads), *end])
    assert_in_order(page, [*start, *in_page, *document.cautions, *document.notes, *end[-2:], "Rings showing: our model and assumption"])
    for words in (text, page):
        assert "Booked: Saturday 19 September 14:30, first team at home" in words
    assert document.entries[0].signals[1].reason not in text, "the text is for six in the morning"


def test_a_quiet_surface_takes_one_line_of_the_text() -> None:
    lines = render_digest(digest()).text.splitlines()
    assert "NOTHING AGAINST IT - The square: Nothing to report." in lines
    assert MORE_ON_PAGES in flat(render_digest(digest()).text)
    assert MORE_IN_HTML in flat(render_digest(digest(entries=(entry(link=None),))).text)


def test_a_picture_stands_with_its_surface_says_its_finding_and_goes_with_the_message() -> None:
    picture = MailPicture("long-meadow", "long-meadow.day@chart.invalid", 'Rings have "stood out" since 1 September', b"png")
    other = MailPicture("elsewhere", "x@chart.invalid", "Nothing.", b"png")
    rendered = render_digest(digest(), pictures=(picture, other))
    images = [attributes for tag, attributes in Page(rendered.html).elements if tag == "img"]
    assert [(one["src"], one["alt"]) for one in images] == [
        ("cid:long-meadow.day@chart.invalid", 'Chart: Rings have "stood out" since 1 September')
    ]
    assert [one.content_id for one in rendered.enclosures] == ["long-meadow.day@chart.invalid"], "of a surface that is not shown, none"


@pytest.mark.parametrize("severity", list(Severity))
def test_severity_is_a_word_beside_the_name_of_its_surface(severity: Severity) -> None:
    text, page = both(digest(entries=(entry(severity=severity, signals=()),)))
    assert f"{severity.upper()} - Long Meadow pitch" in text
    assert f"{severity} Long Meadow pitch" in page


def test_a_surface_without_weather_is_never_called_quiet() -> None:
    for words in both(digest(entries=(entry(severity=None, known=False, signals=(), headline="Not known."),))):
        assert "not known" in words.lower()
        assert NO_WEATHER_NOTICE in words
        assert "nothing against" not in words.lower()


def test_without_any_weather_the_opening_says_it_for_all_surfaces() -> None:
    blind = digest(weather=weather(state="missing", text="There is no weather."), entries=(entry(known=False), entry(known=False)))
    for words in both(blind):
        assert NO_WEATHER_NOTICE not in words
        assert words.lower().count("not known") >= 2


def test_a_surface_not_known_any_more_says_so_before_its_last_severity() -> None:
    held = entry(known=False, headline="Not known: there is no weather for the coming days. Last known, on 9 September: Severe.")
    text, page = both(digest(entries=(held,)))
    assert "NOT KNOWN - Long Meadow pitch" in text
    assert "Not known Long Meadow pitch" in page


def test_nothing_to_do_is_said_only_when_the_weather_is_known() -> None:
    calm = digest(entries=(entry(severity=None, signals=()),), changes=(), to_do=(), cautions=())
    blind = calm.model_copy(update={"weather": weather(state="missing", text="There is no weather.")})
    for words in both(calm):
        assert NOTHING_TO_DO in words
        assert NOTHING_CHANGED in words
        assert "Take care" not in words
    for words in both(blind):
        assert LOOK_YOURSELF in words
        assert NOTHING_TO_DO not in words
        assert NOTHING_CHANGED not in words


def test_old_weather_is_said_with_its_reason() -> None:
    old = weather(state="stale", text="Weather is 2 days old: nothing newer has come.", problem="No connection.")
    for words in both(digest(weather=old)):
        assert "Weather is 2 days old: nothing newer has come. Why: No connection." in words
    said = old.model_copy(update={"text": "Weather is 2 days old: No connection."})
    for words in both(digest(weather=said, opening="This rests on old weather. Weather is 2 days old: No connection. Rings show.")):
        assert words.count("Weather is 2 days old") == 1
        assert words.count("No connection") == 1


def test_without_weather_nobody_is_credited() -> None:
    for words in both(digest(weather=weather(state="missing", text="No weather: none yet.", attribution="", licence="", link=None))):
        assert "Weather:" not in words.replace("No weather: none yet.", "")
        assert "()" not in words


def test_the_sample_notice_comes_first_and_only_with_sample_weather() -> None:
    rendered = render_digest(digest(weather=weather(sample=True)))
    assert flat(rendered.text).startswith("*** This is sample weather")
    assert Page(rendered.html).words.startswith(SAMPLE_NOTICE)
    for words in both(digest()):
        assert "sample weather" not in words


def test_a_rule_on_trial_is_not_mailed() -> None:
    for words in both(digest(entries=(entry(signals=(signal(), signal(title="Unproven idea", trial=True))),))):
        assert "Unproven idea" not in words
        assert "Rings showing" in words


def test_the_source_of_each_warning_stands_once_at_the_end() -> None:
    twice = digest(entries=(entry(), entry(surface_name="Hill green"), entry(signals=(signal(title="Unproven idea", trial=True),))))
    _, words = both(twice)
    rests = words[words.index("What this rests on") :]
    assert words.count("our model and assumption") == rests.count("Rings showing: our model and assumption") == 1
    assert "Unproven idea" not in rests


def test_an_advice_or_caution_stands_once() -> None:
    for words in both(digest()):
        assert words.count("Walk the rings and mark the outer edge.") == 1
        assert words.count("Do: Before children play") == 1
        assert words.count("a licensed professional decide") == 1


def test_names_cannot_become_markup() -> None:
    hostile = digest(
        ground_name=NASTY,
        subject=NASTY,
        opening=NASTY,
        entries=(
            entry(surface_name=NASTY, headline=NASTY, next_fixture=NASTY, signals=(signal(title=NASTY, reason=NASTY, advice=NASTY),)),
        ),
        changes=(NASTY,),
        to_do=("-",),
        cautions=(NASTY,),
        notes=(NASTY,),
        weather=weather(text=NASTY, attribution=NASTY, licence=NASTY, problem=NASTY),
    )
    rendered = render_digest(hostile)
    page = Page(rendered.html)
    assert not {"script", "img"} & {tag for tag, _ in page.elements}
    assert page.words.count(NASTY) == rendered.html.count("&lt;script&gt;") - 1  # the title of the page is the one more
    assert flat(rendered.text).count(NASTY) > 8
    assert "&lt;" not in rendered.text


@pytest.mark.parametrize("address", ["javascript:alert(1)", "data:text/html,x", "/etc/passwd", ""])
def test_only_web_addresses_become_links(address: str) -> None:
    rendered = render_digest(digest(entries=(entry(link=address),), weather=weather(link=address)))
    assert "a" not in {tag for tag, _ in Page(rendered.html).elements}
    assert not address or address not in rendered.text


def test_a_link_cannot_leave_its_attribute() -> None:
    address = 'https://ground.example/" onclick="alert(1)'
    links = [attributes for tag, attributes in Page(render_digest(digest(entries=(entry(link=address),))).html).elements if tag == "a"]
    assert {"href": address} in links


def test_lines_of_text_are_short_and_addresses_stay_whole() -> None:
    address = "https://weather.example/" + "a" * 90
    text = render_digest(digest(opening="word " * 100, entries=(entry(link=address),), weather=weather(sample=True))).text
    assert "\n\nWhat to do\n----------\n\n1. Long" in text
    long = [line for line in text.splitlines() if len(line) > 78]
    assert long == [f"  {address}"]
    assert not re.search(r"\n\n\n", text)
    assert not re.search(r"[ \t]+\n", text)


def test_html_loads_nothing_and_fits_a_phone() -> None:
    html = render_digest(digest(weather=weather(sample=True))).html
    page = Page(html)
    assert not {"img", "link", "script", "iframe", "object", "form", "svg"} & {tag for tag, _ in page.elements}
    assert not re.search(r"url\(|@import|src=", html)
    assert ("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}) in page.elements
    assert page.elements[0] == ("html", {"lang": "en"})


def test_a_subject_is_one_line() -> None:
    assert render_digest(digest(subject="Rings\n on  meadow ")).subject == "Rings on meadow"
