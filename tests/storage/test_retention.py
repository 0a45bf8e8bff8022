"""What is kept for how long: forecasts as issued, one a day in the end; outlooks without what only repeats."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine, select, update

from forecaster.documents import OutlookDay
from forecaster.quantities import Origin
from forecaster.storage.answers import StoredAnswer, save_answer, stored_answer
from forecaster.storage.cap_messages import StoredCapMessage, chain_of, save_cap_message
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import reading, transaction
from forecaster.storage.episodes import save_episode
from forecaster.storage.grounds import save_ground
from forecaster.storage.messages import enqueue_message
from forecaster.storage.models import CycleRow, MessageRow, OutlookRow, RecordVersionRow, WeatherIssueRow
from forecaster.storage.outlooks import latest_charts, latest_outlook, save_outlook
from forecaster.storage.records import NewRecord, RecordQuery, add_record, change_record, delete_record, list_records
from forecaster.storage.retention import ANSWERS, EVERY_ISSUE, NO_CHARTS, ONE_ISSUE_A_DAY, RECORDS, prune
from forecaster.storage.runs import KeptRun, save_run
from forecaster.storage.weather import StoredIssue, save_issue
from tests.storage import builders

NOW = datetime(2026, 9, 14, 12, tzinfo=UTC)


def keep_issues(database: Engine, *ages: timedelta, source: str = "open-meteo") -> None:
    with transaction(database) as session:
        save_ground(session, builders.ground(), NOW)
        for age in ages:
            save_issue(session, StoredIssue("hollow", source, NOW - age, NOW, NOW - age, NOW, b"weather"))


def ages_kept(database: Engine, source: str = "open-meteo") -> list[timedelta]:
    with reading(database) as session:
        found = session.scalars(select(WeatherIssueRow).where(WeatherIssueRow.source == source))
        return sorted(NOW - row.issued_at for row in found)


def prune_twice(database: Engine) -> None:
    for _ in range(2):
        with transaction(database) as session:
            prune(session, "hollow", NOW)


def test_of_older_issues_the_first_of_each_day_stays(database: Engine) -> None:
    young = [timedelta(hours=3 * n) for n in range(4)]
    old = [EVERY_ISSUE + timedelta(days=5, hours=3 * n) for n in range(4)]  # 12:00, 09:00, 06:00 and 03:00 of one day
    keep_issues(database, *young, *old, ONE_ISSUE_A_DAY + timedelta(days=1))
    prune_twice(database)
    assert ages_kept(database) == [*young, old[-1]]


def test_members_stay_for_a_week_and_then_only_where_a_kept_run_rests_on_them(database: Engine) -> None:
    young, old = [timedelta(days=n) for n in range(4)], [timedelta(days=n) for n in (8, 9, 10)]
    keep_issues(database, *young, *old, source="open-meteo-members")
    with transaction(database) as session:
        made = NOW - old[1]
        save_run(session, KeptRun("hollow", made.date(), made, b"run", (("open-meteo-members", made),)))
    prune_twice(database)
    assert ages_kept(database, "open-meteo-members") == [*young, old[1]]


def test_the_last_issue_of_a_silent_source_stays_however_many_it_had_that_day(database: Engine) -> None:
    first, last = EVERY_ISSUE + timedelta(days=2, hours=6), EVERY_ISSUE + timedelta(days=2)
    keep_issues(database, first, last, source="met-norway")
    prune_twice(database)
    assert ages_kept(database, "met-norway") == [last, first]


def test_the_last_issue_of_a_source_silent_for_years_stays_and_one_ahead_of_the_clock_does_not_take_its_place(database: Engine) -> None:
    older, last, ahead = ONE_ISSUE_A_DAY + timedelta(days=9), ONE_ISSUE_A_DAY + timedelta(days=2), timedelta(days=-40)
    keep_issues(database, older, last, ahead, source="met-norway")
    prune_twice(database)
    assert ages_kept(database, "met-norway") == [ahead, last]


def day(lead: int) -> OutlookDay:
    nothing = dict.fromkeys(
        (
            "rain_mm", "irrigation_mm", "et0_mm", "air_temperature_min_c", "air_temperature_max_c", "soil_temperature_c", "sound", "band",
            "ring_contrast", "flush_hazard_per_day", "flush_chance_7_days",
        )
    )  # fmt: skip
    return OutlookDay(day=builders.DAY + timedelta(days=lead), lead_days=lead, origin=Origin.MISSING, **nothing)


def test_an_old_outlook_keeps_what_it_said_of_the_days_to_come(database: Engine) -> None:
    days = tuple(day(lead) for lead in range(-3, 3))
    with transaction(database) as session:
        save_ground(session, builders.ground(), NOW)
        for back in (40, 20, 0):
            issued = NOW - timedelta(days=back)
            made = builders.outlook(today=issued.date(), issued_at_utc=issued, days=days)
            save_outlook(session, made, {"water": "<svg>a picture</svg>"})
            surface = made.surface_id
    prune_twice(database)
    with reading(database) as session:
        rows = {row.local_day: row for row in session.scalars(select(OutlookRow))}
        charts = [rows[(NOW - timedelta(days=back)).date()].charts for back in (40, 20, 0)]
        assert [chart != NO_CHARTS for chart in charts] == [False, False, True]
        whole = latest_outlook(session, "hollow", surface, now=NOW)
        assert whole is not None
        assert [found.lead_days for found in whole.days] == [-3, -2, -1, 0, 1, 2]
        assert latest_charts(session, "hollow", surface, now=NOW)
        then = NOW - timedelta(days=20)
        earlier = latest_outlook(session, "hollow", surface, now=then)
        assert earlier is not None
        assert [found.lead_days for found in earlier.days] == [0, 1, 2]


def test_what_people_entered_is_never_purged(database: Engine) -> None:
    old = NOW - timedelta(days=20 * 365)
    with transaction(database) as session:
        add_record(session, NewRecord("a1", "hollow", "application", "meadow", old, {"by": "Ada"}, None), by="Ada", now=old)
        add_record(session, NewRecord("a2", "hollow", "application", "meadow", old, {"by": "Bo"}, None), by="Bo", now=old)
        delete_record(session, "hollow", "application", "a2", version=1, by="Bo", now=old)
    prune_twice(database)
    with reading(database) as session:
        assert [r.id for r in list_records(session, "hollow", "application", RecordQuery(deleted=True))] == ["a1", "a2"]


def test_what_a_record_said_before_is_kept(database: Engine) -> None:
    with transaction(database) as session:
        add_record(session, NewRecord("a1", "hollow", "application", "meadow", NOW, {"area": 1}, None), by="Ada", now=NOW)
    with transaction(database) as session:
        change_record(
            session, "hollow", "application", "a1", surface_id="lawn", happened_at=NOW, document={"area": 2}, version=1, by="Bo", now=NOW
        )
    with reading(database) as session:
        kept = session.scalars(select(RecordVersionRow)).one()
        assert (kept.record_id, kept.version, kept.document, kept.replaced_by) == ("a1", 1, {"area": 1}, "Bo")


def test_ended_messages_and_cycles_of_a_ground_that_left_the_configuration_go_by_age_too(database: Engine) -> None:
    """Nobody prunes for it any more, and its messages hold addresses."""
    long_ago, lately = NOW - RECORDS - timedelta(days=2), NOW - timedelta(days=3)
    with transaction(database) as session:
        save_ground(session, builders.ground(), NOW)
        save_ground(session, builders.ground(id="gone"), NOW)
        for number, when in enumerate((long_ago, lately)):
            enqueue_message(session, builders.message(key=f"gone/{number}", ground_id="gone", created_at=when, expires_at=when))
            save_cycle(session, CycleRecord("gone", when, when, "ok", None, None))
        session.execute(update(MessageRow).values(status="expired"))
        prune(session, "hollow", NOW)
    with reading(database) as session:
        assert session.scalars(select(MessageRow.key)).all() == ["gone/1"]
        assert session.scalars(select(CycleRow.finished_at)).all() == [lately]


def test_what_a_calendar_said_goes_months_after_it_has_run_out(database: Engine) -> None:
    keep_issues(database)
    with transaction(database) as session:
        for name, age in (("calendar/hollow/old", ANSWERS + timedelta(days=1)), ("calendar/hollow/new", ANSWERS - timedelta(days=1))):
            save_answer(session, StoredAnswer(name, b"BEGIN:VCALENDAR", None, NOW - age, deprecated=False))
    prune_twice(database)
    with reading(database) as session:
        assert stored_answer(session, "calendar/hollow/old") is None
        assert stored_answer(session, "calendar/hollow/new") is not None


def test_a_chain_of_messages_goes_a_year_after_its_alert_has_ended_and_an_open_one_stays(database: Engine) -> None:
    keep_issues(database)
    with transaction(database) as session:
        for alert, end, age in (("old", "Cancel", RECORDS + timedelta(days=1)), ("open", "Update", RECORDS + timedelta(days=1))):
            save_episode(session, builders.alert(id=alert, surface_id=alert), None)
            for number, kind in ((1, "Alert"), (2, end)):
                sent = NOW - age
                save_cap_message(
                    session,
                    StoredCapMessage(f"{alert}.{number}", "hollow", alert, number, kind, "x", sent, sent, "Minor", "m", "t", b"<alert/>"),
                )
    prune_twice(database)
    with reading(database) as session:
        assert chain_of(session, "old") == ()
        assert len(chain_of(session, "open")) == 2
