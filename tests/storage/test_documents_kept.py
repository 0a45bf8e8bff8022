"""Grounds, weather, soil states, cycles, outlooks and episodes come back as they went in."""

from __future__ import annotations

import zlib
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from sqlalchemy import Engine, text

from forecaster.errors import NotFound, StorageError
from forecaster.quantities import Severity
from forecaster.storage.arrays import pack_arrays, unpack_arrays
from forecaster.storage.cycles import CycleRecord, latest_cycle, save_cycle
from forecaster.storage.database import reading, transaction
from forecaster.storage.episodes import alerts_of, open_alerts, save_episode
from forecaster.storage.grounds import get_ground, list_grounds, retire_other_grounds, save_ground
from forecaster.storage.outlooks import latest_charts, latest_outlook, latest_outlooks, save_outlook
from forecaster.storage.soil import drop_states_before, latest_state_before, save_state
from forecaster.storage.told import Told, last_told, save_told
from forecaster.storage.weather import StoredIssue, issues_reaching_back, latest_issues, save_issue
from tests.storage.builders import DAY, NOON, alert, ground, outlook, weather

HOUR = timedelta(hours=1)
NEXT_DAY = DAY + timedelta(days=1)
LATER = NOON + timedelta(days=1)


# ---------------------------------------------------------------- grounds


def test_grounds_are_listed_by_name_and_the_newest_description_counts(database: Engine) -> None:
    with transaction(database) as session:
        save_ground(session, ground(id="abbey", name="zoo field"), NOON)
        save_ground(session, ground(name="Brook"), NOON)
    with reading(database) as session:
        assert [found.name for found in list_grounds(session)] == ["Brook", "zoo field"]


def test_a_ground_that_left_the_configuration_is_gone_until_it_returns(database: Engine) -> None:
    with transaction(database) as session:
        save_ground(session, ground(id="abbey"), NOON)
        retire_other_grounds(session, ["abbey"], NOON)
    with reading(database) as session:
        assert [found.id for found in list_grounds(session)] == ["abbey"]
        with pytest.raises(NotFound, match="hollow"):
            get_ground(session, "hollow")
    with transaction(database) as session:
        save_ground(session, ground(), NOON)
        assert get_ground(session, "hollow") == ground()


def test_an_unknown_ground_is_not_found(database: Engine) -> None:
    with reading(database) as session, pytest.raises(NotFound, match="atlantis") as caught:
        get_ground(session, "atlantis")
    assert caught.value.hint


def test_a_ground_that_another_version_described_is_said_to_pages(database: Engine) -> None:
    with transaction(database) as session:
        session.execute(text("UPDATE ground SET document = :old"), {"old": '{"title": "old"}'})
    with reading(database) as session:
        for read in (lambda: list_grounds(session), lambda: get_ground(session, "hollow")):
            with pytest.raises(StorageError, match="hollow is damaged or from another version") as caught:
                read()
            assert "writes it anew" in caught.value.hint


# ---------------------------------------------------------------- weather


def issue(hours: int = 0, *, source: str = "sample", blob: bytes = b"frame") -> StoredIssue:
    at = NOON + hours * HOUR
    return StoredIssue(ground_id="hollow", source=source, issued_at=at, stored_at=at, first_hour=at, last_hour=at + 48 * HOUR, blob=blob)


def test_the_newest_issues_of_one_source_come_first(database: Engine) -> None:
    with transaction(database) as session:
        for hours in (6, 0, 12):
            save_issue(session, issue(hours))
        save_issue(session, issue(18, source="other"))
    with reading(database) as session:
        assert latest_issues(session, "hollow", "sample", now=LATER, limit=2) == (issue(12), issue(6))
        assert latest_issues(session, "hollow", "none", now=LATER) == ()


def test_issues_of_few_days_are_carried_back_by_older_ones_and_by_no_more_than_it_takes(database: Engine) -> None:
    def short(day: int, *, past_days: int) -> StoredIssue:
        made = issue(24 * day)
        return replace(made, first_hour=made.issued_at - past_days * 24 * HOUR)

    issues = [short(day, past_days=92 if day == 1 else 4) for day in range(12)]
    with transaction(database) as session:
        for made in issues:
            save_issue(session, made)
    with reading(database) as session:
        now = NOON + 11 * 24 * HOUR

        def found(back_days: int) -> tuple[StoredIssue, ...]:
            since = now - back_days * 24 * HOUR
            return issues_reaching_back(session, "hollow", "sample", now=now, since=since, newest=2)

        assert found(3) == (issues[11], issues[10])
        assert found(7) == (issues[11], issues[10], issues[6])
        assert found(90) == (issues[11], issues[10], issues[6], issues[2], issues[1])
        assert issues_reaching_back(session, "hollow", "none", now=now, since=NOON, newest=2) == ()


def test_where_the_chain_of_issues_breaks_nothing_older_is_taken(database: Engine) -> None:
    early, late = issue(0), replace(issue(24 * 20), first_hour=NOON + 24 * 16 * HOUR)
    with transaction(database) as session:
        save_issue(session, early)
        save_issue(session, late)
    with reading(database) as session:
        assert issues_reaching_back(session, "hollow", "sample", now=late.issued_at, since=NOON, newest=1) == (late,)


def test_an_issue_handed_out_again_replaces_itself_only(database: Engine) -> None:
    with transaction(database) as session:
        save_issue(session, issue(0))
        save_issue(session, issue(6))
        save_issue(session, issue(6, blob=b"corrected"))
    with reading(database) as session:
        assert latest_issues(session, "hollow", "sample", now=LATER, limit=9) == (issue(6, blob=b"corrected"), issue(0))


def test_an_issue_from_a_clock_that_was_ahead_is_not_the_newest(database: Engine) -> None:
    with transaction(database) as session:
        for hours in (0, 1, 2, 48):
            save_issue(session, issue(hours))
    with reading(database) as session:
        assert latest_issues(session, "hollow", "sample", now=NOON, limit=9) == (issue(1), issue(0))


# ---------------------------------------------------------------- soil


@given(
    st.dictionaries(
        st.text(max_size=8),
        arrays(np.float64, array_shapes(min_dims=0, max_dims=3, min_side=0, max_side=4), elements=st.floats(width=64)),
        max_size=3,
    )
)
def test_arrays_survive_to_the_last_bit(given_arrays: dict[str, np.ndarray]) -> None:
    found = unpack_arrays(pack_arrays(given_arrays))
    assert list(found) == list(given_arrays)
    for name, array in given_arrays.items():
        assert found[name].shape == array.shape
        assert found[name].dtype == array.dtype
        assert found[name].tobytes() == array.tobytes()


def test_arrays_of_other_kinds_and_orders_survive() -> None:
    matrix = np.asfortranarray(np.arange(6.0).reshape(2, 3))
    found = unpack_arrays(
        pack_arrays({"m": matrix, "big": matrix.astype(">f8"), "yes": np.array([True, False]), "n": np.array([2**60 + 1])})
    )
    assert (found["m"] == matrix).all()
    assert (found["big"] == matrix).all()
    assert found["yes"].tolist() == [True, False]
    assert found["n"].tolist() == [2**60 + 1]
    found["m"][0, 0] = 7.0  # a state that was read may be moved on


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(TypeError, match="names"):
        pack_arrays({"names": np.array(["sound", "band"])})


@pytest.mark.parametrize(
    "damage",
    [
        lambda blob: b"",
        lambda blob: blob[:-5],
        lambda blob: b"x" + blob,
        lambda blob: zlib.compress(b"something else"),
        lambda blob: zlib.compress(zlib.decompress(blob)[:-1]),
        lambda blob: zlib.compress(zlib.decompress(blob) + b"\0"),
    ],
)
def test_damaged_arrays_are_a_storage_error(damage) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(StorageError, match="cannot be read"):
        unpack_arrays(damage(pack_arrays({"a": np.arange(5.0)})))


def test_the_newest_state_before_a_day_with_the_same_settings_is_found(database: Engine) -> None:
    with transaction(database) as session:
        for back in (1, 2, 5):
            save_state(session, "hollow", DAY - timedelta(days=back), fingerprint="a", arrays={"depletion_mm": np.array([float(back)])})
        save_state(session, "hollow", DAY - timedelta(days=1), fingerprint="b", arrays={"depletion_mm": np.array([9.0])})
        save_state(session, "hollow", DAY - timedelta(days=2), fingerprint="a", arrays={"depletion_mm": np.array([2.5])})
    with reading(database) as session:
        found = latest_state_before(session, "hollow", DAY - timedelta(days=1), fingerprint="a")
        assert found is not None
        assert found[0] == DAY - timedelta(days=2)
        assert unpack_arrays(found[1])["depletion_mm"].tolist() == [2.5]
        assert latest_state_before(session, "hollow", DAY, fingerprint="c") is None
    with transaction(database) as session:
        drop_states_before(session, "hollow", DAY - timedelta(days=1))
        assert latest_state_before(session, "hollow", DAY - timedelta(days=1), fingerprint="a") is None
        assert latest_state_before(session, "hollow", DAY, fingerprint="a") is not None


# ---------------------------------------------------------------- cycles


def test_the_last_run_and_the_last_good_run_are_told_apart(database: Engine) -> None:
    good = CycleRecord(ground_id="hollow", started_at=NOON, finished_at=NOON + HOUR, status="ok", weather=weather())
    bad = replace(
        good, finished_at=NOON + 2 * HOUR, status="failed", weather=None, error_slug="weather-malformed", error_message="no temperature"
    )
    with transaction(database) as session:
        assert latest_cycle(session, "hollow", now=LATER) is None
        save_cycle(session, good)
        save_cycle(session, bad)
    with reading(database) as session:
        assert latest_cycle(session, "hollow", now=LATER) == bad
        assert latest_cycle(session, "hollow", now=LATER, among=("ok", "degraded")) == good


def test_a_run_by_a_clock_that_was_ahead_is_not_the_last_one(database: Engine) -> None:
    now = CycleRecord(ground_id="hollow", started_at=NOON, finished_at=NOON, status="ok", weather=weather())
    with transaction(database) as session:
        save_cycle(session, replace(now, finished_at=NOON + 50 * HOUR))
        save_cycle(session, now)
        assert latest_cycle(session, "hollow", now=NOON) == now
        assert latest_cycle(session, "hollow", now=NOON + 49 * HOUR) == replace(now, finished_at=NOON + 50 * HOUR)


def test_a_run_that_another_version_wrote_is_said_to_pages(database: Engine) -> None:
    with transaction(database) as session:
        save_cycle(session, CycleRecord(ground_id="hollow", started_at=NOON, finished_at=NOON, status="ok", weather=weather()))
        session.execute(text("UPDATE cycle SET weather = :old"), {"old": '{"title": "old"}'})
    with reading(database) as session, pytest.raises(StorageError, match="another version") as caught:
        latest_cycle(session, "hollow", now=NOON)
    assert "Run one cycle" in caught.value.hint


# ---------------------------------------------------------------- outlooks


def test_an_outlook_and_its_charts_come_back(database: Engine) -> None:
    with transaction(database) as session:
        save_outlook(session, outlook(headline="first"), {"water": "<svg>1</svg>"})
        save_outlook(session, outlook(headline="second"), {"water": "<svg>ö</svg>"})
        save_outlook(session, outlook(surface_id="green", headline="green"), {})
    with reading(database) as session:
        assert latest_outlook(session, "hollow", "meadow", now=LATER) == outlook(headline="second")
        assert latest_outlook(session, "hollow", "nowhere", now=LATER) is None
        assert latest_charts(session, "hollow", "meadow", now=LATER) == {"water": "<svg>ö</svg>"}
        assert latest_charts(session, "hollow", "nowhere", now=LATER) == {}


def test_the_newest_outlook_of_each_surface(database: Engine) -> None:
    days = {"meadow": (DAY - timedelta(days=3), DAY - timedelta(days=1), DAY), "green": (DAY - timedelta(days=2),)}
    with transaction(database) as session:
        save_ground(session, ground(id="other"), NOON)
        save_outlook(session, outlook(ground_id="other", today=NEXT_DAY), {})
        for surface, its_days in days.items():
            for day in its_days:
                save_outlook(session, outlook(surface_id=surface, today=day), {"day": str(day)})
    with reading(database) as session:
        assert {name: found.today for name, found in latest_outlooks(session, "hollow", now=LATER).items()} == {
            "meadow": DAY,
            "green": DAY - timedelta(days=2),
        }
        assert latest_charts(session, "hollow", "meadow", now=LATER) == {"day": str(DAY)}


def test_an_outlook_of_another_version_is_said_to_pages_and_does_not_stop_a_cycle(database: Engine) -> None:
    with transaction(database) as session:
        save_outlook(session, outlook(), {})
        old = zlib.compress(outlook().model_dump_json().replace('"headline"', '"title"').encode())
        session.execute(text("UPDATE outlook SET document = :old"), {"old": old})
    with reading(database) as session:
        with pytest.raises(StorageError, match="another version") as caught:
            latest_outlooks(session, "hollow", now=LATER)
        assert "cycle" in caught.value.hint


def test_an_outlook_from_a_clock_that_was_ahead_is_not_the_newest(database: Engine) -> None:
    """It was right once: the outlook of today counts again, and one that is made anew, as soon as the clock is set."""
    ahead = outlook(today=DAY + timedelta(days=9), issued_at_utc=NOON + timedelta(days=9), headline="ahead")
    with transaction(database) as session:
        save_outlook(session, ahead, {"of": "ahead"})
        assert latest_outlook(session, "hollow", "meadow", now=NOON) is None
        save_outlook(session, outlook(), {"of": "today"})
    with reading(database) as session:
        assert latest_outlook(session, "hollow", "meadow", now=NOON) == outlook()
        assert latest_outlooks(session, "hollow", now=NOON) == {"meadow": outlook()}
        assert latest_charts(session, "hollow", "meadow", now=NOON) == {"of": "today"}
        assert latest_outlook(session, "hollow", "meadow", now=NOON + timedelta(days=9)) == ahead


def test_damaged_charts_are_said_to_pages(database: Engine) -> None:
    with transaction(database) as session:
        save_outlook(session, outlook(), {})
        session.execute(text("UPDATE outlook SET charts = :old"), {"old": b"damaged"})
        with pytest.raises(StorageError, match="charts of hollow/meadow") as caught:
            latest_charts(session, "hollow", "meadow", now=NOON)
    assert "cycle" in caught.value.hint


# ---------------------------------------------------------------- what was told


def test_the_first_message_of_a_day_is_what_the_next_day_is_compared_with(database: Engine) -> None:
    first, later = outlook(headline="at six"), outlook(headline="at nine")
    with transaction(database) as session:
        assert last_told(session, "hollow", before=NEXT_DAY) is None
        save_told(session, "hollow", DAY, Told(NOON, (first,)))
        save_told(session, "hollow", DAY, Told(NOON + 3 * HOUR, (later,)))
    with reading(database) as session:
        assert last_told(session, "hollow", before=DAY) is None
        assert last_told(session, "hollow", before=NEXT_DAY) == Told(NOON, (first.model_copy(update={"days": ()}),))


def test_of_what_was_told_the_last_two_days_are_kept(database: Engine) -> None:
    with transaction(database) as session:
        for number in range(4):
            save_told(session, "hollow", DAY + timedelta(days=number), Told(NOON, ()))
        days = session.execute(text("SELECT local_day FROM told ORDER BY local_day")).scalars().all()
    assert [str(day) for day in days] == [str(DAY + timedelta(days=2)), str(DAY + timedelta(days=3))]


def test_what_another_version_told_counts_as_nothing(database: Engine) -> None:
    with transaction(database) as session:
        save_told(session, "hollow", DAY, Told(NOON, (outlook(),)))
        session.execute(text("UPDATE told SET outlooks = :old"), {"old": zlib.compress(b'[{"title": "old"}]')})
        assert last_told(session, "hollow", before=NEXT_DAY) is None


# ---------------------------------------------------------------- episodes


def test_an_episode_changes_in_place_until_it_ends(database: Engine) -> None:
    quiet = date(2026, 9, 22)
    with transaction(database) as session:
        save_episode(session, alert(), None)
        save_episode(session, alert(status="held", severity=Severity.EXTREME), quiet)
    with reading(database) as session:
        assert open_alerts(session, "hollow") == [(alert(status="held", severity=Severity.EXTREME), quiet)]
    ended = alert(status="ended", ended_at_utc=NOON + 48 * HOUR)
    with transaction(database) as session:
        save_episode(session, ended, quiet)
        assert open_alerts(session, "hollow") == []
        assert alerts_of(session, "hollow") == (ended,)
        assert alerts_of(session, "hollow", since=NOON + 48 * HOUR) == (ended,)
        assert alerts_of(session, "hollow", since=NOON + 49 * HOUR) == ()


def test_a_rule_has_one_open_episode_on_a_surface(database: Engine) -> None:
    with transaction(database) as session:
        save_episode(session, alert(), None)
        save_episode(session, alert(id="elsewhere", surface_id="green"), None)
    with pytest.raises(StorageError, match=r"(?i)unique"), transaction(database) as session:
        save_episode(session, alert(id="second"), None)
    with transaction(database) as session:
        save_episode(session, alert(status="ended", ended_at_utc=NOON), None)
        save_episode(session, alert(id="second"), None)
    with reading(database) as session:
        assert {found.id for found, _ in open_alerts(session, "hollow")} == {"elsewhere", "second"}
