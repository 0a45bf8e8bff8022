"""Pages say which surface is in trouble, when and why; and they never make "not known" look like good news."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from forecaster.errors import StorageError
from forecaster.quantities import Severity
from forecaster.web.app import create_app
from forecaster.web.pages import FOLDER
from tests.web import builders

GROUND = "/grounds/thistlefold"
PITCH = f"{GROUND}/surfaces/main-pitch"
SAMPLE = "invented ground, invented weather"


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.mark.parametrize(
    "path", ["/", GROUND, PITCH, f"{GROUND}/surfaces/outfield", "/grounds/nowhere", "/nothing", f"{GROUND}/surfaces/moon"]
)
def test_every_page_says_that_the_weather_is_invented(client: TestClient, path: str) -> None:
    assert SAMPLE in client.get(path).text


def test_a_real_ground_carries_no_sample_banner(client: TestClient, store: builders.MemoryStore) -> None:
    assert SAMPLE not in client.get("/grounds/mossbank").text
    store.ground_list = [builders.other_ground()]
    for path in ("/", "/nothing"):
        assert SAMPLE not in client.get(path).text


def test_the_ground_page_tells_surface_severity_when_why_and_what_next(client: TestClient) -> None:
    text = words(client.get(GROUND).text)
    lead = builders.PITCH_SIGNALS[0]
    for part in ("Severe", "Main pitch", builders.pitch().headline, lead.when, lead.reason, "Do Spike the bands"):
        assert part in text
    # 08:30 to 10:00 UTC on 12 September is 10:30 to 12:00 in Paris (CEST, UTC+2).
    assert "Saturday 12 September, 10:30 to 12:00: Under-12 match" in text
    assert "Training evening" not in text  # it is over
    order = [
        text.index(f"{name} {use}")
        for name, use in (("Main pitch", "football"), ("Cricket outfield", "cricket"), ("Bowling green", "bowls"))
    ]
    assert order == sorted(order)


def test_the_first_page_lists_grounds_worst_first(client: TestClient) -> None:
    text = words(client.get("/").text)
    assert text.index("Thistlefold Field") < text.index("Mossbank Courts")
    assert "Not everything is known of this ground" in text


def test_a_ground_whose_worst_surface_is_no_longer_known_is_not_known(client: TestClient, store: builders.MemoryStore) -> None:
    store.ground_list = [builders.ground()]
    store.outlook_list = [builders.pitch().model_copy(update={"known": False})]
    text = words(client.get("/").text)
    assert "Not known Thistlefold Field" in text
    assert "Severe" not in text.replace(builders.pitch().headline, "")


def test_missing_weather_stands_above_everything(client: TestClient) -> None:
    text = words(client.get(GROUND).text)
    assert text.index("No weather: ") < text.index("Severe")
    assert "Silence does not mean safe." in text


def test_stale_weather_is_a_banner_too(client: TestClient, store: builders.MemoryStore) -> None:
    store.outlook_list = [builders.pitch().model_copy(update={"weather": builders.STALE})]
    text = words(client.get(PITCH).text)
    assert f"Old weather: {builders.STALE.text}" in text
    assert "the source answered 503" in text


def test_an_outlook_that_nobody_renewed_is_called_old(store: builders.MemoryStore) -> None:
    store.outlook_list = [builders.pitch(), builders.green()]
    late = builders.ISSUED + timedelta(hours=50)
    with TestClient(create_app(store, now=lambda: late), base_url="http://localhost") as client:
        assert "Old weather: This outlook is 2 days old" in words(client.get(PITCH).text)


def test_fresh_weather_shows_its_age_and_source(client: TestClient, store: builders.MemoryStore) -> None:
    store.ground_list[1] = builders.ground().model_copy(update={"surfaces": builders.ground().surfaces[:2]})
    text = words(client.get(GROUND).text)
    assert "Weather: sample, 2 hours old." in text
    assert "No weather" not in text


def test_not_known_never_looks_like_good_news(client: TestClient) -> None:
    html = client.get(f"{GROUND}/surfaces/outfield").text
    assert "Not known" in html
    assert "Nothing against it" not in html
    assert "kind-quiet" not in html
    assert html.count("kind-unknown") >= 15  # the card and each of 14 days


def test_nothing_against_it_still_says_walk_it_first(client: TestClient) -> None:
    text = words(client.get(f"{GROUND}/surfaces/bowling-green").text)
    assert "Nothing against it in our data: walk it first." in text


def test_without_an_outlook_the_page_says_so(client: TestClient) -> None:
    for path in ("/grounds/mossbank", "/grounds/mossbank/surfaces/court"):
        text = words(client.get(path).text)
        assert "Not known: no outlook has been made yet." in text


def test_the_surface_page_tells_each_signal_in_full(client: TestClient) -> None:
    text = words(client.get(PITCH).text)
    for signal in builders.PITCH_SIGNALS:
        for part in (signal.title, signal.severity, signal.when, signal.reason, signal.advice, signal.source, *signal.cautions):
            assert part in text
    assert "on trial: shown here, never mailed" in text
    assert "23.3" in text  # m², model section 8: band 0.3, margins 0.5, diameter 6 m gives 23.28
    assert "Radiation was estimated" in text


def test_both_charts_are_there_in_two_widths_with_a_table_behind_each(client: TestClient) -> None:
    html = client.get(PITCH).text
    for name in ("water_phone", "water_wide", "ring_phone", "ring_wide"):
        assert f'<svg role="img" aria-label="{name}">' in html
    tables = re.findall(r"<details>.*?<table>(.*?)</table>", html, re.S)
    assert len(tables) == 2
    assert all(table.count("<tr>") == 1 + 60 + 14 for table in tables)


def test_without_charts_the_tables_stay(client: TestClient, store: builders.MemoryStore) -> None:
    store.chart_map.clear()
    text = words(client.get(PITCH).text)
    assert text.count("This chart has not been drawn yet") == 2
    assert "surface water by day" in text


def test_the_strip_says_in_words_what_it_draws(client: TestClient) -> None:
    label = re.search(r'class="strip" role="img" aria-label="([^"]+)"', client.get(PITCH).text)
    assert label is not None
    assert label[1].startswith("The coming days. Thu 10 Sep to Sun 13 Sep: Severe (Rings showing); Mon 14 Sep to Fri 18 Sep: Severe")
    assert "Fruit bodies likely" in label[1]


def test_open_alerts_are_listed_and_ended_ones_are_not(client: TestClient) -> None:
    text = words(client.get(GROUND).text)
    alerts = text[text.index("Open alerts") :]
    assert f"Severe Main pitch : Rings showing, {builders.PITCH_SIGNALS[0].when}." in alerts
    assert "Drought stress" not in alerts


def test_open_alerts_stand_worst_first_and_equals_in_the_order_of_the_ground(client: TestClient, store: builders.MemoryStore) -> None:
    base = store.alert_list[0]
    changes = [
        ("bowling-green", Severity.MINOR, "expected"),
        ("outfield", Severity.SEVERE, "held"),
        ("main-pitch", Severity.MINOR, "present"),
        ("main-pitch", Severity.SEVERE, "present"),
    ]
    store.alert_list = [
        base.model_copy(
            update={"surface_id": surface, "severity": severity, "status": status, "rule_id": f"r{number}", "title": f"T{number}"}
        )
        for number, (surface, severity, status) in enumerate(changes)
    ]
    text = words(client.get(GROUND).text)
    assert "Open alerts, worst first (4)" in text
    told = [
        "Main pitch : T3, since 8 September.",
        "Cricket outfield : T1, since 8 September, kept open because weather is missing.",
        "Bowling green : T0, expected from Tuesday 8 September.",
        "Main pitch : T2, since 8 September.",
    ]
    positions = [text.index(part) for part in told]
    assert [surface.id for surface in builders.ground().surfaces] == ["bowling-green", "main-pitch", "outfield"]
    assert positions == sorted(positions)


def test_a_card_tells_the_first_sentence_of_the_advice_and_the_page_the_rest(client: TestClient, store: builders.MemoryStore) -> None:
    lead = builders.PITCH_SIGNALS[0].model_copy(update={"advice": "Walk the rings. Measure them, and cut a core in each of their bands."})
    store.outlook_list = [builders.pitch().model_copy(update={"signals": (lead,)})]
    card, page = (words(client.get(path).text) for path in (GROUND, PITCH))
    assert "Do Walk the rings. Booked" in card
    assert lead.advice in page


def test_the_first_lines_of_a_ground_name_every_surface_with_its_mark(client: TestClient) -> None:
    text = words(client.get(GROUND).text)
    assert "Severe Main pitch Not known Cricket outfield Nothing against it Bowling green" in text


def test_a_surface_page_goes_from_what_to_do_to_what_it_rests_on(client: TestClient) -> None:
    html = client.get(PITCH).text
    parts = ['class="headline"', 'id="signals"', 'id="charts"', 'id="wet"', 'id="coming"', 'id="rings"', 'id="rests"']
    assert [html.index(part) for part in parts] == sorted(html.index(part) for part in parts)
    folded = html[html.index("Soil, turf, sources and assumptions") :]
    assert words(folded).count(builders.PITCH_SIGNALS[0].source) == 1
    assert "Weather: sample, 2 hours old." in words(html)


def test_a_missing_page_is_told_in_plain_words(client: TestClient) -> None:
    response = client.get("/grounds/nowhere")
    assert response.status_code == 404
    assert response.headers["content-type"].startswith("text/html")
    assert "There is no ground called" in words(response.text)


def test_a_failure_is_told_in_plain_words(client: TestClient, store: builders.MemoryStore, monkeypatch: pytest.MonkeyPatch) -> None:
    assert client.get("/").status_code == 200

    def fail(*_: object) -> None:
        raise RuntimeError("secret")

    monkeypatch.setattr(store, "ground", fail)
    response = client.get(GROUND)
    assert response.status_code == 500
    assert "Something went wrong" in response.text
    assert SAMPLE in response.text
    assert "secret" not in response.text


def test_an_unreadable_store_still_gets_its_page(client: TestClient, store: builders.MemoryStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise StorageError("cannot read the database", hint="Check the disk.")

    monkeypatch.setattr(store, "grounds", fail)
    response = client.get("/")
    assert response.status_code == 503
    assert "Check the disk." in response.text


def test_what_users_and_visitors_write_stays_text(client: TestClient, store: builders.MemoryStore) -> None:
    evil = "<script>alert(1)"
    store.ground_list = [builders.ground().model_copy(update={"name": evil})]
    for path in ("/", GROUND, f"/grounds/{evil}", f"{GROUND}/surfaces/{evil}"):
        html = client.get(path).text
        assert "<script" not in html
        assert "&lt;script&gt;" in html


def test_pages_need_no_script_no_style_attribute_and_nothing_from_outside(client: TestClient) -> None:
    for path in ("/", GROUND, PITCH, "/nothing"):
        html = client.get(path).text
        assert "<script" not in html
        assert " style=" not in html
        assert not re.findall(r'(?:src|href)="(?:https?:)?//', html)
        assert '<html lang="en">' in html
        assert all(landmark in html for landmark in ("<header", "<nav", "<main", "<footer", "Skip to the content"))


def test_pages_answer_head_as_well(client: TestClient) -> None:
    assert client.head("/").status_code == 200


def relative_luminance(colour: str) -> float:
    # WCAG 2.2, definition of relative luminance.
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_gives_the_known_extreme() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21)  # WCAG 2.2: contrasts range from 1 to 21


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_text_is_legible_in_both_schemes(scheme: int) -> None:
    style = (FOLDER / "static" / "style.css").read_text()
    block = re.findall(r":root \{(.*?)\}", style, re.S)[scheme]
    colours = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))
    pairs = [
        (ink, ground)
        for ink in ("ink", "soft", "link", "minor", "moderate", "severe", "extreme", "unknown", "quiet")
        for ground in ("paper", "card")
    ]
    pairs += [("ink", "sample-paper"), ("alarm-ink", "alarm-paper")]
    pairs += [(f"chart-{ink}", "card") for ink in ("ink", "soft", "sound", "band")]
    pairs += [(f"chart-{ink}", "chart-shade") for ink in ("ink", "soft")]
    low = {
        pair: round(contrast(colours[pair[0]], colours[pair[1]]), 2) for pair in pairs if contrast(colours[pair[0]], colours[pair[1]]) < 4.5
    }
    assert not low  # WCAG 2.2, 1.4.3 level AA: 4.5 to 1 for text


def test_the_chart_variables_are_those_that_the_style_sets() -> None:
    style = (FOLDER / "static" / "style.css").read_text()
    drawing = (Path(__file__).resolve().parents[2] / "forecaster" / "charts" / "drawing.py").read_text()
    used = set(re.findall(r"var\((--chart-\w+)", drawing))
    assert used
    for block in re.findall(r":root \{(.*?)\}", style, re.S):
        assert used <= set(re.findall(r"(--chart-\w+):", block))
