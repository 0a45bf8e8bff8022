"""How sure the coming days are, by the weather members: counted, dated and never called a probability."""

from __future__ import annotations

from datetime import timedelta

from fastapi.testclient import TestClient

from forecaster.documents import SurfaceOutlook
from forecaster.member_documents import MemberChance, MemberDay, MemberSpread, MemberStatus
from forecaster.web.ages import weather_at
from forecaster.web.member_table import member_view
from tests.web import builders

STATUS = MemberStatus(
    text="51 weather members of the model invented, 3 hours old.",
    members=51,
    model="invented",
    issued_at_utc=builders.ISSUED - timedelta(hours=3),
    age_hours=3.0,
)


def with_members(outlook: SurfaceOutlook, chances: dict[int, tuple[MemberChance, ...]], *, status: MemberStatus = STATUS) -> SurfaceOutlook:
    """The outlook with members on its coming days; ``chances`` by lead."""

    def told(lead: int) -> MemberDay:
        rain = MemberSpread(quantity="rain_mm", low=0.0, median=1.24, high=7.0 + lead)
        contrast = MemberSpread(quantity="ring_contrast", low=0.3, median=0.3, high=0.3)
        return MemberDay(members=51, spread=(rain, contrast), chances=chances.get(lead, ()))

    days = tuple(day.model_copy(update={"members": told(day.lead_days)}) if day.lead_days >= 0 else day for day in outlook.days)
    weather = outlook.weather.model_copy(update={"members": status})
    return outlook.model_copy(update={"days": days, "weather": weather})


def rings(members: int) -> MemberChance:
    return MemberChance(rule_id="rings", title="Rings show", members=members)


def flush(members: int) -> MemberChance:
    return MemberChance(rule_id="flush", title="Toadstools likely", members=members)


def test_the_finding_names_what_most_members_come_to_reach_and_when() -> None:
    outlook = with_members(builders.pitch(), {0: (rings(51),), 3: (rings(51), flush(20)), 5: (rings(51), flush(34)), 8: (flush(34),)})
    view = member_view(outlook)
    assert view is not None
    day = next(day.day for day in outlook.days if day.lead_days == 5)
    assert view.finding == f"Toadstools likely: level reached in 34 of 51 weather members on {day:%A} {day.day} {day:%B}"
    assert view.table is not None
    row = next(row for row, day in zip(view.table.rows, [d for d in outlook.days if d.members], strict=True) if day.lead_days == 5)
    assert row[1] == "1.2 (0 to 12.0)"
    assert row[2] == "–", "what no member tells is not known"
    assert row[4] == "30", "members that agree need no range"
    assert row[5] == "Rings show: 51 of 51; Toadstools likely: 34 of 51"


def test_what_all_reach_today_is_no_news() -> None:
    view = member_view(with_members(builders.pitch(), {0: (rings(51),), 3: (rings(51),)}))
    assert view is not None
    assert view.finding == "None of the 51 weather members reaches a new warning level in the days ahead"


def test_the_page_shows_members_or_says_that_there_are_none(store: builders.MemoryStore, client: TestClient) -> None:
    outlook = builders.pitch()

    def page(found: SurfaceOutlook) -> str:
        store.outlook_list = [found]
        return " ".join(client.get(f"/grounds/{outlook.ground_id}/surfaces/{outlook.surface_id}").text.split())

    assert "weather members" not in page(outlook), "an outlook from before members were asked for says nothing of them"
    shown = page(with_members(outlook, {4: (rings(34),)}))
    assert "Rings show: level reached in 34 of 51 weather members" in shown
    assert STATUS.text in shown
    assert "a count, not a tested chance" in shown
    none = MemberStatus(text="No weather members: none have come yet. The coming days rest on a single forecast.")
    missing = outlook.model_copy(update={"weather": outlook.weather.model_copy(update={"members": none})})
    said = page(missing)
    assert "How sure the coming days are: not known" in said
    assert none.text in said


def test_members_age_while_nobody_makes_a_new_outlook() -> None:
    outlook = with_members(builders.pitch(), {})
    told = weather_at(outlook, builders.ISSUED + timedelta(hours=7)).members
    assert told is not None
    assert told.age_hours == 10.0
