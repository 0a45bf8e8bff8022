"""When the leaf is wet, as the surface page says it."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Literal

import pytest
from starlette.testclient import TestClient

from forecaster.documents import WetSpell
from forecaster.web.wet_days import wet_days
from tests.web import builders

PITCH = "/grounds/thistlefold/surfaces/main-pitch"
Cause = Literal["rain", "irrigation", "dew", "frost", "unknown"]


def utc(text: str) -> datetime:
    """ "10 07:30": day and time in September 2026, UTC. Paris is two hours ahead."""
    return datetime.strptime(f"2026-09-{text}", "%Y-%m-%d %H:%M").replace(tzinfo=UTC)


def spell(cause: Cause, starts: str, ends: str, water_until: str | None = None, *, exact: bool = True) -> WetSpell:
    until = None if water_until is None else utc(water_until)
    return WetSpell(starts_at_utc=utc(starts), ends_at_utc=utc(ends), cause=cause, exact=exact, water_until_utc=until)


def words(*spells: WetSpell) -> list[str]:
    """What is said of 10, 11 and 12 September."""
    return [day.words for day in wet_days(builders.pitch().model_copy(update={"wet_hours": spells}))]


DRY = "Dry by this forecast."


@pytest.mark.parametrize(
    ("spells", "said"),
    [
        ((), [DRY, DRY, DRY]),
        # 19:00 to 07:25 UTC is 21:00 to 09:25 in Paris
        ((spell("dew", "09 19:00", "10 07:25"),), ["Wet until about 09:30 (dew).", DRY, DRY]),
        ((spell("dew", "11 01:00", "11 06:20"),), [DRY, "Wet until about 08:30 (dew).", DRY]),
        ((spell("dew", "10 19:00", "11 07:25"),), ["Dew from about 21:00.", "Wet until about 09:30 (dew).", DRY]),
        ((spell("frost", "09 22:00", "10 08:00"),), ["White or wet until about 10:00 (frost).", DRY, DRY]),
        ((spell("rain", "10 12:00", "10 17:50", "10 16:00"),), ["Rain 14:00 to 18:00, dry by about 20:00.", DRY, DRY]),
        (
            (spell("rain", "10 18:00", "11 05:10", "11 00:00"),),
            ["Rain from 20:00, wet into the night.", "Rain until 02:00, dry by about 07:00.", DRY],
        ),
        (
            (spell("rain", "10 18:00", "12 05:10", "10 20:00"),),
            ["Rain 20:00 to 22:00, wet into the night.", "Wet all day (rain).", "Wet until about 07:00 (rain)."],
        ),
        ((spell("irrigation", "10 03:00", "10 07:00", "10 04:00"),), ["Watering at 05:00, dry by about 09:00.", DRY, DRY]),
        (
            (spell("dew", "09 22:00", "10 06:00"), spell("rain", "10 06:00", "10 12:00", "10 10:00")),
            ["Dew in the night, rain 08:00 to 12:00, dry by about 14:00.", DRY, DRY],
        ),
        (
            (spell("dew", "09 22:00", "10 07:00"), spell("rain", "10 12:00", "10 15:00", "10 14:00")),
            ["Wet until about 09:00 (dew); rain 14:00 to 16:00, dry by about 17:00.", DRY, DRY],
        ),
        (
            (spell("unknown", "10 20:00", "24 00:00"),),
            ["Not known from 22:00, for want of weather.", "Not known, for want of weather.", "Not known, for want of weather."],
        ),
        (
            (spell("dew", "11 22:00", "12 06:00", exact=False),),
            [DRY, DRY, "Roughly, because it is far ahead: wet until about 08:00 (dew)."],
        ),
    ],
)
def test_each_day_is_told_in_words(spells: tuple[WetSpell, ...], said: list[str]) -> None:
    assert words(*spells) == said


def test_the_page_tells_three_days_and_what_is_assumed(client: TestClient, store: builders.MemoryStore) -> None:
    kept = (spell("dew", "09 19:00", "10 07:25"), spell("rain", "12 12:00", "12 17:50", "12 16:00"))
    store.outlook_list = [builders.pitch().model_copy(update={"wet_hours": kept})]
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", client.get(PITCH).text))
    section = text[text.index("When the leaf is wet") : text.index("The coming 14 days in numbers")]
    for part in (
        "Thursday 10 September: Wet until about 09:30 (dew).",
        "Friday 11 September: Dry by this forecast.",
        "Saturday 12 September: Rain 14:00 to 18:00, dry by about 20:00.",
        "not measured",
        "assumed",
    ):
        assert part in section
    answer = client.get("/api/v1/grounds/thistlefold/surfaces/main-pitch/outlook").json()["outlook"]["wet_hours"]
    assert [found["cause"] for found in answer] == ["dew", "rain"]


def test_an_outlook_without_hours_does_not_call_the_leaf_dry(client: TestClient, store: builders.MemoryStore) -> None:
    store.outlook_list = [builders.pitch().model_copy(update={"wet_hours": None})]
    page = client.get(PITCH).text
    assert "When the leaf is wet" not in page
    assert "Dry by this forecast" not in page
