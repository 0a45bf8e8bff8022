"""Mails that did not arrive are shown where people look, without the addresses of those they were for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import Engine
from starlette.testclient import TestClient

from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.grounds import save_ground
from forecaster.storage.mailed import withdraw_messages
from forecaster.storage.messages import (
    claim_message,
    due_messages,
    enqueue_message,
    expire_messages,
    mark_postponed,
    mark_rejected,
    mark_sent,
)
from forecaster.web.answers import HealthAnswer
from forecaster.web.app import create_app
from forecaster.web.mail import mail_sentences, masked
from forecaster.web.reading import MailProblem
from forecaster.web.stored import StoredReads
from tests.storage.builders import message
from tests.web import builders
from tests.web.test_pages import words

REFUSED = "the mail server refused the recipient head@ground.example: 550 <head@ground.example>: no such user"


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    opened = open_database(database_url)
    migrate(opened)
    with transaction(opened) as session:
        save_ground(session, builders.ground(), builders.NOW)
        save_cycle(session, CycleRecord("thistlefold", builders.ISSUED, builders.ISSUED, "ok", builders.FRESH))
    yield opened
    opened.dispose()


@pytest.fixture
def client(engine: Engine) -> Iterator[TestClient]:
    app = create_app(StoredReads(engine, lambda: builders.NOW), now=lambda: builders.NOW)
    with TestClient(app, base_url="http://localhost") as opened:
        yield opened


def put(engine: Engine, end: str, *, to: str = "head@ground.example", day: date = builders.TODAY) -> None:
    """One message of a day, and how it ended."""
    at = builders.NOW - (builders.TODAY - day)
    times = {"created_at": at, "not_before": at, "expires_at": at + timedelta(hours=24), "local_day": day}
    with transaction(engine) as session:
        enqueue_message(session, message(key=f"{day}/{to}/{end}", ground_id="thistlefold", recipient=to, **times))
        if end == "waiting":
            return
        (found,) = [found for found in due_messages(session, at) if found.key == f"{day}/{to}/{end}"]
        if end == "withdrawn":
            withdraw_messages(session, ())
            return
        assert claim_message(session, found.id, owner="a", now=at)
        if end == "sent":
            mark_sent(session, found.id, owner="a", now=at)
        elif end == "refused":
            mark_rejected(session, found.id, owner="a", error=REFUSED)
        else:
            mark_postponed(session, found.id, owner="a", now=at, error="no connection to the mail server mx.ground.example:25: timed out")
        if end == "late":
            assert expire_messages(session, at + timedelta(hours=24)) == 1


def test_the_ground_page_says_that_a_mail_was_refused_and_hides_the_address(engine: Engine, client: TestClient) -> None:
    put(engine, "sent", to="other@ground.example")
    assert "mail of today" not in client.get("/grounds/thistlefold").text
    put(engine, "refused")
    html = client.get("/grounds/thistlefold").text
    assert "1 mail of today was not delivered: the mail server refused the recipient h…@ground.example: 550" in words(html)
    assert "head@" not in html
    assert words(html).index("1 mail of today") < words(html).index("Main pitch"), "plain to see, not below the surfaces"


def test_the_ground_page_says_what_is_tried_again_what_came_too_late_and_what_was_taken_back(engine: Engine, client: TestClient) -> None:
    put(engine, "withdrawn", to="gone@ground.example")
    put(engine, "late", day=builders.TODAY - timedelta(days=1))
    put(engine, "put off")
    put(engine, "put off", to="second@ground.example")
    text = words(client.get("/grounds/thistlefold").text)
    reason = "no connection to the mail server mx.ground.example:25: timed out"
    assert f"2 mails of today have not gone out yet: {reason}. They are tried again." in text
    assert f"1 mail of Wednesday 9 September was not sent: too late to be of use (before that: {reason})." in text
    assert "1 mail of today was not sent: its ground or its recipient is no longer in the configuration." in text


def test_what_is_older_than_yesterday_is_for_the_health_page_alone(engine: Engine, client: TestClient) -> None:
    put(engine, "refused", day=builders.TODAY - timedelta(days=3))
    assert "not delivered" not in client.get("/grounds/thistlefold").text
    (ground,) = HealthAnswer.model_validate(client.get("/api/v1/health").json()).grounds
    assert ground.mail.failed == 1


def test_health_counts_a_week_and_tells_the_newest_problem_without_the_address(engine: Engine, client: TestClient) -> None:
    for end in ("sent", "refused", "late"):
        put(engine, end, day=builders.TODAY - timedelta(days=2))
    put(engine, "refused", day=builders.TODAY - timedelta(days=9))
    put(engine, "waiting", to="second@ground.example")
    put(engine, "refused")
    response = client.get("/api/v1/health")
    assert response.status_code == 200, "a mail that is not delivered does not make the outlooks late"
    (ground,) = HealthAnswer.model_validate(response.json()).grounds
    mail = ground.mail
    assert (mail.since, mail.waiting, mail.sent, mail.failed, mail.expired) == (date(2026, 9, 4), 1, 1, 2, 1)
    assert mail.newest_problem is not None
    assert (mail.newest_problem.local_day, mail.newest_problem.end) == (builders.TODAY, "failed")
    assert mail.newest_problem.recipient == "h…@ground.example"
    assert "550" in mail.newest_problem.reason
    assert "head@" not in response.text


def test_without_a_problem_there_is_none(client: TestClient) -> None:
    (ground,) = HealthAnswer.model_validate(client.get("/api/v1/health").json()).grounds
    assert ground.mail.newest_problem is None


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("head@example.org", "h…@example.org"),
        ("a@example.org", "…@example.org"),
        ("the recipient 'jo.o+x@b.example' and <ö@c.example>;", "the recipient 'j…@b.example' and <…@c.example>;"),
        ("timed out", "timed out"),
    ],
)
def test_addresses_are_masked_wherever_they_stand(text: str, shown: str) -> None:
    assert masked(text) == shown


def test_equal_problems_are_counted_and_others_stand_apart() -> None:
    one = MailProblem(builders.TODAY, "failed", "h…@a.example", "the mail server refused the message: 554 spam")
    sentences = mail_sentences([one, replace(one, recipient="b"), replace(one, reason="")], builders.TODAY)
    assert sentences == (
        "2 mails of today were not delivered: the mail server refused the message: 554 spam.",
        "1 mail of today was not delivered: nobody knows why.",
    )
