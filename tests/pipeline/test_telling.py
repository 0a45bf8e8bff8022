"""Who is told what: wishes, immediate messages, quiet hours, and addresses that are off."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest

from forecaster.alerts.decide import EpisodeDecision, decide_episodes
from forecaster.alerts.digest import DigestInputs, build_digest
from forecaster.alerts.mailing import newly_severe
from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.ground.ground import Recipient
from forecaster.pipeline.cycle import register_grounds
from forecaster.pipeline.outgoing import send_due
from forecaster.pipeline.telling import Telling, enqueue_digest, enqueue_notices, withdraw_overtaken
from forecaster.quantities import Severity
from forecaster.storage.database import reading, transaction
from forecaster.storage.mail_stops import mail_stops, resume_mail, stop_mail
from forecaster.storage.messages import StoredMessage, recent_messages
from tests.alerts.builders import RULES, ground, outlook, signal
from tests.delivery.servers import Postbox, smtp_server
from tests.pipeline.conftest import Service
from tests.risk.builders import FRESH, TODAY

EVENING = datetime(2026, 9, 28, 20, 30, tzinfo=UTC)  # 21:30 at the ground, in Europe/London
READER = Recipient("head", "head@example.org", time(6))
SEVERE = outlook(signal(severity=Severity.SEVERE, cautions=("Product label first.",)), name="main-pitch")


@pytest.fixture
def told(service: Service) -> Service:
    """A service whose people the test chooses, at half past nine in the evening."""
    register_grounds(service.context())
    service.now = EVENING
    return service


def people(service: Service, *recipients: Recipient) -> Service:
    service.configuration = replace(service.configuration, grounds=(replace(service.ground, recipients=recipients),))
    return service


def raised(service: Service, *open_now, of=SEVERE) -> EpisodeDecision:
    return decide_episodes(open_now, [of], rules=RULES, today=TODAY, now=service.now)


def telling(service: Service) -> Telling:
    return Telling(service.ground, "https://turf.example.org", service.now, ahead_minutes=180)


def notify(service: Service, *, of=SEVERE) -> int:
    with transaction(service.engine) as session:
        severe = newly_severe({}, raised(service, of=of))
        return enqueue_notices(session, telling(service), ground("main-pitch"), severe, [of], FRESH, told=frozenset())


def digest(service: Service, *, changed: bool) -> frozenset[str]:
    inputs = DigestInputs(ground("main-pitch"), (SEVERE,), (SEVERE,), EpisodeDecision(), FRESH, None, service.now)
    with transaction(service.engine) as session:
        return enqueue_digest(session, telling(service), build_digest(inputs), changed=changed)


def stored(service: Service) -> tuple[StoredMessage, ...]:
    with reading(service.engine) as session:
        return recent_messages(session, service.ground.id)


def test_what_is_newly_severe_is_told_at_once_and_once_a_day(told: Service) -> None:
    people(told, READER)
    assert notify(told) == 1
    assert notify(told) == 0
    assert send_due(told.context()) == {"sent": 1}
    (mail,) = told.mails()
    assert mail["Subject"] == f"[Sample] Brackenholt: newly Severe: rings showing ({SEVERE.surface_name})"
    text = " ".join(mail.get_body(("plain",)).get_content().split())
    for words in (
        "Rings showing (Severe, likely)",
        "Contrast in 0 days.",
        "Do: Walk the rings.",
        "Product label first.",
        "walk the ground",
    ):
        assert words in text
    told.wait(hours=3)  # the next local day
    assert notify(told) == 1


def test_an_alert_that_is_not_severe_waits_for_the_morning(told: Service) -> None:
    people(told, READER)
    assert notify(told, of=outlook(signal(severity=Severity.MODERATE), name="main-pitch")) == 0
    assert stored(told) == ()


def test_it_is_held_until_the_quiet_hours_end(told: Service) -> None:
    people(told, replace(READER, quiet_from=time(21), quiet_until=time(5, 30)))
    assert notify(told) == 1
    assert send_due(told.context()) == {}
    told.now = datetime(2026, 9, 29, 4, 30, tzinfo=UTC)
    assert notify(told) == 0, "the day of the message is the day on which it is sent"
    assert send_due(told.context()) == {"sent": 1}


def test_what_is_over_by_then_is_not_sent_and_says_so(told: Service) -> None:
    people(told, replace(READER, quiet_from=time(21), quiet_until=time(5, 30)))
    notify(told)
    episodes = raised(told).open_episodes
    eased = raised(told, *episodes, of=outlook(signal(severity=Severity.MINOR), name="main-pitch"))
    with transaction(told.engine) as session:
        assert withdraw_overtaken(session, told.ground.id, raised(told)) == 0, "still severe"
        assert withdraw_overtaken(session, told.ground.id, eased) == 1
    told.now += timedelta(hours=9)
    assert send_due(told.context()) == {}
    (message,) = stored(told)
    assert (message.status, message.last_error) == ("expired", "overtaken: what it told was no longer so when the quiet hours ended")


def test_the_message_of_the_day_takes_the_place_of_one_that_waits_for_the_same_morning(told: Service) -> None:
    people(told, replace(READER, quiet_from=time(21), quiet_until=time(6)))
    notify(told)
    told.now = datetime(2026, 9, 29, 4, 0, tzinfo=UTC)
    assert digest(told, changed=False) == {READER.email}
    assert {(m.kind, m.status) for m in stored(told)} == {("digest", "waiting"), ("immediate", "expired")}
    assert any(m.last_error == "overtaken: the message of the day tells it" for m in stored(told))


def test_a_late_message_of_the_day_is_held_over_the_quiet_hours_and_never_sent_past_its_use(told: Service) -> None:
    people(told, replace(READER, quiet_from=time(21), quiet_until=time(6)))
    assert digest(told, changed=False)
    assert send_due(told.context()) == {}
    told.now = datetime(2026, 9, 29, 5, 0, tzinfo=UTC)  # 06:00 local: the next day's is due
    assert send_due(told.context()) == {"expired": 1}
    assert told.mails() == []


def test_a_digest_five_days_old_is_never_sent_and_shown_as_not_sent(told: Service) -> None:
    people(told, READER)
    digest(told, changed=False)
    told.wait(days=5)
    assert send_due(told.context()) == {"expired": 1}
    assert told.mails() == []
    assert [message.status for message in stored(told)] == ["expired"]


def test_who_wants_changes_is_left_alone_without_any_and_hears_after_a_week(told: Service) -> None:
    people(told, replace(READER, mail="on change"))
    assert digest(told, changed=False), "the first one"
    send_due(told.context())
    for day in range(1, 9):
        told.wait(days=1)
        assert bool(digest(told, changed=False)) == (day == 7), day
        send_due(told.context())
    told.wait(days=1)
    assert digest(told, changed=True)
    assert [message.kind for message in stored(told)] == ["digest", "sign of life", "digest"]
    sign = stored(told)[1]
    assert "Nothing has changed since your last mail, of Monday 28 September" in " ".join(sign.text.split())


def test_who_wants_changes_gets_what_was_lost_with_a_message_that_did_not_go_out(told: Service) -> None:
    people(told, replace(READER, mail="on change"))
    digest(told, changed=True)
    told.wait(days=1)
    assert send_due(told.context()) == {"expired": 1}
    assert digest(told, changed=False) == {READER.email}


def test_who_wants_only_what_is_severe_gets_that_and_a_sign_of_life(told: Service) -> None:
    people(told, replace(READER, mail="severe only"))
    assert digest(told, changed=True), "the first: it says that others come rarely"
    assert "when something is newly severe" in " ".join(stored(told)[0].text.split())
    told.wait(days=1)
    assert not digest(told, changed=True)
    assert notify(told) == 1
    told.wait(days=6)
    assert not digest(told, changed=True)
    told.wait(days=1)
    assert digest(told, changed=True)
    assert [message.kind for message in stored(told)] == ["sign of life", "immediate", "sign of life"]


def test_an_address_that_the_server_refuses_gets_no_more_mail_and_the_others_do(told: Service) -> None:
    people(told, READER, replace(READER, id="other", email="other@example.org"))
    digest(told, changed=False)
    notify(told)
    postbox = Postbox(to_recipients=["550 5.1.1 no such user"])
    with smtp_server(postbox) as port:
        mailer = SmtpMailer(SmtpServer(host="127.0.0.1", port=port, security="none", timeout_s=5.0))
        ends = send_due(replace(told.context(), mailer=mailer))
        assert ends == {"address refused": 1, "sent": 2}
        told.wait(days=1)
        assert digest(told, changed=False) == {"other@example.org"}
        with transaction(told.engine) as session:
            (stop,) = mail_stops(session, told.ground.id)
            assert (stop.recipient, stop.reason) == ("head@example.org", "refused")
            assert "550 5.1.1 no such user" in stop.detail
            assert resume_mail(session, told.ground.id, "Head@example.org")
            assert not resume_mail(session, told.ground.id, "Head@example.org")
        assert digest(told, changed=False) == {READER.email}
    refused = [m for m in stored(told) if m.recipient == READER.email and m.local_day == TODAY]
    assert {(m.kind, m.status) for m in refused} == {("digest", "failed"), ("immediate", "expired")}


def test_a_server_that_lets_nobody_in_disables_no_address(told: Service) -> None:
    people(told, READER)
    digest(told, changed=False)
    postbox = Postbox()
    with smtp_server(postbox, authenticator=postbox.authenticate, auth_require_tls=False) as port:
        server = SmtpServer(host="127.0.0.1", port=port, security="none", user="turf", password="wrong", timeout_s=5.0)
        assert send_due(replace(told.context(), mailer=SmtpMailer(server))) == {"postponed": 1}
    with reading(told.engine) as session:
        assert mail_stops(session, told.ground.id) == ()
    assert [m.status for m in stored(told)] == ["waiting"]


def test_an_address_taken_off_gets_nothing_and_what_waits_for_it_is_taken_back(told: Service) -> None:
    people(told, READER)
    digest(told, changed=False)
    with transaction(told.engine) as session:
        assert stop_mail(session, told.ground.id, "HEAD@example.org", "unsubscribed", now=told.now)
        assert not stop_mail(session, told.ground.id, "head@example.org", "refused", now=told.now), "the first reason stays"
    assert send_due(told.context()) == {}
    told.wait(days=1)
    assert digest(told, changed=True) == frozenset()
    assert notify(told) == 0
    (message,) = stored(told)
    assert (message.status, message.last_error) == ("expired", "the address was taken off by its owner")
