"""The outbox: written once, claimed once, never lost, never late."""

from __future__ import annotations

import subprocess
import sys
import threading
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine

from forecaster.errors import StorageError
from forecaster.storage.database import reading, transaction
from forecaster.storage.messages import (
    StoredMessage,
    claim_message,
    count_messages,
    digest_key,
    due_messages,
    enqueue_message,
    expire_messages,
    mark_doubtful,
    mark_postponed,
    mark_rejected,
    mark_sent,
    pause,
    recent_messages,
    release_claims,
)
from tests.storage.builders import DAY, NOON, message

MINUTE = timedelta(minutes=1)


@pytest.fixture
def outbox(database: Engine) -> Engine:
    with transaction(database) as session:
        assert enqueue_message(session, message())
    return database


def only(engine: Engine) -> StoredMessage:
    with reading(engine) as session:
        (found,) = recent_messages(session, "hollow")
    return found


def claim(engine: Engine, owner: str, now: datetime = NOON) -> bool:
    with transaction(engine) as session:
        return claim_message(session, only(engine).id, owner=owner, now=now)


def due(engine: Engine, now: datetime) -> int:
    with reading(engine) as session:
        return len(due_messages(session, now))


def test_the_same_decision_is_written_once(outbox: Engine) -> None:
    with transaction(outbox) as session:
        assert not enqueue_message(session, message(text="another wording"))
        assert enqueue_message(session, message(key="another"))
    with reading(outbox) as session:
        assert [found.text for found in recent_messages(session, "hollow")] == ["Text.\n", "Text.\n"]
        assert count_messages(session) == {"waiting": 2, "claimed": 0, "sent": 0, "failed": 0, "expired": 0}


def test_a_digest_is_one_for_ground_recipient_and_day_however_the_address_is_written() -> None:
    keys = {
        digest_key("hollow", "Head@Ground.example", DAY),
        digest_key("hollow", "head@ground.example", DAY),
        digest_key("hollow", "other@ground.example", DAY),
        digest_key("abbey", "head@ground.example", DAY),
        digest_key("hollow", "head@ground.example", DAY + timedelta(days=1)),
    }
    assert len(keys) == 4


def test_a_message_for_an_unknown_ground_is_not_silently_ignored(database: Engine) -> None:
    with pytest.raises(StorageError, match=r"(?i)foreign key"), transaction(database) as session:
        enqueue_message(session, message(ground_id="nowhere"))


def test_a_message_is_due_between_its_first_and_its_last_moment(database: Engine) -> None:
    with transaction(database) as session:
        enqueue_message(session, message(not_before=NOON + MINUTE, expires_at=NOON + 3 * MINUTE))
    assert [due(database, NOON + n * MINUTE) for n in range(5)] == [0, 1, 1, 0, 0]
    assert [claim(database, "a", NOON + n * MINUTE) for n in (0, 3)] == [False, False]
    assert claim(database, "a", NOON + 2 * MINUTE)


def test_of_two_that_claim_a_message_one_wins(outbox: Engine) -> None:
    """Sixteen threads of two owners start together; the row counts of the conditional update decide."""
    message_id = only(outbox).id
    start = threading.Barrier(16)
    won: list[str] = []

    def attempt(owner: str) -> None:
        start.wait()
        with transaction(outbox) as session:
            if claim_message(session, message_id, owner=owner, now=NOON):
                won.append(owner)

    threads = [threading.Thread(target=attempt, args=(f"owner {n}",)) for n in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 1
    assert only(outbox).claimed_by == won[0]
    assert only(outbox).attempts == 1


def test_of_two_processes_that_claim_a_message_one_wins(outbox: Engine) -> None:
    program = (
        "import sys\n"
        "from forecaster.storage.database import open_database, transaction\n"
        "from forecaster.storage.messages import claim_message\n"
        "from tests.storage.builders import NOON\n"
        "engine = open_database(sys.argv[1])\n"
        "sys.stdin.readline()\n"
        "with transaction(engine) as session:\n"
        "    print(claim_message(session, int(sys.argv[2]), owner=sys.argv[3], now=NOON))\n"
    )
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", program, str(outbox.url), str(only(outbox).id), owner],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        for owner in ("one", "two")
    ]
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("\n")
        process.stdin.flush()
    assert sorted(process.communicate(timeout=60)[0].strip() for process in processes) == ["False", "True"]


def test_a_sent_message_is_never_due_again(outbox: Engine) -> None:
    assert claim(outbox, "a")
    with transaction(outbox) as session:
        assert mark_sent(session, only(outbox).id, owner="a", now=NOON + MINUTE)
        assert release_claims(session, NOON + 60 * MINUTE) == 0
        assert expire_messages(session, NOON + 6000 * MINUTE) == 0
    found = only(outbox)
    assert (found.status, found.sent_at, found.last_error) == ("sent", NOON + MINUTE, None)
    assert due(outbox, NOON + 60 * MINUTE) == 0
    assert not claim(outbox, "b", NOON + 60 * MINUTE)


def test_only_the_owner_of_a_claim_marks_it(outbox: Engine) -> None:
    assert claim(outbox, "a")
    message_id = only(outbox).id
    with transaction(outbox) as session:
        assert not mark_sent(session, message_id, owner="b", now=NOON)
        assert not mark_postponed(session, message_id, owner="b", now=NOON, error="x")
        assert not mark_doubtful(session, message_id, owner="b", now=NOON, error="x")
        assert not mark_rejected(session, message_id, owner="b", error="x")
    assert only(outbox).status == "claimed"


def test_a_postponed_message_waits_longer_each_time(outbox: Engine) -> None:
    now = NOON
    waits = []
    for _ in range(3):
        assert claim(outbox, "a", now)
        with transaction(outbox) as session:
            assert mark_postponed(session, only(outbox).id, owner="a", now=now, error="451 busy")
        found = only(outbox)
        assert (found.status, found.last_error, found.claimed_by) == ("waiting", "451 busy", None)
        assert found.next_attempt_at is not None
        assert due(outbox, found.next_attempt_at - timedelta(seconds=1)) == 0
        waits.append((found.next_attempt_at - now) / MINUTE)
        now = found.next_attempt_at
    assert waits == [2, 4, 8]
    assert pause(6) == pause(5000) == timedelta(hours=1)


def test_a_rejected_message_is_kept_with_its_reason_and_not_tried_again(outbox: Engine) -> None:
    assert claim(outbox, "a")
    with transaction(outbox) as session:
        assert mark_rejected(session, only(outbox).id, owner="a", error="550 no such user")
    assert (only(outbox).status, only(outbox).last_error) == ("failed", "550 no such user")
    assert due(outbox, NOON + 60 * MINUTE) == 0


def test_a_message_past_its_use_is_never_sent_and_shown_as_expired(outbox: Engine) -> None:
    late = message().expires_at
    assert claim(outbox, "a")
    with transaction(outbox) as session:
        assert mark_postponed(session, only(outbox).id, owner="a", now=NOON, error="451 busy")
        assert expire_messages(session, late - timedelta(seconds=1)) == 0
        assert expire_messages(session, late) == 1
    assert (only(outbox).status, only(outbox).last_error) == ("expired", "451 busy")
    assert due(outbox, late) == 0
    assert not claim(outbox, "a", NOON + 60 * MINUTE)


def test_a_claim_is_freed_after_a_quarter_of_an_hour_and_once_only(outbox: Engine) -> None:
    assert claim(outbox, "dead")
    with transaction(outbox) as session:
        assert release_claims(session, NOON + timedelta(minutes=14, seconds=59)) == 0
        assert release_claims(session, NOON + 15 * MINUTE) == 1
    assert due(outbox, NOON + 15 * MINUTE) == 1
    assert claim(outbox, "dead too", NOON + 16 * MINUTE)
    with transaction(outbox) as session:
        assert release_claims(session, NOON + 31 * MINUTE) == 1
    found = only(outbox)
    assert found.status == "failed"
    assert "may have arrived" in (found.last_error or "")
    assert due(outbox, NOON + 60 * MINUTE) == 0


def test_an_end_that_nobody_knows_counts_like_a_crash(outbox: Engine) -> None:
    for end in ("waiting", "failed"):
        assert claim(outbox, "a")
        with transaction(outbox) as session:
            assert mark_doubtful(session, only(outbox).id, owner="a", now=NOON, error="the line broke")
        assert (only(outbox).status, only(outbox).last_error) == (end, "the line broke")


def test_a_slow_sender_whose_claim_was_freed_still_spares_the_reader_a_second_copy(outbox: Engine) -> None:
    assert claim(outbox, "slow")
    with transaction(outbox) as session:
        release_claims(session, NOON + 20 * MINUTE)
        assert mark_sent(session, only(outbox).id, owner="slow", now=NOON + 21 * MINUTE)
    assert due(outbox, NOON + 22 * MINUTE) == 0
    assert only(outbox).status == "sent"


def test_oldest_messages_go_first_and_a_limit_holds(outbox: Engine) -> None:
    with transaction(outbox) as session:
        enqueue_message(session, message(key="older", created_at=NOON - MINUTE))
    with reading(outbox) as session:
        assert [found.key for found in due_messages(session, NOON)] == ["older", message().key]
        assert [found.key for found in due_messages(session, NOON, limit=1)] == ["older"]
