"""Events out of calendar files. Expected times: RFC 5545 for what a value means, the tz database (through zoneinfo) for clock changes."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from forecaster.errors import CalendarRefused
from forecaster.sources.calendar_events import CalendarEvent, calendar_events

LONDON = ZoneInfo("Europe/London")


def file_of(*events: str) -> bytes:
    body = "".join(
        f"BEGIN:VEVENT\nUID:e{number}@test\nDTSTAMP:20260101T000000Z\n{event}\nEND:VEVENT\n" for number, event in enumerate(events)
    )
    return f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//test//\n{body}END:VCALENDAR\n".replace("\n", "\r\n").encode()


def read(*events: str, since: datetime | None = None, until: datetime | None = None, zone: ZoneInfo = LONDON) -> tuple[CalendarEvent, ...]:
    since, until = since or datetime(2026, 10, 1, tzinfo=UTC), until or datetime(2026, 11, 30, tzinfo=UTC)
    return calendar_events(file_of(*events), zone=zone, since=since, until=until)


def utc(day: int, hour: int, minute: int = 0, month: int = 10) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


def test_a_weekly_event_keeps_its_wall_clock_time_over_the_change_of_clocks() -> None:
    # Clocks in London go back on Sunday 25 October 2026: 14:00 is 13:00 UTC before and 14:00 UTC after.
    found = read(
        "DTSTART;TZID=Europe/London:20261017T140000\nDTEND;TZID=Europe/London:20261017T153000\nRRULE:FREQ=WEEKLY;COUNT=3\nSUMMARY:League"
    )
    assert [(e.starts_at, e.ends_at) for e in found] == [
        (utc(17, 13), utc(17, 14, 30)),
        (utc(24, 13), utc(24, 14, 30)),
        (utc(31, 14), utc(31, 15, 30)),
    ]
    assert len({event.key for event in found}) == 3


def test_a_whole_day_is_the_grounds_local_day_also_where_it_has_25_hours() -> None:
    (found,) = read("DTSTART;VALUE=DATE:20261025\nDTEND;VALUE=DATE:20261026\nSUMMARY:Fair")
    assert (found.starts_at, found.ends_at) == (utc(24, 23), utc(26, 0))
    (found,) = read("DTSTART;VALUE=DATE:20261025\nSUMMARY:Fair")  # without an end it is one day, RFC 5545 3.6.1
    assert (found.starts_at, found.ends_at) == (utc(24, 23), utc(26, 0))


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("DTSTART:20261020T180000Z", utc(20, 18)),
        ("DTSTART:20261020T180000", utc(20, 17)),  # floating: the ground's wall clock
        ("DTSTART;TZID=Australia/Sydney:20261020T180000", utc(20, 7)),  # UTC+11 in October
    ],
)
def test_times_in_utc_without_a_zone_and_in_another_zone(value: str, expected: datetime) -> None:
    (found,) = read(f"{value}\nDURATION:PT90M\nSUMMARY:Training\nLOCATION:Top pitch")
    assert found.starts_at == expected
    assert (found.ends_at - found.starts_at).total_seconds() == 5400
    assert (found.title, found.place) == ("Training", "Top pitch")


def test_single_days_taken_out_moved_or_cancelled() -> None:
    series = "DTSTART:20261005T180000Z\nDTEND:20261005T190000Z\nRRULE:FREQ=DAILY;COUNT=4\nEXDATE:20261006T180000Z\nSUMMARY:Nets"
    moved = "RECURRENCE-ID:20261007T180000Z\nDTSTART:20261007T200000Z\nDTEND:20261007T210000Z\nSUMMARY:Nets, late"
    text = file_of(series, moved).replace(b"e1@test", b"e0@test")
    found = calendar_events(text, zone=LONDON, since=utc(1, 0), until=utc(31, 0))
    assert [(e.starts_at, e.title) for e in found] == [(utc(5, 18), "Nets"), (utc(7, 20), "Nets, late"), (utc(8, 18), "Nets")]
    assert read("DTSTART:20261005T180000Z\nDTEND:20261005T190000Z\nSTATUS:CANCELLED\nSUMMARY:Off") == ()


def test_only_what_touches_the_span() -> None:
    found = read(
        "DTSTART:20260901T100000Z\nDTEND:20260901T110000Z\nSUMMARY:Before",
        "DTSTART:20260930T230000Z\nDTEND:20261001T010000Z\nSUMMARY:Into",
        "DTSTART:20261201T100000Z\nDTEND:20261201T110000Z\nSUMMARY:After",
    )
    assert [event.title for event in found] == ["Into"]


def test_line_breaks_in_words_become_spaces_and_an_event_without_an_end_takes_two_hours() -> None:
    (found,) = read("DTSTART:20261020T180000Z\nSUMMARY:Cup\\n\\nfinal")
    assert found.title == "Cup final"
    assert found.ends_at == utc(20, 20)  # common practice, no source


@pytest.mark.parametrize(
    "event",
    [
        "DTSTART:20261020T180000Z\nRRULE:FREQ=SECONDLY\nSUMMARY:x",
        "DTSTART:20261020T180000Z\nRRULE:FREQ=MINUTELY\nSUMMARY:x",
        "DTSTART:20261020T180000Z\nRRULE:FREQ=DAILY;BYMINUTE=1,2,3\nSUMMARY:x",
        "SUMMARY:no beginning",
        "DTSTART:yesterday\nSUMMARY:x",
    ],
)
def test_what_cannot_be_read_or_would_never_end_is_refused(event: str) -> None:
    with pytest.raises(CalendarRefused):
        read(event)


def test_more_than_can_be_booked_is_refused() -> None:
    one = "DTSTART:20261020T180000Z\nDTEND:20261020T190000Z\nSUMMARY:x"
    assert len(read(*[one] * 2000)) == 2000
    with pytest.raises(CalendarRefused, match="more than 2000"):
        read(*[one] * 2001)
    with pytest.raises(CalendarRefused, match="more than 500"):
        read(*["DTSTART:20201020T180000Z\nRRULE:FREQ=YEARLY\nSUMMARY:x"] * 501)


def test_a_file_that_breaks_off_is_refused() -> None:
    with pytest.raises(CalendarRefused):
        calendar_events(b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nDTST", zone=LONDON, since=utc(1, 0), until=utc(31, 0))
