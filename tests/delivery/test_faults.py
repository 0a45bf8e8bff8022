"""A mail server that fails in each of the ways that RFC 5321 knows, and the outbox until its message has come to an end.

The server is aiosmtpd. Promised: a message arrives exactly once, or twice where the line broke between the server's taking it and its word.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from datetime import timedelta

import pytest
from sqlalchemy import Engine

from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.storage.database import migrate, open_database, reading, transaction
from forecaster.storage.grounds import save_ground
from forecaster.storage.mail_stops import mail_stops
from forecaster.storage.messages import StoredMessage, enqueue_message, recent_messages
from tests.delivery.send_due import send_due
from tests.delivery.servers import HANG, HANG_UP, TAKE_AND_HANG_UP, Postbox, smtp_server
from tests.storage.builders import NOON, ground, message

MINUTE = timedelta(minutes=1)
# What the server does first: how the message ends, how often it arrived, and the attempts that it took.
FAULTS = {
    "421 at MAIL": (Postbox(to_senders=["421 closing"]), "sent", 1, 2),
    "421 at RCPT": (Postbox(to_recipients=["421 closing"]), "sent", 1, 2),
    "421 after DATA": (Postbox(to_messages=["421 closing"]), "sent", 1, 2),
    "454 after DATA, three times": (Postbox(to_messages=["454 later"] * 3), "sent", 1, 4),
    "hang up before it takes the message": (Postbox(to_messages=[HANG_UP]), "sent", 1, 2),
    "hang, then hang up": (Postbox(to_messages=[HANG]), "sent", 1, 2),
    "hang up after it took the message": (Postbox(to_messages=[TAKE_AND_HANG_UP]), "sent", 2, 2),
    "hang up after it took the message, twice": (Postbox(to_messages=[TAKE_AND_HANG_UP] * 2), "failed", 2, 2),
    "550 at RCPT": (Postbox(to_recipients=["550 no such user"]), "failed", 0, 1),
    "554 after DATA": (Postbox(to_messages=["554 not wanted"]), "failed", 0, 1),
}


@pytest.fixture
def database(database_url: str) -> Iterator[Engine]:
    engine = open_database(database_url)
    migrate(engine)
    with transaction(engine) as session:
        save_ground(session, ground(), NOON)
        enqueue_message(session, message())
    yield engine
    engine.dispose()


@pytest.mark.parametrize("fault", FAULTS)
def test_a_message_ends_as_promised_whatever_the_server_does(database: Engine, fault: str) -> None:
    first, end, copies, attempts = FAULTS[fault]
    postbox = deepcopy(first)
    with smtp_server(postbox) as port:
        mailer = SmtpMailer(SmtpServer(host="127.0.0.1", port=port, security="none", timeout_s=1.0))
        for minutes in range(0, 60, 2):
            send_due(database, mailer, owner="one", now=NOON + minutes * MINUTE)
    found = stored(database)
    print(f"{fault}: {found.attempts} attempts, {len(postbox.received)} copies, {found.status}")
    assert (found.status, len(postbox.received), found.attempts) == (end, copies, attempts)
    assert len({copy["Message-ID"] for copy in postbox.messages}) <= 1, "a second copy is known as one"
    assert found.status == "sent" or found.last_error
    with reading(database) as session:
        assert bool(mail_stops(session, "hollow")) == (fault == "550 at RCPT")


def stored(database: Engine) -> StoredMessage:
    with reading(database) as session:
        (found,) = recent_messages(session, "hollow")
    return found
