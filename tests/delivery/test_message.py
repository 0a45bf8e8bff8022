"""The email itself: headers, parts, and what must not get into them."""

from __future__ import annotations

from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP, default

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.delivery.message import Enclosure, compose, message_id
from forecaster.errors import DeliveryRejected
from tests.delivery.examples import letter


def sent_and_read(message: EmailMessage) -> EmailMessage:
    read = message_from_bytes(message.as_bytes(policy=SMTP), policy=default)
    assert isinstance(read, EmailMessage)
    return read


def test_a_message_has_its_headers_and_text_before_html() -> None:
    read = sent_and_read(compose(letter()))
    assert read["From"] == "Turf outlook <outlook@ground.example>"
    assert read["To"] == "head@ground.example"
    assert read["Subject"] == "Hollow Lane: rings"
    assert read["Date"].datetime.isoformat() == "2026-09-14T04:05:00+00:00"
    assert read["Auto-Submitted"] == "auto-generated"  # RFC 3834 section 5
    assert read.get_content_type() == "multipart/alternative"
    # RFC 2046 section 5.1.4: the plainest first, the richest last
    assert [part.get_content_type() for part in read.iter_parts()] == ["text/plain", "text/html"]
    assert [part.get_content().replace("\r\n", "\n") for part in read.iter_parts()] == [letter().text, letter().html]


def test_long_and_foreign_text_survives_and_lines_stay_short_enough() -> None:
    html = "<p>" + "Größe und Maß — 20 °C, " * 200 + "</p>\n"
    message = compose(letter(subject="Fußballplatz " * 20, text="Ümlaut 20 °C\n.\nafter a lone dot\n", html=html))
    raw = message.as_bytes(policy=SMTP)
    assert max(map(len, raw.split(b"\r\n"))) <= 998  # RFC 5322 section 2.1.1
    assert raw.isascii()
    read = sent_and_read(message)
    assert read["Subject"] == ("Fußballplatz " * 20).strip()
    text, page = (part.get_content().replace("\r\n", "\n") for part in read.iter_parts())
    assert text == "Ümlaut 20 °C\n.\nafter a lone dot\n"
    assert page == html


def test_the_same_letter_is_the_same_message_to_the_byte() -> None:
    assert compose(letter()).as_bytes() == compose(letter()).as_bytes()


def test_the_message_id_tells_key_and_recipient_apart() -> None:
    ids = {
        str(compose(written)["Message-ID"])
        for written in (letter(), letter(key="other"), letter(recipient="other@ground.example"), letter(subject="x", text="y", html="z"))
    }
    assert len(ids) == 3
    assert message_id("ab", "c", domain="d.example") != message_id("a", "bc", domain="d.example")
    assert str(compose(letter())["Message-ID"]).endswith("@ground.example>")


def test_the_message_id_of_a_key_never_changes() -> None:
    """The mark by which a mailbox knows a second copy: frozen, because a change would double messages in the outbox at an update.

    The digest was computed with coreutils: printf 'key\\0recipient' | sha256sum | cut -c1-20
    """
    assert message_id("digest:hollow:2026-09-14:head@ground.example", "head@ground.example", domain="ground.example") == (
        "<digest-hollow-2026-09-14-head-ground-example.e1ad9125a61b1fd1cad5@ground.example>"
    )


@pytest.mark.parametrize(
    "address",
    [
        "head@ground.example\r\nBcc: everyone@ground.example",
        "head@ground.example\nBcc: everyone@ground.example",
        "head@ground.example\u2028Bcc: everyone@ground.example",
        "Head\r\nBcc: everyone@ground.example <head@ground.example>",
        "head@ground.example, everyone@ground.example",
        "head@ground.example, Everyone <everyone@ground.example>",
        "Head <head@ground.example> <everyone@ground.example>",
        "head@ground.example> RCPT TO:<everyone@ground.example",
        "head",
        "head@",
        "@ground.example",
        "head@ground..example",
        "he ad@ground.example",
        "",
    ],
)
def test_an_address_that_is_not_one_address_is_refused(address: str) -> None:
    for role in ("sender", "recipient"):
        with pytest.raises(DeliveryRejected, match=role) as caught:
            compose(letter(**{role: address}))
        assert "\n" not in caught.value.message
        assert "\r" not in caught.value.message
        assert caught.value.hint


@given(st.text(max_size=60), st.text(max_size=30))
def test_no_subject_or_key_can_add_a_header(subject: str, key: str) -> None:
    """Whatever a surface is called, the headers are ours and no other."""
    read = sent_and_read(compose(letter(subject=subject, key=key)))
    assert set(read.keys()) == {"From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted", "MIME-Version", "Content-Type"}
    assert len(read.keys()) == 8
    assert len(list(read.iter_parts())) == 2


def test_a_header_hidden_in_a_subject_stays_a_subject() -> None:
    read = sent_and_read(compose(letter(subject="Rings\r\nBcc: everyone@ground.example\r\n\r\nBody")))
    assert read["Bcc"] is None
    assert read["Subject"] == "Rings Bcc: everyone@ground.example Body"


def test_a_domain_in_another_script_is_written_in_ascii() -> None:
    # RFC 3492 section 7 gives the way; "bücher" → "xn--bcher-kva" (memory, a widely used example)
    assert compose(letter(recipient="head@bücher.example"))["To"] == "head@xn--bcher-kva.example"


@pytest.mark.parametrize("written", ["Turf, wind and rain <a@ground.example>", '"Turf, wind and rain" <a@ground.example>'])
def test_a_name_may_hold_a_comma(written: str) -> None:
    (address,) = sent_and_read(compose(letter(sender=written)))["From"].addresses
    assert (address.display_name, address.addr_spec) == ("Turf, wind and rain", "a@ground.example")


PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(200))


def test_pictures_go_with_the_html_and_files_beside_both_forms():
    """RFC 2387 (related parts, named by Content-ID) within RFC 2046 section 5.1.4 (alternatives, the plainest first)."""
    enclosures = (
        Enclosure("main.png", "image/png", "main.day@chart.invalid", PNG),
        Enclosure("ground.ics", "text/calendar", None, b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"),
    )
    first, second = (compose(letter(enclosures=enclosures)).as_bytes() for _ in range(2))
    assert first == second, "a second copy is equal to the byte"
    mail = message_from_bytes(first, policy=default)
    assert mail.get_content_type() == "multipart/mixed"
    forms, file = mail.iter_parts()
    assert file.get_content_type() == "text/calendar"
    assert file.get_content().splitlines() == ["BEGIN:VCALENDAR", "END:VCALENDAR"]
    text, rich = forms.iter_parts()
    html, picture = rich.iter_parts()
    kinds = [part.get_content_type() for part in (text, rich, html, picture)]
    assert kinds == ["text/plain", "multipart/related", "text/html", "image/png"]
    assert picture["Content-ID"] == "<main.day@chart.invalid>"
    assert picture.get_content_disposition() == "inline"
    assert picture.get_content() == PNG


def test_long_addresses_in_headers_stay_whole_and_plain():
    """RFC 2047 section 5 allows encoded words in none of these; RFC 5322 section 2.1.1 allows lines of 998 letters."""
    link = f"https://turf.example.org/mail/off/{'aB3_-' * 40}"
    picture = Enclosure("main.png", "image/png", f"{'long-name' * 12}@chart.invalid", PNG)
    lines = compose(letter(off_link=link, enclosures=(picture,))).as_bytes(policy=SMTP).split(b"\r\n")
    assert f"List-Unsubscribe: <{link}>".encode() in lines
    assert f"Content-ID: <{picture.content_id}>".encode() in lines


def test_one_click_unsubscribe_is_offered_where_there_is_a_link_and_not_elsewhere():
    """RFC 8058 section 3.1: both headers, the second with exactly this value; RFC 2369: the address in angle brackets."""
    mail = sent_and_read(compose(letter(off_link="https://turf.example.org/mail/off/abc")))
    assert mail["List-Unsubscribe"] == "<https://turf.example.org/mail/off/abc>"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    plain = sent_and_read(compose(letter()))
    assert plain["List-Unsubscribe"] is None
    assert plain["List-Unsubscribe-Post"] is None
