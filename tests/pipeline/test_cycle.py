"""A cycle from weather to mail, on good days and on bad ones."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import delete, select, update

from forecaster.alerts.digest import build_digest
from forecaster.errors import StorageError
from forecaster.ground.ground import Recipient, WeatherChoice
from forecaster.pipeline import cycle as cycle_module
from forecaster.pipeline import inputs as inputs_module
from forecaster.pipeline import soil_run
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.outgoing import send_due
from forecaster.settings.shipped import shipped_folder
from forecaster.storage.arrays import pack_arrays, unpack_arrays
from forecaster.storage.cycles import latest_cycle
from forecaster.storage.database import reading, transaction
from forecaster.storage.episodes import open_alerts, save_episode
from forecaster.storage.messages import recent_messages
from forecaster.storage.models import SoilStateRow, WeatherIssueRow
from forecaster.storage.outlooks import latest_charts
from forecaster.storage.soil import latest_state_before
from forecaster.storage.told import last_told
from tests.pipeline.conftest import Service


def numbers(service: Service) -> dict[str, object]:
    """The outlooks without what names the run that made them."""
    left_out = {"issued_at_utc", "weather"}
    return {name: outlook.model_dump(exclude=left_out) for name, outlook in service.outlooks().items()}


class TestAGoodDay:
    @pytest.mark.draws
    def test_one_cycle_keeps_outlook_charts_alerts_and_sends_one_mail_to_each_recipient(self, service: Service) -> None:
        record = service.cycle()
        assert record.status == "ok"
        assert set(service.outlooks()) == {surface.id for surface in service.ground.surfaces}
        with reading(service.engine) as session:
            charts = latest_charts(session, service.ground.id, "main-pitch", now=service.now)
        assert set(charts) == {"water_phone", "water_wide", "ring_phone", "ring_wide"}
        assert all(chart.startswith("<svg") and "<path" in chart for chart in charts.values())
        assert service.alerts(), "late August of the sample's dry year must raise something"
        assert [mail["To"] for mail in service.mails()] == sorted(recipient.email for recipient in service.ground.recipients)

    def test_the_same_cycle_twice_changes_and_sends_nothing_new(self, ran_once: Service) -> None:
        service = ran_once
        before, alerts, mails = numbers(service), service.alerts(), len(service.mails())
        service.cycle()
        assert numbers(service) == before
        assert service.alerts() == alerts
        assert len(service.mails()) == mails

    def test_one_digest_a_local_day_however_many_cycles(self, service: Service) -> None:
        for _ in range(5):
            service.cycle()
            service.wait(hours=6)
            service.write_weather()
        days = {(message.recipient, message.local_day) for message in messages(service)}
        assert len(messages(service)) == len(days) == 2 * len(service.ground.recipients)

    def test_the_digest_waits_for_the_recipients_hour(self, service: Service) -> None:
        service.now = service.now.replace(hour=2, minute=30)  # 03:30 in London; the mail is due at 06:00
        service.write_weather()
        service.cycle()
        assert len(messages(service)) == 2, "the last cycle before the hour writes it"
        assert service.mails() == []
        service.wait(hours=2, minutes=30)
        send_due(service.context())
        assert len(service.mails()) == 2

    def test_the_message_tells_of_an_alert_that_ended_hours_before_it_was_written(self, service: Service) -> None:
        """Cycles every six hours, as a service has them: alerts end in the first cycle of a local day, mails are written at five."""
        service.now = datetime(2026, 9, 5, 5, 0, tzinfo=UTC)
        service.write_weather()
        service.cycle()
        open_before = {alert.id for alert in service.alerts()}
        with transaction(service.engine) as session:
            held, _ = open_alerts(session, service.ground.id)[0]
            gone = held.model_copy(update={"id": "gone", "rule_id": "flush-invented", "title": "Invented rule"})
            save_episode(session, gone, None)
        told = []
        for _ in range(4):
            service.wait(hours=6)
            service.write_weather()
            service.cycle()
            told.append(service.mail_text())
        ended = [alert for alert in service.alerts() if alert.id == "gone"]
        assert ended[0].ended_at_utc == datetime(2026, 9, 5, 11, 0, tzinfo=UTC)
        assert open_before
        assert "Invented rule" not in told[0]
        assert "its rule or its surface was taken out" in told[3]

    def test_changes_are_told_against_the_last_message_not_against_the_last_cycle(self, ran_once: Service) -> None:
        service = ran_once
        mailed = service.outlooks()["main-pitch"]
        service.wait(hours=12)
        service.cycle()
        evening = service.outlooks()["main-pitch"]
        assert evening.issued_at_utc > mailed.issued_at_utc
        with reading(service.engine) as session:
            told = last_told(session, service.ground.id, before=service.now.date() + timedelta(days=1))
        assert told is not None
        assert {outlook.issued_at_utc for outlook in told.outlooks} == {mailed.issued_at_utc}

    def test_a_run_that_goes_on_from_a_stored_state_gives_the_same_outlook_as_one_from_the_start(
        self, ran_once: Service, tmp_path_factory: pytest.TempPathFactory
    ) -> None:
        service = ran_once
        service.wait(days=5)
        service.write_weather()
        service.cycle()
        resumed = numbers(service)
        again = Service(tmp_path_factory.mktemp("fresh"), service.engine, service.configuration, now=service.now)
        with pytest.MonkeyPatch.context() as patch:
            # Nothing stored to go on from, and the same file from its beginning.
            patch.setattr(cycle_module, "stored_start", lambda *_args, **_kwargs: None)
            again.cycle()
        assert numbers(again) == resumed

    def test_days_that_drop_out_of_the_pull_are_bridged_by_the_stored_state(self, service: Service) -> None:
        """A forecast service hands out 92 days; the state before them lives on in the database."""
        service.write_weather(days_back=92)
        service.cycle()
        first = {outlook.simulated_from for outlook in service.outlooks().values()}
        for _ in range(4):
            service.wait(days=1)
            service.write_weather(days_back=92)
            service.cycle()
        assert {outlook.simulated_from for outlook in service.outlooks().values()} == first

    def test_after_an_upgrade_of_the_physics_states_are_spun_anew_and_no_alert_is_said_to_have_ended(
        self, ran_once: Service, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        service = ran_once
        before = {alert.id for alert in service.alerts() if alert.ended_at_utc is None}
        assert before
        service.wait(days=1)
        service.write_weather(days_back=120)
        monkeypatch.setattr("forecaster.soil.surfaces.STATE_VERSION", "of another version of the program")
        assert service.cycle().status == "ok"
        assert before <= {alert.id for alert in service.alerts() if alert.ended_at_utc is None}
        assert "has ended" not in service.mail_text()
        with reading(service.engine) as session:
            kept = session.scalars(select(SoilStateRow.fingerprint)).all()
        assert len(set(kept)) == 2, "the state of the new version beside that of the old one"

    def test_a_changed_soil_does_not_go_on_from_the_old_state(self, ran_once: Service) -> None:
        service = ran_once
        surface = service.ground.surfaces[0]
        changed = replace(surface, root_zone=replace(surface.root_zone, root_depth_m=0.3))
        ground = replace(service.ground, surfaces=(changed, *service.ground.surfaces[1:]))
        window = soil_run.window_start(service.now.date(), history_days=service.configuration.service.history_days)
        with reading(service.engine) as session:
            model = service.configuration.model
            assert soil_run.stored_start(session, service.ground, model, before=window) is not None
            assert soil_run.stored_start(session, ground, model, before=window) is None


class TestAStoredStateThatCannotBeUsed:
    @staticmethod
    def repack(change: Callable[[dict[str, np.ndarray]], object]) -> Callable[[bytes], bytes]:
        def changed(blob: bytes) -> bytes:
            arrays = unpack_arrays(blob)
            change(arrays)
            return pack_arrays(arrays)

        return changed

    DAMAGE = (
        lambda blob: b"damaged",
        repack(lambda arrays: arrays.pop("green_cover")),
        repack(lambda arrays: arrays.pop("simulated_from_ordinal")),
        repack(lambda arrays: arrays.update(simulated_from_ordinal=np.array([-1]))),
        repack(lambda arrays: arrays.update(recent_wetness=arrays["recent_wetness"][1:])),
        repack(lambda arrays: arrays.update(live_crowns=arrays["live_crowns"][:1])),
        repack(lambda arrays: arrays.update(heat_deep_c=np.zeros(99))),
    )

    @staticmethod
    def damage(service: Service, how: Callable[[bytes], bytes], *, days: Collection[date] | None = None) -> None:
        with transaction(service.engine) as session:
            for row in session.scalars(select(SoilStateRow)):
                if days is None or row.local_day in days:
                    row.blob = how(row.blob)

    @staticmethod
    def starts(service: Service) -> list[date]:
        with reading(service.engine) as session:
            return sorted(session.scalars(select(SoilStateRow.local_day)))

    @pytest.mark.parametrize("how", DAMAGE)
    def test_counts_as_none_and_is_named_in_the_log(
        self, ran_once: Service, how: Callable[[bytes], bytes], caplog: pytest.LogCaptureFixture
    ) -> None:
        service = ran_once
        window = soil_run.window_start(service.now.date() + timedelta(days=1), history_days=service.configuration.service.history_days)
        self.damage(service, how)
        with reading(service.engine) as session:
            assert soil_run.stored_start(session, service.ground, service.configuration.model, before=window) is None
        assert f"the soil state of brackenholt at the end of {self.starts(service)[0]} is left out" in caplog.text

    def test_does_not_keep_its_ground_from_being_run_and_the_page_tells_from_when(self, service: Service) -> None:
        service.write_weather(days_back=400)
        service.cycle()
        first = service.outlooks()["main-pitch"].simulated_from
        self.damage(service, lambda _: b"damaged")
        service.wait(hours=6)
        service.write_weather(days_back=110)
        with transaction(service.engine) as session:
            session.execute(delete(WeatherIssueRow))
        assert service.cycle().status == "ok"
        assert service.outlooks()["main-pitch"].simulated_from > first

    def test_an_older_one_is_gone_on_from_where_the_newest_is_damaged(self, ran_once: Service) -> None:
        service = ran_once
        service.wait(days=1)
        service.write_weather()
        service.cycle()
        older, newer = self.starts(service)
        self.damage(service, lambda _: b"damaged", days={newer})
        with reading(service.engine) as session:
            start = soil_run.stored_start(session, service.ground, service.configuration.model, before=newer + timedelta(days=1))
        assert start is not None
        assert start.day == older


class TestWeatherDoesNotCome:
    def test_the_last_good_weather_is_used_and_its_age_said_everywhere(self, ran_once: Service) -> None:
        service = ran_once
        before = numbers(service)
        service.wait(days=3)
        service.take_weather_away()
        record = service.cycle()
        assert record.status == "degraded"
        assert record.weather is not None
        assert record.weather.state == "stale"
        assert "3 days old" in record.weather.text
        outlook = service.outlooks()["main-pitch"]
        assert outlook.weather == record.weather
        assert outlook.known, "the old forecast still reaches eleven days ahead"
        assert "3 days old" in service.mail_text()
        assert "(old weather)" in service.mails()[-1]["Subject"]
        assert before.keys() == numbers(service).keys()

    def test_no_alert_ends_for_lack_of_weather_however_long(self, ran_once: Service) -> None:
        service = ran_once
        opened = {alert.id for alert in service.alerts()}
        assert opened
        service.take_weather_away()
        for days in (1, 1, 3, 9, 11):  # 16 days of forecast run out on the way
            service.wait(days=days)
            service.cycle()
        assert service.outlooks()["main-pitch"].weather.state == "missing"
        assert not service.outlooks()["main-pitch"].known
        still = {alert.id: alert for alert in service.alerts()}
        assert opened <= still.keys()
        assert all(still[name].ended_at_utc is None and still[name].status == "held" for name in opened)
        assert "not known" in service.mails()[-1]["Subject"]

    def test_alerts_end_once_when_weather_and_soil_have_recovered(self, ran_once: Service) -> None:
        service = ran_once
        stressed = [alert.id for alert in service.alerts() if alert.rule_id == "drought-stress"]
        assert stressed
        for _ in range(8):
            service.wait(days=3)
            service.write_weather()
            service.cycle()
        ended = {alert.id: alert for alert in service.alerts()}
        assert all(ended[name].ended_at_utc is not None for name in stressed)
        again = service.alerts()
        service.cycle()
        assert service.alerts() == again

    def test_a_ground_that_never_had_weather_is_not_known_and_its_people_are_told(self, service: Service) -> None:
        service.take_weather_away()
        record = service.cycle()
        assert record.status == "degraded"
        outlook = service.outlooks()["main-pitch"]
        assert not outlook.known
        assert outlook.headline.startswith("Not known")
        assert outlook.signals == ()
        assert "not known for lack of weather" in service.mails()[-1]["Subject"]

    def test_a_hole_in_the_record_is_held_and_said(self, service: Service) -> None:
        whole = service.weather.copy()
        hole = slice("2026-07-10T00:00:00Z", "2026-07-12T23:00:00Z")
        service.weather.loc[hole] = np.nan
        service.write_weather()
        service.cycle()
        days = {day.day.isoformat(): day for day in service.outlooks()["main-pitch"].days}
        assert days["2026-07-11"].sound is None
        assert days["2026-07-11"].origin == "missing"
        assert days["2026-07-13"].sound is not None
        assert any("missing" in note.lower() or "no weather" in note.lower() for note in service.outlooks()["main-pitch"].notes)
        service.weather = whole

    def test_one_damaged_issue_in_the_database_is_left_out(self, ran_once: Service, caplog: pytest.LogCaptureFixture) -> None:
        service = ran_once
        with transaction(service.engine) as session:
            session.execute(update(WeatherIssueRow).values(blob=b"damaged"))
        service.wait(hours=6)
        service.write_weather()
        assert service.cycle().status == "ok"
        assert "is left out" in caplog.text

    def test_a_malformed_file_is_a_problem_that_is_said_not_an_end(self, ran_once: Service) -> None:
        service = ran_once
        service.wait(hours=6)
        service.weather_file.write_text("time_utc,precipitation_mm\n2026-08-20T05:00:00Z,a lot\n", encoding="utf-8")
        record = service.cycle()
        assert record.status == "degraded"
        assert "a lot" in (record.error_message or "")
        assert service.outlooks()["main-pitch"].known


def test_alerts_of_a_surface_that_was_taken_out_end(ran_once: Service) -> None:
    service = ran_once
    gone = service.ground.surfaces[0].id
    assert any(alert.surface_id == gone for alert in service.alerts())
    ground = replace(service.ground, surfaces=service.ground.surfaces[1:], fixtures=())
    service.configuration = replace(service.configuration, grounds=(ground,))
    service.cycle()
    assert all(alert.status == "ended" for alert in service.alerts() if alert.surface_id == gone)
    assert any(alert.status != "ended" for alert in service.alerts() if alert.surface_id != gone)


class TestOneBadGround:
    @pytest.fixture
    def two(self, service: Service) -> Service:
        bad = replace(
            service.ground,
            id="other",
            name="Other ground",
            recipients=(Recipient("a", "a@example.org", service.ground.recipients[0].daily_at),),
        )
        service.configuration = replace(service.configuration, grounds=(bad, service.ground))
        return service

    def test_does_not_stop_the_others_and_its_people_are_told(self, two: Service, monkeypatch: pytest.MonkeyPatch) -> None:
        sound = inputs_module.run_soil

        def fails(ground, *args, **kwargs):
            if ground.id == "other":
                raise ZeroDivisionError("invented")
            return sound(ground, *args, **kwargs)

        monkeypatch.setattr(inputs_module, "run_soil", fails)
        records = {record.ground_id: record for record in run_cycles(two.context())}
        send_due(two.context())
        assert records["other"].status == "failed"
        assert records["brackenholt"].status == "ok"
        told = [mail for mail in two.mails() if mail["To"] == "a@example.org"]
        assert len(told) == 1
        assert "the program's run failed" in told[0]["Subject"]
        # The fault's own words are for the log, not for a mail.
        assert "invented" not in told[0].get_body(("plain",)).get_content()
        two.wait(hours=3)
        run_cycles(two.context())
        send_due(two.context())
        assert len([mail for mail in two.mails() if mail["To"] == "a@example.org"]) == 1, "told once a day"

    def test_whose_message_cannot_be_arranged_does_not_stop_the_others_and_its_people_are_told(
        self, two: Service, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """What breaks the daily message does not break the one about the failed run."""

        def fails(inputs):
            if inputs.ground.id == "other":
                raise ZeroDivisionError("invented")
            return build_digest(inputs)

        monkeypatch.setattr(cycle_module, "build_digest", fails)
        records = {record.ground_id: record for record in run_cycles(two.context())}
        send_due(two.context())
        assert (records["other"].status, records["brackenholt"].status) == ("failed", "ok")
        (told,) = [mail for mail in two.mails() if mail["To"] == "a@example.org"]
        assert told["Subject"] == "Other ground: no new outlook, the program's run failed"
        assert "does not mean that all is well" in " ".join(told.get_body(("plain",)).get_content().split())

    def test_a_message_about_a_failed_cycle_of_an_invented_ground_says_that_it_is_a_sample(
        self, service: Service, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def fails(*_args, **_kwargs):
            raise RuntimeError("invented")

        monkeypatch.setattr(inputs_module, "run_soil", fails)
        sample = replace(service.ground, weather=WeatherChoice("sample", str(shipped_folder("sample_weather"))))
        service.configuration = replace(service.configuration, grounds=(sample,))
        service.now = datetime(2026, 9, 12, 5, 0, tzinfo=UTC)
        assert service.cycle().status == "failed"
        assert "This is sample weather" in service.mail_text()
        assert service.mails()[-1]["Subject"].startswith("[Sample] ")

    def test_why_a_cycle_failed_stands_in_the_log(
        self, service: Service, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
    ) -> None:
        def fails(*_args, **_kwargs):
            raise StorageError("stored arrays cannot be read")

        monkeypatch.setattr(cycle_module, "stored_start", fails)
        assert service.cycle().status == "failed"
        assert "stored arrays cannot be read" in caplog.text

    def test_nothing_of_a_failed_cycle_is_kept_but_its_record(self, service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
        def fails(*_args, **_kwargs):
            raise RuntimeError("invented")

        monkeypatch.setattr(cycle_module, "enqueue_digest", fails)
        record = service.cycle()
        assert record.status == "failed"
        assert service.outlooks() == {}
        assert service.alerts() == ()
        window = soil_run.window_start(service.now.date(), history_days=service.configuration.service.history_days)
        with reading(service.engine) as session:
            assert latest_state_before(session, service.ground.id, window + timedelta(days=1), fingerprint="") is None
            kept = latest_cycle(session, service.ground.id, now=service.now)
            assert kept is not None
            assert kept.status == "failed"

    def test_a_database_that_fails_ends_the_command(self, service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
        def fails(*_args, **_kwargs):
            raise StorageError("the disk is full", hint="Make room.")

        monkeypatch.setattr("forecaster.pipeline.failure.transaction", fails)
        monkeypatch.setattr(cycle_module, "save_outlook", fails)
        with pytest.raises(StorageError, match="the disk is full"):
            service.cycle()


def messages(service: Service) -> tuple:
    with reading(service.engine) as session:
        return recent_messages(session, service.ground.id)
