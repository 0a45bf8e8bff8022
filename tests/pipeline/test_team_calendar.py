"""The team's calendar in a cycle: booked on the surface it names, kept when the next look fails, and never dropped in silence."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from forecaster.documents import FixtureSummary, GroundSummary
from forecaster.errors import CalendarUnavailable
from forecaster.ground.ground import TeamCalendar
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds
from forecaster.storage.database import reading
from forecaster.storage.grounds import get_ground
from forecaster.web.calendar_words import calendar_sentences
from tests.pipeline.conftest import Service
from tests.sources.test_calendar_events import file_of

ADDRESS = "https://calendar.example/team.ics?key=s3cret"


@dataclass
class Site:
    """A calendar that tests change; None: it cannot be reached."""

    body: bytes | None
    asked: int = 0

    def fetch(self, address: str) -> bytes:
        assert address == ADDRESS
        self.asked += 1
        if self.body is None:
            raise CalendarUnavailable("The calendar could not be fetched.")
        return self.body


def event(title: str, place: str = "", day: str = "20260822") -> str:
    return f"DTSTART:{day}T100000Z\nDTEND:{day}T120000Z\nSUMMARY:{title}\nLOCATION:{place}"


def context_of(service: Service, site: Site, *, surface_id: str | None = None) -> Context:
    ground = replace(service.ground, calendar=TeamCalendar(ADDRESS, surface_id))
    configuration = replace(service.configuration, grounds=(ground,))
    return replace(service.context(), configuration=configuration, fetch_calendar=site.fetch)


def stored(service: Service) -> GroundSummary:
    with reading(service.engine) as session:
        return get_ground(session, service.ground.id)


def booked(service: Service) -> list[FixtureSummary]:
    return [fixture for fixture in stored(service).fixtures if fixture.origin == "calendar"]


def test_events_are_booked_on_the_surface_they_name_and_the_rest_is_told(service: Service) -> None:
    name = next(surface.name for surface in service.ground.surfaces if surface.id == "bowling-green")
    site = Site(file_of(event("Pairs", f"The {name.upper()}, north side"), event("Roll-up on bowling-green"), event("Committee", "Hall")))
    run_cycles(context_of(service, site))
    assert {(f.title, f.surface_id) for f in booked(service)} == {("Pairs", "bowling-green"), ("Roll-up on bowling-green", "bowling-green")}
    standing = stored(service).calendar
    assert standing is not None
    assert (standing.fetched_at_utc, standing.problem) == (service.now, None)
    assert (standing.not_placed, standing.not_placed_count) == (("Committee",), 1)
    assert calendar_sentences(standing, service.now) == ("One coming event names no surface and is left out: Committee.",)


def test_a_surface_for_all_else_takes_what_names_none(service: Service) -> None:
    run_cycles(context_of(service, Site(file_of(event("Committee", "Hall"))), surface_id="bowling-green"))
    assert [(f.title, f.surface_id) for f in booked(service)] == [("Committee", "bowling-green")]
    assert stored(service).calendar.not_placed_count == 0  # type: ignore[union-attr]


def test_it_is_fetched_at_most_hourly_and_a_start_of_the_program_forgets_nothing(service: Service) -> None:
    site = Site(file_of(event("Pairs on bowling-green")))
    run_cycles(context_of(service, site))
    service.wait(minutes=30)
    register_grounds(context_of(service, site))
    assert len(booked(service)) == 1
    run_cycles(context_of(service, site))
    assert site.asked == 1
    service.wait(minutes=31)
    site.body = file_of(event("Singles on bowling-green"))
    run_cycles(context_of(service, site))
    assert site.asked == 2
    assert [f.title for f in booked(service)] == ["Singles on bowling-green"]


@pytest.mark.parametrize("failing", [None, b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nDTST"])
def test_a_failure_keeps_the_last_good_one_and_says_how_old_it_is(service: Service, failing: bytes | None) -> None:
    site = Site(file_of(event("Pairs on bowling-green")))
    run_cycles(context_of(service, site))
    site.body = failing
    service.wait(hours=5)
    (record,) = run_cycles(context_of(service, site))
    assert record.status == "ok"
    assert [f.title for f in booked(service)] == ["Pairs on bowling-green"]
    said = calendar_sentences(stored(service).calendar, service.now)
    assert len(said) == 2
    assert said[1] == "Its fixtures are as they were 5 hours ago."
    assert "s3cret" not in " ".join(said)
    site.body = file_of(event("Pairs on bowling-green"))
    service.wait(hours=2)
    run_cycles(context_of(service, site))
    assert calendar_sentences(stored(service).calendar, service.now) == ()


def test_a_calendar_that_never_came_is_said(service: Service) -> None:
    run_cycles(context_of(service, Site(None)))
    assert calendar_sentences(stored(service).calendar, service.now) == ("The calendar could not be fetched.", "No fixtures from it yet.")
    assert booked(service) == []
