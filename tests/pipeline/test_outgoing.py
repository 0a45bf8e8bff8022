"""Emptying the outbox: a mail server that is slow or gone holds up neither the cycles nor, for long, the other messages."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from email.message import EmailMessage

import pytest

from forecaster.delivery.outbox import Mailer
from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.errors import DeliveryPostponed
from forecaster.pipeline.cycle import register_grounds
from forecaster.pipeline.outgoing import send_due
from forecaster.storage.database import reading, transaction
from forecaster.storage.messages import StoredMessage, count_messages, enqueue_message, recent_messages
from tests.delivery.servers import Postbox, smtp_server
from tests.pipeline.conftest import Service
from tests.storage.builders import message


class Counting:
    """Takes every message, or refuses them all for the same reason; counts how often it was asked."""

    def __init__(self, error: Exception | None = None) -> None:
        self.asked, self.error = 0, error

    def send(self, mail: EmailMessage) -> None:
        self.asked += 1
        if self.error is not None:
            raise self.error


@pytest.fixture
def waiting(service: Service) -> Service:
    """Five messages that are due."""
    register_grounds(service.context())
    with transaction(service.engine) as session:
        for number in range(5):
            enqueue_message(session, due(service, number))
    return service


def due(service: Service, number: int, **changes: object):
    times = {"created_at": service.now, "not_before": service.now, "expires_at": service.now + timedelta(days=1)}
    recipient = service.ground.recipients[0].email
    return message(**{"key": str(number), "ground_id": service.ground.id, "recipient": recipient, **times, **changes})


def send(service: Service, mailer: Mailer, **changes: float) -> dict[str, int]:
    return send_due(replace(service.context(), mailer=mailer), **changes)


def stored(service: Service) -> tuple[StoredMessage, ...]:
    with reading(service.engine) as session:
        return recent_messages(session, service.ground.id)


def test_a_mail_server_that_cannot_be_reached_is_asked_once_and_all_its_messages_wait_together(waiting: Service) -> None:
    with smtp_server(Postbox()) as port:
        pass
    ends = send(waiting, SmtpMailer(SmtpServer(host="127.0.0.1", port=port, security="none", timeout_s=5.0)))
    assert ends == {"postponed": 5}
    assert sorted(found.attempts for found in stored(waiting)) == [0, 0, 0, 0, 1], "only one was tried"
    assert {found.next_attempt_at for found in stored(waiting)} == {waiting.now + timedelta(minutes=2)}
    assert all("no connection to the mail server" in (found.last_error or "") for found in stored(waiting))
    waiting.wait(minutes=1)
    well_again = Counting()
    assert send(waiting, well_again) == {}
    waiting.wait(minutes=1)
    assert send(waiting, well_again) == {"sent": 5}


def test_a_server_that_refuses_the_log_in_is_asked_once(waiting: Service) -> None:
    postbox = Postbox()
    with smtp_server(postbox, authenticator=postbox.authenticate, auth_require_tls=False) as port:
        server = SmtpServer(host="127.0.0.1", port=port, security="none", user="turf", password="wrong", timeout_s=5.0)
        assert send(waiting, SmtpMailer(server)) == {"postponed": 5}
    assert sorted(found.attempts for found in stored(waiting)) == [0, 0, 0, 0, 1]


def test_a_message_that_is_to_wait_does_not_hold_up_the_others(waiting: Service) -> None:
    greylisting = Counting(DeliveryPostponed("450 greylisted"))
    assert send(waiting, greylisting) == {"postponed": 5}
    assert greylisting.asked == 5


def test_a_pass_ends_when_its_time_is_up_and_the_next_one_goes_on(waiting: Service) -> None:
    slow = Counting()
    assert [send(waiting, slow, patience_s=0.0) for _ in range(3)] == [{"sent": 1}] * 3
    assert send(waiting, slow, patience_s=60.0) == {"sent": 2}


def test_messages_of_people_and_grounds_that_were_taken_out_are_not_sent(waiting: Service) -> None:
    """Also one to an address that was only written differently stays."""
    kept, gone = waiting.ground.recipients
    other = replace(waiting.ground, id="other", name="Other ground")
    waiting.configuration = replace(waiting.configuration, grounds=(waiting.ground, other))
    register_grounds(waiting.context())
    with transaction(waiting.engine) as session:
        enqueue_message(session, due(waiting, 5, recipient=gone.email))
        enqueue_message(session, due(waiting, 6, ground_id="other"))
    ground = replace(waiting.ground, recipients=(replace(kept, email=kept.email.upper()),))
    waiting.configuration = replace(waiting.configuration, grounds=(ground,))
    register_grounds(waiting.context())
    mailer = Counting()
    assert send(waiting, mailer) == {"sent": 5}
    with reading(waiting.engine) as session:
        assert count_messages(session)["expired"] == 2
        (withdrawn,) = recent_messages(session, "other")
    assert "no longer in the configuration" in (withdrawn.last_error or "")
