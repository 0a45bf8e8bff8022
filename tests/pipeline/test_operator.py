"""Whoever runs the program is told through the same outbox as everybody else: once per key, and not at all where nobody is named."""

from __future__ import annotations

import logging
from datetime import timedelta

import pytest

from forecaster.pipeline.cycle import register_grounds
from forecaster.pipeline.operator import tell_operator
from forecaster.pipeline.outgoing import send_due
from forecaster.storage.database import reading, transaction
from forecaster.storage.messages import message_status
from forecaster.storage.retention import prune
from tests.pipeline.conftest import Service

OPERATOR = "operator@example.org"


def tell(service: Service, key: str = "service/day") -> bool:
    with transaction(service.engine) as session:
        paragraphs = ["The service does not let us in.", "Check the key."]
        return tell_operator(session, service.context(), "The service shuts us out", paragraphs, key=key, now=service.now)


def status(service: Service, key: str = "service/day") -> str | None:
    with reading(service.engine) as session:
        return message_status(session, f"operator/{key}")


def test_a_key_is_told_once_and_at_once(service: Service) -> None:
    service.operator_email = OPERATOR
    register_grounds(service.context())
    assert tell(service)
    assert not tell(service)
    assert tell(service, "service/next day")
    assert send_due(service.context()) == {"sent": 2}
    mail = service.mails()[0]
    assert (mail["To"], mail["Subject"]) == (OPERATOR, "The service shuts us out")
    text = mail.get_body(("plain",)).get_content()
    assert "does not let us in." in text
    assert "https://turf.example.org/" in text


def test_where_nobody_is_named_the_log_says_it(service: Service, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        assert not tell(service)
    assert "FORECASTER_OPERATOR_EMAIL" in caplog.text
    assert "does not let us in" in caplog.text
    assert status(service) is None


def test_a_waiting_message_stays_when_grounds_are_registered_and_goes_with_its_reader(service: Service) -> None:
    service.operator_email = OPERATOR
    tell(service)
    register_grounds(service.context())
    assert status(service) == "waiting"
    service.operator_email = "another@example.org"
    register_grounds(service.context())
    assert status(service) == "expired"


def test_ended_ones_are_dropped_with_those_of_the_grounds(service: Service) -> None:
    service.operator_email = OPERATOR
    register_grounds(service.context())
    tell(service)
    send_due(service.context())
    with transaction(service.engine) as session:
        prune(session, service.ground.id, service.now + timedelta(days=399))
    assert status(service) == "sent"
    with transaction(service.engine) as session:
        prune(session, service.ground.id, service.now + timedelta(days=403))
    assert status(service) is None
