"""Handing mail to a real SMTP server on loopback."""

from __future__ import annotations

import ssl
from pathlib import Path

import pytest
import trustme

from forecaster.delivery.message import compose
from forecaster.delivery.outbox import Attempt, deliver
from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.errors import DeliveryDoubtful, DeliveryPostponed, DeliveryRejected
from tests.delivery.examples import letter
from tests.delivery.servers import Postbox, silent_after_data, smtp_server


def mailer(port: int, **changes: object) -> SmtpMailer:
    values: dict[str, object] = {"host": "127.0.0.1", "port": port, "security": "none", "timeout_s": 5.0}
    return SmtpMailer(SmtpServer(**values | changes))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture(scope="module")
def authority_file(authority: trustme.CA, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("authority") / "authority.pem"
    authority.cert_pem.write_to_path(path)
    return path


@pytest.fixture(scope="module")
def certified(authority: trustme.CA) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    return context


def test_a_message_arrives_as_it_was_written() -> None:
    postbox = Postbox()
    text = "One.\n.\n..two dots\n.Three\n"
    with smtp_server(postbox) as port:
        mailer(port).send(compose(letter(text=text)))
    (message,) = postbox.messages
    assert message["Message-ID"] == compose(letter())["Message-ID"]
    part = next(iter(message.walk())).get_payload(0)
    assert part.get_content().replace("\r\n", "\n") == text


def test_a_server_that_is_busy_is_asked_again_later() -> None:
    postbox = Postbox(to_messages=["451 busy, come back"])
    with smtp_server(postbox) as port:
        assert deliver(mailer(port), letter()) == Attempt("postponed", "the mail server refused the message: 451 busy, come back")
        assert deliver(mailer(port), letter()) == Attempt("sent")
    assert len(postbox.received) == 1


def test_a_greylisted_recipient_is_asked_again_later() -> None:
    postbox = Postbox(to_recipients=["450 greylisted"])
    with smtp_server(postbox) as port:
        with pytest.raises(DeliveryPostponed, match="450 greylisted") as caught:
            mailer(port).send(compose(letter()))
        mailer(port).send(compose(letter()))
    assert caught.value.hint
    assert len(postbox.received) == 1


def test_a_recipient_that_does_not_exist_is_rejected_for_good() -> None:
    postbox = Postbox(to_recipients=["550 no such user"])
    with smtp_server(postbox) as port, pytest.raises(DeliveryRejected, match=r"recipient head@ground\.example: 550 no such user"):
        mailer(port).send(compose(letter()))
    assert postbox.received == []


@pytest.mark.parametrize(
    ("answer", "end"),
    [
        # RFC 5321 section 4.2.3 for the bare codes, RFC 3463 for the enhanced ones: x.1 is the address, x.2 the mailbox, x.7 a rule.
        ("550 no such user", "address refused"),
        ("550 5.1.1 unknown mailbox", "address refused"),
        ("550 5.2.1 mailbox disabled", "address refused"),
        ("553 name not allowed", "address refused"),
        ("550 5.7.1 relaying denied", "rejected"),
        ("550 5.2.2 mailbox full", "rejected"),
        ("552 too much in the mailbox", "rejected"),
        ("554 no valid recipients", "rejected"),
        ("530 5.7.0 sign in first", "rejected"),
        ("452 4.2.2 mailbox full", "postponed"),
    ],
)
def test_only_a_mailbox_that_does_not_exist_stands_against_its_address(answer: str, end: str) -> None:
    with smtp_server(Postbox(to_recipients=[answer])) as port:
        assert deliver(mailer(port), letter()) == Attempt(end, f"the mail server refused the recipient head@ground.example: {answer}")


def test_a_sender_that_is_refused_says_nothing_against_the_message() -> None:
    with smtp_server(Postbox(to_senders=["550 5.7.1 not yours"])) as port:
        attempt = deliver(mailer(port), letter())
    assert attempt == Attempt("unreachable", "the mail server refused the sender outlook@ground.example: 550 5.7.1 not yours")


def test_a_message_that_is_refused_is_rejected_for_good() -> None:
    with smtp_server(Postbox(to_messages=["554 looks like spam"])) as port:
        attempt = deliver(mailer(port), letter())
    assert attempt == Attempt("rejected", "the mail server refused the message: 554 looks like spam")


def test_a_bad_address_never_reaches_the_server() -> None:
    postbox = Postbox()
    with smtp_server(postbox) as port:
        attempt = deliver(mailer(port), letter(recipient="head@ground.example\r\nBcc: everyone@ground.example"))
    assert attempt.end == "rejected"
    assert postbox.received == []
    assert postbox.refused == 0


def test_no_server_means_later() -> None:
    with smtp_server(Postbox()) as port:
        pass
    with pytest.raises(DeliveryPostponed, match=f"no connection to the mail server 127.0.0.1:{port}") as caught:
        mailer(port).send(compose(letter()))
    assert "stays in the outbox" in caught.value.hint


def test_a_server_that_hangs_up_before_its_last_word_leaves_doubt() -> None:
    with silent_after_data() as (port, taken), pytest.raises(DeliveryDoubtful, match="did not say"):
        mailer(port).send(compose(letter()))
    assert len(taken) == 1


def test_starttls_encrypts_before_the_log_in(certified: ssl.SSLContext, authority_file: Path) -> None:
    postbox = Postbox()
    with smtp_server(postbox, starttls=certified, authenticator=postbox.authenticate, auth_required=True) as port:
        mailer(port, security="starttls", authority=authority_file, user="turf", password="right").send(compose(letter()))
    assert postbox.encrypted == [True]
    assert postbox.users == ["turf"]


def test_tls_from_the_first_byte(certified: ssl.SSLContext, authority_file: Path) -> None:
    postbox = Postbox()
    with smtp_server(postbox, tls=certified) as port:
        mailer(port, security="tls", authority=authority_file).send(compose(letter()))
    assert len(postbox.received) == 1


def test_a_certificate_of_an_unknown_authority_is_not_trusted(certified: ssl.SSLContext) -> None:
    postbox = Postbox()
    with smtp_server(postbox, starttls=certified) as port, pytest.raises(DeliveryPostponed, match="CERTIFICATE_VERIFY_FAILED"):
        mailer(port, security="starttls").send(compose(letter()))
    assert postbox.received == []


def test_a_server_without_encryption_gets_nothing_when_encryption_is_asked_for() -> None:
    postbox = Postbox()
    with smtp_server(postbox) as port, pytest.raises(DeliveryPostponed, match="STARTTLS"):
        mailer(port, security="starttls").send(compose(letter()))
    assert postbox.received == []


def test_a_wrong_password_keeps_the_message_and_is_never_shown(certified: ssl.SSLContext, authority_file: Path) -> None:
    """A wrong password says nothing against the message: it waits until someone has corrected it."""
    postbox = Postbox()
    server = SmtpServer(host="127.0.0.1", port=1, user="turf", password="hushhush")
    assert "hushhush" not in repr(server)
    with smtp_server(postbox, starttls=certified, authenticator=postbox.authenticate, auth_required=True) as port:
        wrong = mailer(port, security="starttls", authority=authority_file, user="turf", password="hushhush")
        with pytest.raises(DeliveryPostponed, match="refused the log-in: 535") as caught:
            wrong.send(compose(letter()))
    assert "hushhush" not in caught.value.message
    assert "password" in caught.value.hint
