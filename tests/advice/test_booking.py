"""May a surface be booked? Each reason by itself, and silence that never means safe.

That dormant turf is kept clear of traffic: Reicher 2012, Univ. of Nebraska (memory). That frozen leaf is kept clear of feet, and that
treated leaf is slippery until washed and dry: common practice, no source. All other limits are our assumptions.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from forecaster.advice.booking import NOTHING_AGAINST_IT, BookingCheck, check_booking
from forecaster.advice.play import BookingData
from forecaster.documents import FixtureSummary, OutlookDay, SurfaceOutlook, WetSpell
from forecaster.quantities import Origin, Severity
from forecaster.records import ApplicationEntry, FruitBodies
from forecaster.settings.configuration import load_configuration
from forecaster.settings.shipped import shipped_folder
from tests.web import builders

LIMITS = load_configuration(shipped_folder("config")).booking
ZONE = ZoneInfo(builders.ZONE)
TODAY = builders.TODAY


def local(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZONE).astimezone(UTC)


def calm(lead: int, **changes: Any) -> OutlookDay:
    """A day on which nothing speaks against play; ``sound_…``: of the sound column."""
    day = TODAY + timedelta(days=lead)
    plain = builders.green_day(day)
    assert plain.sound is not None
    sound = {name.removeprefix("sound_"): changes.pop(name) for name in list(changes) if name.startswith("sound_")}
    column = plain.sound.model_copy(update=sound)
    return plain.model_copy(update={"rain_mm": 0.0, "irrigation_mm": 0.0, "sound": column, "lead_days": lead} | changes)


def surface(*special: OutlookDay, **changes: Any) -> SurfaceOutlook:
    days = {lead: calm(lead) for lead in range(-10, 14)} | {day.lead_days: day for day in special}
    return builders.outlook_of(
        "bowling-green", "Bowling green", "bowls", [days[lead] for lead in sorted(days)], **({"wet_hours": ()} | changes)
    )


def check(
    outlook: SurfaceOutlook | None, *, lead: int = 2, hour: int = 14, hours: float = 2, children: bool = False, **changes: Any
) -> BookingCheck:
    day = TODAY + timedelta(days=lead)
    plain: dict[str, Any] = {
        "outlook": outlook, "weather": builders.FRESH, "time_zone": ZONE, "now": builders.NOW,
        "alerts": (), "applications": (), "fruit_bodies": (), "fixtures": (),
    }  # fmt: skip
    start = local(day, hour)
    return check_booking(
        BookingData(**(plain | changes)), LIMITS, starts_at=start, ends_at=start + timedelta(hours=hours), children=children
    )


def codes(found: BookingCheck) -> list[tuple[str, str]]:
    return [(reason.code, reason.verdict) for reason in found.reasons]


def put_down(**changes: Any) -> ApplicationEntry:
    plain: dict[str, Any] = {
        "surface_id": "bowling-green", "kind": "wetting-agent", "product": "Wetting agent", "by": "Ada",
        "applied_at_utc": local(TODAY + timedelta(days=2), 8),
    }  # fmt: skip
    return ApplicationEntry(**(plain | changes))


def spell(lead: int, first: int, last: int, cause: str, **changes: Any) -> WetSpell:
    day = TODAY + timedelta(days=lead)
    return WetSpell(starts_at_utc=local(day, first), ends_at_utc=local(day, last), cause=cause, exact=True, **changes)  # type: ignore[arg-type]


def test_nothing_against_it_speaks_of_our_data_and_says_to_walk_it():
    found = check(surface())
    assert (found.verdict, found.reasons, found.resolution, found.better) == ("nothing-against-it", (), "hours", None)
    assert found.text == NOTHING_AGAINST_IT
    assert "in our data" in found.text
    assert "walk it first" in found.text
    assert any("was left out" in text or "were left out" in text for text in found.assumptions)


@pytest.mark.parametrize(
    ("outlook", "changes", "code"),
    [
        (None, {}, "no-outlook"),
        (surface(), {"weather": builders.STALE}, "weather-not-fresh"),
        (surface(), {"weather": builders.MISSING}, "weather-not-fresh"),
        (surface(known=False), {}, "surface-not-known"),
        (surface(calm(2, origin=Origin.MISSING)), {}, "day-without-weather"),
        (surface(calm(2, sound=None)), {}, "day-without-weather"),
        (surface(), {"lead": 14}, "beyond-outlook"),
        (surface(wet_hours=(spell(2, 13, 15, "unknown"),)), {}, "hours-without-weather"),
    ],
)  # fmt: skip
def test_what_is_missing_or_old_is_not_known_and_never_nothing_against_it(
    outlook: SurfaceOutlook | None, changes: dict[str, Any], code: str
):
    found = check(outlook, **changes)
    assert (found.verdict, codes(found)) == ("not-known", [(code, "not-known")])


def test_a_booking_across_midnight_asks_for_both_days():
    found = check(surface(calm(3, origin=Origin.MISSING)), hour=23)
    assert found.verdict == "not-known"
    assert check(surface(calm(3, origin=Origin.MISSING)), hour=22).verdict == "nothing-against-it"


@pytest.mark.parametrize(
    ("day", "code", "verdict"),
    [
        (calm(2, soil_temperature_c=-0.5), "frozen-ground", "keep-off"),
        (calm(2, sound_available_water_fraction=0.97, rain_mm=8.0), "saturated", "look-first"),
        (calm(2, sound_available_water_fraction=0.97, rain_mm=25.0), "saturated", "keep-off"),
        (calm(1, sound_available_water_fraction=0.97, rain_mm=25.0), "saturated", "look-first"),
        (calm(2, sound_available_water_fraction=0.05), "hard-ground", "look-first"),
        (calm(2, sound_stress_coefficient=0.1, sound_green_cover=0.3), "dormant-turf", "look-first"),
        (calm(2, sound_stress_coefficient=0.1, sound_green_cover=0.1), "dormant-turf", "keep-off"),
    ],
)
def test_soil_and_turf_of_the_day(day: OutlookDay, code: str, verdict: str):
    found = check(surface(day))
    assert (found.verdict, codes(found)) == (verdict, [(code, verdict)])


@pytest.mark.parametrize(
    "day",
    [
        calm(2, sound_available_water_fraction=0.5, rain_mm=25.0),  # it soaks in
        calm(2, sound_available_water_fraction=1.0),  # full after a wet week, and dry today
        calm(2, sound_stress_coefficient=1.0, sound_green_cover=0.1),  # winter brown or new grass, not drought
        calm(2, air_temperature_min_c=-3.0),  # the hours tell that the leaf is dry
    ],
)
def test_what_only_looks_like_a_reason(day: OutlookDay):
    assert check(surface(day)).verdict == "nothing-against-it"


@pytest.mark.parametrize(
    ("wet", "code", "verdict"),
    [
        (spell(2, 13, 15, "dew"), "wet-leaf", "look-first"),
        (spell(2, 9, 15, "frost"), "frost", "keep-off"),
        (spell(2, 13, 18, "rain", water_until_utc=local(TODAY + timedelta(days=2), 15)), "rain-during-play", "look-first"),
        (spell(2, 10, 15, "rain", water_until_utc=local(TODAY + timedelta(days=2), 12)), "wet-leaf", "look-first"),
    ],
)
def test_the_leaf_by_the_hour(wet: WetSpell, code: str, verdict: str):
    found = check(surface(wet_hours=(wet,)))
    assert (found.verdict, codes(found), found.resolution) == (verdict, [(code, verdict)], "hours")
    assert check(surface(wet_hours=(wet,)), hour=19).verdict == "nothing-against-it"


@pytest.mark.parametrize(
    ("day", "hour", "code"),
    [
        (calm(9, rain_mm=6.0), 14, "rain-that-day"),
        (calm(9, air_temperature_min_c=-1.0), 9, "frost-that-day"),
        (calm(9, air_temperature_min_c=-1.0), 14, None),
    ],
)
def test_far_ahead_the_day_is_judged_and_that_is_said(day: OutlookDay, hour: int, code: str | None):
    found = check(surface(day), lead=9, hour=hour)
    assert [c for c, _ in codes(found)] == ([code] if code else [])
    assert found.resolution == "day"
    assert any("whole days were judged" in text for text in found.assumptions)


def test_a_dry_night_of_frost_is_said_also_where_the_hours_are_known():
    """No dew, no film of ice on the leaf, and yet it is frozen: the hours of the leaf know nothing of it."""
    cold = calm(2, air_temperature_min_c=-5.0)
    assert codes(check(surface(cold), hour=9)) == [("frost-that-day", "look-first")]
    assert codes(check(surface(cold, wet_hours=(spell(2, 5, 11, "frost"),)), hour=9)) == [("frost", "keep-off")]
    assert check(surface(cold), hour=15).verdict == "nothing-against-it"


def test_where_nothing_is_known_is_no_better_slot():
    stale = builders.green().weather.model_copy(update={"state": "stale", "text": "The weather is 40 hours old."})
    until = local(TODAY + timedelta(days=2), 15)
    found = check(surface(weather=stale), applications=(put_down(keep_off_until_utc=until),), weather=stale)
    assert found.verdict == "keep-off"
    assert found.better is None


def test_with_children_and_no_surveyed_ring_it_says_that_nothing_is_known_of_toadstools():
    assert any("No ring is surveyed here" in told for told in check(surface(), children=True).assumptions)
    assert not any("No ring is surveyed here" in told for told in check(surface(**RINGED), children=True).assumptions)


def test_an_outlook_without_hours_is_judged_by_the_day():
    found = check(surface(calm(2, rain_mm=6.0), wet_hours=None))
    assert (codes(found), found.resolution) == ([("rain-that-day", "look-first")], "day")


def test_people_keep_off_until_the_time_that_the_label_gave():
    until = local(TODAY + timedelta(days=2), 15)
    assert codes(check(surface(), applications=(put_down(keep_off_until_utc=until),))) == [("keep-off-after-treatment", "keep-off")]
    assert check(surface(), hour=15, applications=(put_down(keep_off_until_utc=until),)).verdict == "nothing-against-it"
    later = put_down(applied_at_utc=local(TODAY + timedelta(days=3), 8), keep_off_until_utc=local(TODAY + timedelta(days=4), 8))
    assert check(surface(), applications=(later,)).verdict == "nothing-against-it"


def test_keep_off_holds_where_the_weather_is_not_known():
    found = check(None, applications=(put_down(keep_off_until_utc=local(TODAY + timedelta(days=2), 15)),))
    assert found.verdict == "keep-off"
    assert [code for code, _ in codes(found)] == ["keep-off-after-treatment", "no-outlook"]


def test_a_treatment_without_a_keep_off_time_is_not_known_for_a_week_and_water_is_no_treatment():
    assert codes(check(surface(), applications=(put_down(),))) == [("keep-off-not-entered", "not-known")]
    assert check(surface(), lead=3, applications=(put_down(),)).verdict == "not-known"
    assert check(surface(), lead=9, applications=(put_down(),)).verdict == "nothing-against-it"
    assert check(surface(), applications=(put_down(kind="water"),)).verdict == "nothing-against-it"


def test_two_cannot_play_at_once():
    day = TODAY + timedelta(days=2)
    other = FixtureSummary(id="f", surface_id="bowling-green", title="Finals", starts_at_utc=local(day, 15), ends_at_utc=local(day, 17))
    found = check(surface(), fixtures=(other,))
    assert codes(found) == [("another-fixture", "keep-off")]
    assert found.reasons[0].text == "Booked already: Finals, Saturday 12 September, 15:00 to 17:00."
    assert check(surface(), hour=13, fixtures=(other,)).verdict == "nothing-against-it"


RINGED = {"rings": builders.RINGS}


def test_toadstools_are_picked_before_children_play():
    seen = FruitBodies(surface_id="bowling-green", kind="fruit-bodies", count=4, observed_at_utc=local(TODAY, 6), by="Ada")
    assert codes(check(surface(), children=True, fruit_bodies=(seen,))) == [("fruit-bodies-seen", "look-first")]
    none_left = seen.model_copy(update={"count": 0, "observed_at_utc": local(TODAY, 7)})
    of_another_ring = none_left.model_copy(update={"ring_id": "ring-south"})
    assert check(surface(), children=True, fruit_bodies=(seen, of_another_ring)).verdict == "look-first"
    assert check(surface(), children=True, fruit_bodies=(seen, none_left)).verdict == "nothing-against-it"
    assert check(surface(), children=False, fruit_bodies=(seen,)).verdict == "nothing-against-it"
    assert check(surface(), lead=8, children=True, fruit_bodies=(seen,)).verdict == "nothing-against-it"


def test_the_chance_of_toadstools_counts_the_week_up_to_the_day_and_only_where_there_are_rings():
    week_before = calm(-4, flush_chance_7_days=0.4)
    assert codes(check(surface(week_before, **RINGED), children=True)) == [("fruit-bodies-likely", "look-first")]
    assert check(surface(week_before), children=True).verdict == "nothing-against-it"
    assert check(surface(calm(2, flush_chance_7_days=0.4), **RINGED), children=True).verdict == "nothing-against-it"


def test_a_severe_alert_of_the_day_is_looked_at_first():
    alert = builders.alerts()[0]
    assert codes(check(surface(), alerts=(alert,))) == [("alert", "look-first")]
    assert check(surface(), alerts=(alert.model_copy(update={"severity": Severity.MODERATE}),)).verdict == "nothing-against-it"
    assert check(surface(), alerts=(alert.model_copy(update={"last_day": TODAY}),)).verdict == "nothing-against-it"


def test_the_better_slot_is_the_nearest_of_the_same_length_inside_the_hours_of_play():
    day = TODAY + timedelta(days=2)
    other = FixtureSummary(id="f", surface_id="bowling-green", title="Finals", starts_at_utc=local(day, 8), ends_at_utc=local(day, 20))
    found = check(surface(), fixtures=(other,), hours=2)
    assert found.better is not None
    # 08:00 of the next day is 18 hours off; 19:00 of the day before, the last that ends by 21:30, is 19 hours off.
    assert found.better.starts_at == local(day + timedelta(days=1), 8)
    assert found.better.ends_at - found.better.starts_at == timedelta(hours=2)
    assert found.better.verdict == "nothing-against-it"


def test_a_better_slot_lies_ahead_and_may_be_one_to_look_at_first():
    frozen = [calm(lead, soil_temperature_c=-1.0) for lead in range(14) if lead != 5]
    found = check(surface(*frozen, calm(5, rain_mm=9.0)), lead=0)
    assert found.better is not None
    assert (found.better.starts_at.astimezone(ZONE).date() - TODAY).days == 5
    assert found.better.verdict == "look-first"
    assert found.better.starts_at > builders.NOW


def test_where_nothing_is_better_none_is_offered():
    found = check(surface(*[calm(lead, sound_available_water_fraction=0.01) for lead in range(14)]))
    assert (found.verdict, found.better) == ("look-first", None)
    assert check(None).better is None


@pytest.mark.parametrize("hours", [0, -1, 24.5])
def test_a_booking_without_length_or_of_more_than_a_day_is_a_mistake(hours: float):
    with pytest.raises(ValueError, match="ends after it starts"):
        check(surface(), hours=hours)
