"""Hours for work, counted by hand on an invented surface in Berlin, summer time (UTC+2)."""

from __future__ import annotations

from datetime import UTC, datetime

from forecaster.advice.windows import work_windows
from forecaster.documents import FixtureSummary, SurfaceOutlook, WetSpell
from tests.alerts.builders import outlook, signal

NOW = datetime(2026, 9, 28, 4, 35, tzinfo=UTC)  # 06:35 at the ground


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 9, day, hour, minute, tzinfo=UTC)


def wet(start: datetime, end: datetime, cause: str = "dew") -> WetSpell:
    return WetSpell(starts_at_utc=start, ends_at_utc=end, cause=cause, exact=True)  # type: ignore[arg-type]


def surface(*spells: WetSpell, **changes: object) -> SurfaceOutlook:
    base = outlook(signal(), name="main", time_zone="Europe/Berlin")
    return base.model_copy(update={"wet_hours": spells, **changes})


def spans(found) -> list[tuple[datetime, datetime]]:
    return [(window.starts_at, window.ends_at) for window in found]


def test_a_day_without_dew_or_booking_is_free_from_now_to_the_evening() -> None:
    found = work_windows(surface(), (), (), now=NOW)
    assert spans(found) == [
        (at(28, 4, 45), at(28, 18)),  # from now, to the next quarter
        (at(29, 4), at(29, 18)),  # 06:00 to 20:00 local
        (at(30, 4), at(30, 18)),
        (datetime(2026, 10, 1, 4, tzinfo=UTC), datetime(2026, 10, 1, 18, tzinfo=UTC)),
    ]
    assert found[0].work == ("Rings showing",)


def test_dew_bookings_and_keep_off_times_are_taken_out_and_the_longest_rest_is_told() -> None:
    booked = FixtureSummary(id="f", surface_id="main", title="Match", starts_at_utc=at(28, 12), ends_at_utc=at(28, 14))
    elsewhere = booked.model_copy(update={"surface_id": "other", "starts_at_utc": at(28, 4), "ends_at_utc": at(28, 18)})
    dew = wet(at(27, 22), at(28, 7, 20))
    (first, *_) = work_windows(surface(dew), (booked, elsewhere), (), now=NOW)
    assert spans([first]) == [(at(28, 14), at(28, 18))], "07:30 to 11:00, an hour before the match, is shorter"
    (first, *_) = work_windows(surface(dew), (booked,), [(at(28, 15), at(28, 18))], now=NOW)
    assert spans([first]) == [(at(28, 7, 30), at(28, 11))]


def test_less_than_two_hours_are_no_window() -> None:
    found = work_windows(surface(wet(at(28, 4), at(28, 16, 15)), wet(at(28, 18), at(29, 19))), (), (), now=NOW)
    assert [window.day.day for window in found] == [30, 1]


def test_hours_that_nobody_knows_are_never_called_dry() -> None:
    assert work_windows(surface(wet(at(28, 0), at(30, 23), "unknown")), (), (), now=NOW)[0].day.day == 1
    assert work_windows(surface().model_copy(update={"wet_hours": None}), (), (), now=NOW) == ()
    assert work_windows(surface(known=False), (), (), now=NOW) == ()


def test_where_nothing_speaks_there_is_no_work_to_plan() -> None:
    assert work_windows(surface(signals=()), (), (), now=NOW) == ()
    assert work_windows(surface(signals=(signal(lead=3),)), (), (), now=NOW) == ()
    assert work_windows(surface(signals=(signal(trial=True),)), (), (), now=NOW) == ()
