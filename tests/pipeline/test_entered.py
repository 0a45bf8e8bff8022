"""What people enter takes part in the next cycle."""

from __future__ import annotations

from datetime import timedelta

from forecaster.pipeline.cycle import register_grounds
from forecaster.records import FixtureEntry, RecordKind, RingEntry
from forecaster.storage.database import transaction
from forecaster.storage.records import NewRecord, add_record, delete_record
from forecaster.web.recorded import StoredRecords
from tests.pipeline.conftest import Service


def enter(service: Service, kind: RecordKind, entry: RingEntry | FixtureEntry, identity: str) -> None:
    new = NewRecord(identity, service.ground.id, kind, entry.surface_id, service.now, entry.model_dump(mode="json"), None)
    with transaction(service.engine) as session:
        add_record(session, new, by="Ada", now=service.now)


def ring(service: Service, surface_id: str) -> RingEntry:
    return RingEntry(
        surface_id=surface_id,
        type=1,
        centre_x_m=10.0,
        centre_y_m=10.0,
        diameter_m=3.0,
        band_width_m=0.25,
        surveyed=service.now.date(),
        by="Ada",
    )


def test_a_ring_that_was_entered_is_in_the_next_outlook_and_one_that_was_deleted_is_not(ran_once: Service) -> None:
    service = ran_once
    before = service.outlooks()["bowling-green"]
    enter(service, "ring", ring(service, "bowling-green"), "r-new")
    enter(service, "ring", ring(service, "dug-up"), "r-gone")
    service.now += timedelta(hours=1)
    service.cycle()
    after = service.outlooks()["bowling-green"]
    assert [r.id for r in before.rings] == []
    assert [r.id for r in after.rings] == ["r-new"]
    assert after.notes != before.notes  # it no longer says that no ring was surveyed
    with transaction(service.engine) as session:
        delete_record(session, service.ground.id, "ring", "r-new", version=1, by="Ada", now=service.now)
    service.now += timedelta(hours=1)
    service.cycle()
    assert service.outlooks()["bowling-green"].rings == ()


def test_a_fixture_that_was_entered_stands_in_the_mail(service: Service) -> None:
    register_grounds(service.context())
    starts = service.now + timedelta(hours=4)
    fixture = FixtureEntry(
        surface_id="bowling-green", title="Visitors from abroad", starts_at_utc=starts, ends_at_utc=starts + timedelta(hours=2), by="office"
    )
    enter(service, "fixture", fixture, "f-new")
    service.cycle()
    assert "Visitors from abroad" in service.mails()[0].get_body(("plain",)).get_content()  # type: ignore[union-attr]


def test_what_was_said_to_an_alert_outlives_the_next_cycle(ran_once: Service) -> None:
    service = ran_once
    alert = service.alerts()[0]
    records = StoredRecords(service.engine, lambda: service.now)
    marked = records.acknowledge(service.ground.id, alert.id, by="Ada", note="")
    service.now += timedelta(hours=1)
    service.cycle()
    after = next(found for found in service.alerts() if found.id == alert.id)
    assert after.acknowledgement == marked.acknowledgement
    assert after.acknowledgement is not None
    assert after.acknowledgement.by == "Ada"
