"""A run that fails: who is told what, and when nobody need be."""

from __future__ import annotations

from collections.abc import Callable
from email.message import EmailMessage

import pytest

from forecaster.pipeline import inputs as inputs_module
from forecaster.storage.database import transaction
from forecaster.storage.models import MessageRow
from forecaster.web.stored import StoredReads
from tests.pipeline.conftest import Left, Service


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch, after_one_cycle: Callable[[str], Left], database_kind: str) -> None:
    """Every run fails from now on, by a fault of the program; but not the one good cycle that tests begin after."""
    after_one_cycle(database_kind)

    def fails(*_args: object, **_kwargs: object) -> None:
        raise ZeroDivisionError("invented")

    monkeypatch.setattr(inputs_module, "run_soil", fails)


def told_of_failure(service: Service) -> list[EmailMessage]:
    return [mail for mail in service.mails() if "failed" in mail["Subject"]]


def words(mail: EmailMessage) -> str:
    return " ".join(mail.get_body(("plain",)).get_content().split())


@pytest.mark.usefixtures("broken")
def test_people_who_have_todays_message_are_not_told_at_ten_but_page_and_health_show_it(ran_once: Service) -> None:
    service = ran_once
    assert len(service.mails()) == 2
    service.wait(hours=4)
    assert service.cycle().status == "failed"
    assert len(service.mails()) == 2
    last = StoredReads(service.engine, lambda: service.now).last_cycle(service.ground.id)
    assert last is not None
    assert "a fault of the program (ZeroDivisionError)" in (last.problem or "")


@pytest.mark.usefixtures("broken")
def test_when_nothing_has_come_for_half_a_day_they_are_told_what_happened_once_and_the_weather_is_not_blamed(ran_once: Service) -> None:
    service = ran_once
    for _ in range(5):
        service.wait(hours=3)
        service.cycle()
    told = told_of_failure(service)
    assert [mail["To"] for mail in told] == sorted(recipient.email for recipient in service.ground.recipients)
    for mail in told:
        assert mail["Subject"] == f"{service.ground.name}: no new outlook, the program's run failed"
        text = words(mail)
        assert (
            f"The run of this program for {service.ground.name} today at 18:00 failed: a fault of the program (ZeroDivisionError)" in text
        )
        assert "The last outlook is of today, 06:00" in text
        assert "https://turf.example.org/grounds/brackenholt" in text
        assert "weather" not in text.lower()
        assert "does not mean that all is well" in text
        assert "turf.example.org/grounds/brackenholt" in mail.get_body(("html",)).get_content()


@pytest.mark.usefixtures("broken")
def test_the_next_morning_they_are_told_at_their_hour_of_which_day_the_last_outlook_is(ran_once: Service) -> None:
    service = ran_once
    service.wait(hours=23)
    service.cycle()
    assert told_of_failure(service) == []
    service.wait(hours=1)
    service.cycle()
    assert len(told_of_failure(service)) == 2
    assert "The last outlook is of Thursday 20 August, 06:00" in words(told_of_failure(service)[0])


@pytest.mark.usefixtures("broken")
def test_where_there_has_never_been_an_outlook_it_says_so(service: Service) -> None:
    assert service.cycle().status == "failed"
    (first, _) = told_of_failure(service)
    assert "There is no outlook of this ground yet, so nothing is known of its surfaces." in words(first)


@pytest.mark.usefixtures("broken")
def test_one_whose_message_of_today_never_went_out_is_told_at_once(ran_once: Service) -> None:
    service = ran_once
    missed = service.ground.recipients[0].email
    with transaction(service.engine) as session:
        session.query(MessageRow).where(MessageRow.recipient == missed).update({"status": "expired", "sent_at": None})
    service.wait(hours=4)
    service.cycle()
    assert [mail["To"] for mail in told_of_failure(service)] == [missed]
