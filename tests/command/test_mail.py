"""``forecaster mail`` and ``forecaster send-test``, as a person runs them."""

from __future__ import annotations

import ssl
from pathlib import Path

import pytest
import trustme

from tests.command.conftest import invoke
from tests.delivery.servers import Postbox, smtp_server

READER = "fixtures@example.org"


def test_an_address_is_taken_off_and_put_back_and_the_list_says_so(run_once: Path) -> None:
    data = ("--data", str(run_once))
    assert "fixtures@example.org" in invoke("mail", "list", *data).stdout
    assert invoke("mail", "off", READER, *data).stdout == f"Brackenholt Sports Ground (invented): {READER} gets no more mail.\n"
    assert "was off already" in invoke("mail", "off", READER.upper(), *data).stdout
    listed = invoke("mail", "list", *data).stdout
    assert "taken off" in listed
    assert "21:00 to 05:30" in listed
    assert "gets mail again" in invoke("mail", "on", READER, *data).stdout
    assert "was not off" in invoke("mail", "on", READER, *data).stdout
    assert "taken off" not in invoke("mail", "list", *data).stdout


def test_an_address_that_nobody_has_is_a_clear_error(run_once: Path) -> None:
    result = invoke("mail", "off", "nobody@example.org", "--data", str(run_once))
    assert result.exit_code == 1
    assert "no ground has a recipient 'nobody@example.org'" in result.stderr
    assert "forecaster mail list" in result.stderr


def test_a_test_mail_goes_into_the_folder_where_no_server_is_named(tmp_path: Path) -> None:
    result = invoke("send-test", "me@example.org", FORECASTER_MAIL_FOLDER=str(tmp_path))
    assert result.exit_code == 0
    assert "No mail server is named" in result.stdout
    assert len(list(tmp_path.glob("send-test-*.eml"))) == 1


def test_with_a_ground_everyone_who_gets_its_mail_gets_the_test_and_what_is_wrong_is_said(tmp_path: Path) -> None:
    result = invoke("send-test", "--ground", "brackenholt", FORECASTER_MAIL_FOLDER=str(tmp_path))
    assert result.exit_code == 0, result.output
    assert len(list(tmp_path.glob("send-test-*.eml"))) == 2
    unknown = invoke("send-test", "--ground", "brakenholt", FORECASTER_MAIL_FOLDER=str(tmp_path))
    assert unknown.exit_code != 0
    assert "brackenholt" in unknown.output
    for words in ((), ("me@example.org", "--ground", "brackenholt")):
        assert "either an ADDRESS, or --ground ID" in " ".join(invoke("send-test", *words).output.replace("│", " ").split())


def server(port: int, **more: str) -> dict[str, str]:
    address = {"FORECASTER_SMTP_HOST": "127.0.0.1", "FORECASTER_SMTP_PORT": str(port), "FORECASTER_MAIL_FROM": "turf@example.org"}
    return address | {"FORECASTER_SMTP_TLS": "none"} | more


def test_every_step_is_told_in_order() -> None:
    postbox = Postbox()
    with smtp_server(postbox) as port:
        result = invoke("send-test", "me@example.org", **server(port))
    assert result.exit_code == 0
    assert result.stdout.splitlines()[:6] == [
        f"Connected to 127.0.0.1:{port}.",
        "The line is not encrypted (FORECASTER_SMTP_TLS is none).",
        "Not signed in: no user is set (FORECASTER_SMTP_USER).",
        "The server takes mail from turf@example.org.",
        "The server takes mail for me@example.org.",
        "The server took the message: 250 taken.",
    ]
    (mail,) = postbox.messages
    assert mail["To"] == "me@example.org"
    assert mail["List-Unsubscribe"] is None


@pytest.mark.parametrize(
    ("postbox", "said", "advice"),
    [
        (Postbox(to_recipients=["550 5.1.1 no such user"]), "550 5.1.1 no such user", "Check the address"),
        (Postbox(to_senders=["550 5.7.1 not your name"]), "550 5.7.1 not your name", "FORECASTER_MAIL_FROM"),
        (Postbox(to_messages=["451 busy"]), "451 busy", "asked to wait"),
    ],
)
def test_a_refusal_is_told_in_the_servers_words_with_what_to_do(postbox: Postbox, said: str, advice: str) -> None:
    with smtp_server(postbox) as port:
        result = invoke("send-test", "me@example.org", **server(port))
    assert result.exit_code == 1
    assert said in result.stdout
    (what_to_do,) = [line for line in result.stdout.splitlines() if line.startswith("What to do: ")]
    assert advice in what_to_do
    assert "outbox" not in what_to_do


def test_a_server_that_is_not_there_and_a_certificate_that_is_not_trusted_are_told_apart() -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    trustme.CA().issue_cert("127.0.0.1").configure_cert(context)
    with smtp_server(Postbox(), starttls=context) as port:
        untrusted = invoke("send-test", "me@example.org", **server(port, FORECASTER_SMTP_TLS="starttls"))
    gone = invoke("send-test", "me@example.org", **server(port))
    assert untrusted.exit_code == gone.exit_code == 1
    assert "as its certificate does" in untrusted.stdout
    assert "Check the mail server's name, port" in gone.stdout


def test_private_feed_addresses_stay_the_same_until_they_are_revoked(run_once: Path) -> None:
    data = ("brackenholt", "--data", str(run_once))
    first = invoke("feed-address", *data).stdout.splitlines()
    assert [line.rpartition("/")[2] for line in first] == ["calendar.ics", "alerts.atom", "cap.atom"]
    assert all(line.startswith("http://127.0.0.1:8470/feeds/private/brackenholt/") for line in first)
    assert invoke("feed-address", *data).stdout.splitlines() == first
    assert "Revoked" in invoke("feed-address", *data, "--revoke").stdout
    assert "There were none" in invoke("feed-address", *data, "--revoke").stdout
    assert invoke("feed-address", *data).stdout.splitlines() != first
    assert "Configured are: brackenholt" in invoke("feed-address", "nowhere", "--data", str(run_once)).stderr
