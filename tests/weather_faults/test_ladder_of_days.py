"""Days of faults: fresh, cached with a shrinking horizon, the second service, a declared gap, and the way back."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from rich.console import Console

from forecaster.commands.weather import known_weather, show_weather
from forecaster.documents import SurfaceOutlook
from forecaster.errors import WeatherUnavailable
from forecaster.pipeline import together
from forecaster.pipeline.services import asking
from forecaster.quantities import Origin
from forecaster.sources.openmeteo_limits import call_weight
from forecaster.storage.budget import RequestBudget
from forecaster.storage.database import reading, transaction
from forecaster.storage.messages import recent_messages
from forecaster.storage.services import change_service
from tests.weather_faults.conftest import World
from tests.weather_faults.server import as_json

DOWN = as_json({"error": True, "reason": "The service is overloaded"}, "503 Service Unavailable")
EXPIRED = as_json({"error": True, "reason": "The key has expired"}, "403 Forbidden")


def known_ahead(outlook: SurfaceOutlook) -> int:
    """Coming days whose weather is known."""
    return sum(day.origin is not Origin.MISSING for day in outlook.days if day.lead_days >= 0)


def forecasts_asked(world: World) -> int:
    return world.open_meteo.asked.count("/v1/forecast")


def outlook(world: World) -> SurfaceOutlook:
    return world.service.outlooks()["main-pitch"]


def test_from_fresh_over_a_shrinking_horizon_to_a_declared_gap_and_back(world: World) -> None:
    world.cycle()
    assert known_ahead(outlook(world)) == 14
    world.forecast(lambda *_asked: DOWN)
    world.service.wait(hours=88)
    record = world.cycle()
    assert record.weather is not None
    assert record.weather.state == "stale"
    assert record.weather.text.startswith("Weather is 3 days old: Open-Meteo is out of order")
    assert record.weather.age_hours == pytest.approx(88.0)
    # Issued on the 20th with 16 days, its own among them: the 4th of September is the last, and it is the 23rd at the ground.
    assert known_ahead(outlook(world)) == 13
    opened = {alert.id for alert in world.service.alerts() if alert.ended_at_utc is None}
    world.service.wait(days=14)
    record = world.cycle()
    assert record.weather is not None
    assert record.weather.state == "missing"
    assert record.weather.text.startswith("No weather for the coming days: the forecast from Open-Meteo is 17 days old and has run out;")
    assert (outlook(world).known, known_ahead(outlook(world))) == (False, 0)
    assert opened <= {alert.id for alert in world.service.alerts() if alert.ended_at_utc is None}, "a missing day ends nothing"
    world.open_meteo.speak = world.well
    world.service.wait(hours=3)
    record = world.cycle()
    assert record.status == "ok"
    assert known_ahead(outlook(world)) == 14
    assert all(day.origin is not Origin.MISSING for day in outlook(world).days), "the days of the gap are asked for again"


def test_a_source_that_returns_after_three_days_leaves_no_gap_behind(world: World) -> None:
    world.cycle()
    world.forecast(lambda *_asked: DOWN)
    for _ in range(9):
        world.service.wait(hours=8)
        assert world.cycle().status == "degraded"
    with reading(world.service.engine) as session:
        mail = " ".join(recent_messages(session, world.service.ground.id, limit=1)[0].text.split())
    assert re.search(r"Open-Meteo failed \d times in a row; it is asked again at 2026-08-", mail), "old weather: how its services stand"
    world.open_meteo.speak = world.well
    world.service.wait(hours=1)
    record = world.cycle()
    assert record.status == "ok"
    assert record.weather is not None
    assert record.weather.text == "Weather from Open-Meteo, less than an hour old."
    assert all(day.origin is not Origin.MISSING for day in outlook(world).days)
    assert world.state().failures == 0


def test_the_second_service_stands_in_and_the_first_comes_back(world: World) -> None:
    world.service.contact = "ground@example.org"
    world.norwegian()
    world.cycle()
    assert world.met_norway.asked == [], "it is not asked while the first is well"
    world.forecast(lambda *_asked: DOWN)
    world.service.wait(hours=30)
    record = world.cycle()
    assert record.weather is not None
    assert record.weather.text.startswith("Weather from MET Norway, ")
    assert {credit.name for credit in record.weather.credits} == {"Open-Meteo", "MET Norway"}
    assert all(credit.attribution and credit.licence and credit.link for credit in record.weather.credits)
    world.open_meteo.speak = world.well
    world.service.wait(hours=2)
    record = world.cycle()
    assert record.status == "ok"
    assert record.weather is not None
    assert record.weather.text == "Weather from Open-Meteo, less than an hour old."
    assert len(world.met_norway.asked) == 1


def test_a_service_that_is_down_is_left_alone_and_asked_again_by_one(world: World) -> None:
    world.cycle()
    world.forecast(lambda *_asked: DOWN)
    for _ in range(3):
        world.service.wait(minutes=1)
        world.cycle()
    asked = forecasts_asked(world)
    assert world.state().breaker(world.service.now) == "open"
    world.service.wait(minutes=1)
    record = world.cycle()
    assert forecasts_asked(world) == asked, "nobody asks while it is open, over a restart too: it is in the database"
    assert record.weather is not None
    assert "Open-Meteo is left alone until 05:08 UTC: Open-Meteo is out of order (status 503" in (record.weather.problem or "")
    (note,) = [note for note in record.weather.services if note.service == "open-meteo"]
    shown = io.StringIO()
    ground, gathered = known_weather(world.service.ground.id, world.service.context())
    show_weather(ground, gathered, now=world.service.now, console=Console(file=shown, width=400))
    assert f"{note.text} The last try: Open-Meteo is out of order (status 503" in shown.getvalue()
    assert (note.state, note.asked_again_utc) == ("open", world.state().held_until)
    world.service.wait(minutes=6)
    world.service.owner = "another process"
    with (
        asking(world.context(), "open-meteo"),
        pytest.raises(WeatherUnavailable, match="left alone"),
        asking(world.context(), "open-meteo"),
    ):
        raise AssertionError("two asked first")
    assert world.state().breaker(world.service.now) == "closed"


def test_an_expired_key_is_told_once_a_day_and_a_new_one_is_asked_at_once(world: World) -> None:
    world.key = "old"
    world.cycle()
    world.forecast(lambda *_asked: EXPIRED)
    for _ in range(5):
        world.service.wait(hours=3)
        record = world.cycle()
    assert world.told_operator() == ["Open-Meteo does not let us in"]
    assert record.weather is not None
    (note,) = [note for note in record.weather.services if note.service == "open-meteo"]
    assert (note.state, note.text[:58]) == ("shut out", "Open-Meteo does not let us in, since 2026-08-20 08:00 UTC;")
    assert outlook(world).weather.services == record.weather.services, "what pages and the API show"
    world.service.wait(hours=12)
    world.cycle()
    assert world.told_operator() == ["Open-Meteo does not let us in"] * 2, "on the next day once more"
    asked = forecasts_asked(world)
    world.open_meteo.speak = world.well
    world.service.wait(minutes=5)
    world.cycle()
    assert forecasts_asked(world) == asked, "the old key is left alone"
    world.key = "new"
    world.service.wait(minutes=5)
    assert world.cycle().status == "ok"
    assert forecasts_asked(world) > asked


def test_the_end_of_a_trouble_is_told_too(world: World) -> None:
    world.cycle()
    world.forecast(lambda *_asked: EXPIRED)
    world.service.wait(hours=3)
    world.cycle()
    world.open_meteo.speak = world.well
    world.service.wait(hours=3)
    record = world.cycle()
    assert record.weather is not None
    assert [note.service for note in record.weather.services] == []
    assert world.told_operator() == ["Open-Meteo does not let us in", "Open-Meteo answers again"]


def test_a_version_about_to_end_serves_and_is_told(world: World) -> None:
    world.service.contact = "ground@example.org"
    world.norwegian("203 Non-Authoritative Information")
    world.cycle()
    world.forecast(lambda *_asked: DOWN)
    world.service.wait(hours=3)
    record = world.cycle()
    assert record.weather is not None
    assert record.weather.text.startswith("Weather from MET Norway")
    assert [note.state for note in record.weather.services if note.service == "met-norway"] == ["deprecated"]
    assert world.told_operator() == ["MET Norway says that this form of its forecast is about to end"]


def test_a_budget_that_is_used_up_in_mid_cycle_leaves_the_rest_with_what_is_stored(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    service = world.service
    first = service.configuration.grounds[0]
    grounds = tuple(replace(first, id=f"ground-{number}", latitude=52.0 + number / 10) for number in range(4))
    service.configuration = replace(service.configuration, grounds=grounds)
    world.cycles()
    monkeypatch.setattr(together, "TOGETHER", 2)
    two = call_weight(7, days=16 + together.RECENT_DAYS, locations=2)
    world.budget = RequestBudget(service.engine, "open-meteo", {"day": two + 1.0}, lambda: service.now)
    service.wait(days=1)
    records = {record.ground_id: record for record in world.cycles()}
    assert [record.status for record in records.values()] == ["ok", "ok", "degraded", "degraded"]
    last = records["ground-3"].weather
    assert last is not None
    assert "the day's budget of Open-Meteo is used up until 00:00 UTC" in last.text
    assert "Open-Meteo has had as much from us as it allows" in world.told_operator()


def test_nothing_is_held_in_the_database_while_a_service_is_slow(world: World) -> None:
    """Another process, the one of the pages, writes at once while a cycle waits: the server does it in the middle of its answer."""
    written: list[datetime] = []

    def slow(path: str, params: dict[str, str]) -> bytes:
        with transaction(world.service.engine) as session:
            change_service(session, f"another {len(written)}", lambda state: replace(state, failures=1))
        written.append(world.service.now + timedelta(0))
        return world.well(path, params)

    world.open_meteo.speak = slow
    assert world.cycle().status == "ok"
    assert len(written) >= 2
