"""Taking an address off by the link in a mail (RFC 8058): looking changes nothing, since mail programs and scanners follow links."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine
from starlette.testclient import TestClient

from forecaster.pipeline.mail_links import off_link
from forecaster.storage.database import migrate, open_database, reading, transaction
from forecaster.storage.grounds import retire_other_grounds, save_ground
from forecaster.storage.mail_stops import mail_stops, stop_mail
from forecaster.web.access import Doors
from forecaster.web.app import create_app
from forecaster.web.mail_desk import StoredMailDesk
from forecaster.web.stored import StoredReads
from tests.web import builders
from tests.web.test_pages import words

PUBLIC = "https://turf.example.org"


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    opened = open_database(database_url)
    migrate(opened)
    with transaction(opened) as session:
        save_ground(session, builders.ground(), builders.NOW)
    yield opened
    opened.dispose()


@pytest.fixture
def client(engine: Engine) -> Iterator[TestClient]:
    app = create_app(
        StoredReads(engine, lambda: builders.NOW),
        mail_desk=StoredMailDesk(engine),
        doors=Doors(keys_needed=True, public_url=PUBLIC),
        now=lambda: builders.NOW,
    )
    with TestClient(app, base_url=PUBLIC) as opened:
        yield opened


@pytest.fixture
def link(engine: Engine) -> str:
    with transaction(engine) as session:
        made = off_link(session, PUBLIC, "thistlefold", "head@ground.example", now=builders.NOW)
        assert made == off_link(session, PUBLIC, "thistlefold", "head@ground.example", now=builders.NOW), (
            "a second copy of a mail is equal to the byte"
        )
    assert made is not None
    return made


def off(engine: Engine) -> list[str]:
    with reading(engine) as session:
        return [stop.recipient for stop in mail_stops(session, "thistlefold")]


def test_looking_shows_a_button_and_changes_nothing(engine: Engine, client: TestClient, link: str) -> None:
    for _ in range(3):
        page = client.get(link)
        assert client.head(link).status_code == 200
    assert page.status_code == 200
    assert '<form method="post">' in page.text
    assert "h…@ground.example" in words(page.text)
    assert "head@ground.example" not in page.text
    assert "form-action 'self'" in page.headers["Content-Security-Policy"]
    assert off(engine) == []


def test_one_post_takes_the_address_off_and_another_changes_nothing(engine: Engine, client: TestClient, link: str) -> None:
    """RFC 8058 section 3.2: the body is List-Unsubscribe=One-Click, with neither cookie nor page before it, and no redirect after."""
    for _ in range(2):
        answer = client.post(link, data={"List-Unsubscribe": "One-Click"}, follow_redirects=False)
        assert answer.status_code == 200
        assert "is taken off" in words(answer.text)
    assert off(engine) == ["head@ground.example"]
    assert "is off already" in words(client.get(link).text)


def one_letter_changed(word: str) -> str:
    """Not the last letter: of its bits some mean nothing (RFC 4648, section 3.5)."""
    return word[:-5] + ("A" if word[-5] != "A" else "B") + word[-4:]


@pytest.mark.parametrize("spoil", [one_letter_changed, lambda w: w[:10], lambda w: "x" + w, lambda w: "a.b"])
def test_a_link_that_nobody_signed_does_nothing(engine: Engine, client: TestClient, link: str, spoil) -> None:
    word = link.rpartition("/")[2]
    for answer in (client.get(f"/mail/off/{spoil(word)}"), client.post(f"/mail/off/{spoil(word)}")):
        assert answer.status_code == 404
        assert "takes no address off" in words(answer.text)
    assert off(engine) == []


@pytest.mark.parametrize("public_url", [None, "http://turf.example.org"])
def test_without_https_there_is_no_link(engine: Engine, public_url: str | None) -> None:
    with transaction(engine) as session:
        assert off_link(session, public_url, "thistlefold", "head@ground.example", now=builders.NOW) is None


def test_the_ground_page_and_health_name_what_is_off_without_the_address(engine: Engine) -> None:
    with transaction(engine) as session:
        stop_mail(session, "thistlefold", "head@ground.example", "unsubscribed", now=builders.NOW)
        refused = "the mail server refused the recipient other@ground.example: 550 no such user"
        stop_mail(session, "thistlefold", "other@ground.example", "refused", now=builders.NOW, detail=refused)
    client = TestClient(create_app(StoredReads(engine, lambda: builders.NOW), now=lambda: builders.NOW), base_url="http://localhost")
    html = client.get("/grounds/thistlefold").text
    assert "h…@ground.example gets no mail of this ground any more: taken off on" in words(html)
    assert "the mail server refused the recipient o…@ground.example: 550 no such user. Whoever runs this program puts it back" in words(
        html
    )
    answer = client.get("/api/v1/health")
    (ground,) = answer.json()["grounds"]
    assert [one["reason"] for one in ground["mail"]["off"]] == ["unsubscribed", "refused"]
    assert "head@" not in html + answer.text
    assert "other@" not in html + answer.text


def test_the_wish_holds_for_a_ground_that_is_no_longer_looked_after(engine: Engine, client: TestClient, link: str) -> None:
    with transaction(engine) as session:
        retire_other_grounds(session, [], builders.NOW)
    answer = client.post(link.removeprefix(PUBLIC), data={"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert "is taken off" in answer.text
    assert off(engine) == ["head@ground.example"]
