"""Weather members from the question to the outlook: asked for by cell and cadence, kept in one blob, the soil run under each."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
import responses
from sqlalchemy import select

from forecaster.documents import OutlookDay, SurfaceOutlook
from forecaster.ground.ground import WeatherChoice
from forecaster.member_documents import MemberStatus
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.member_pull import MEMBERS, SAMPLE_MEMBERS
from forecaster.settings.shipped import shipped_folder
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.sources.sample import load_sample, load_sample_members
from forecaster.storage.database import reading
from forecaster.storage.models import WeatherIssueRow
from forecaster.weather.members import MemberWeather, decode_members
from tests.pipeline.conftest import Service
from tests.pipeline.test_together import BASE, StandIn, stand_in  # noqa: F401 - the fixture
from tests.sources.answers import UNITS
from tests.sources.openmeteo_answers import MEMBER_VARIABLES, asked

COUNT = 51


def on_sample(service: Service) -> None:
    """The invented ground with its own invented weather."""
    ground = replace(service.ground, weather=WeatherChoice("sample"))
    service.configuration = replace(service.configuration, grounds=(ground,))
    service.now = load_sample(shipped_folder("sample_weather")).now


def status_of(outlook: SurfaceOutlook) -> MemberStatus:
    assert outlook.weather.members is not None
    return outlook.weather.members


def spread(day: OutlookDay, quantity: str) -> tuple[float, float, float]:
    assert day.members is not None
    found = next(one for one in day.members.spread if one.quantity == quantity)
    return found.low, found.median, found.high


def with_setting(service: Service, **options: Any) -> None:
    service.configuration = replace(service.configuration, service=replace(service.configuration.service, **options))


def issues(service: Service, source: str) -> list[WeatherIssueRow]:
    with reading(service.engine) as session:
        return list(session.scalars(select(WeatherIssueRow).where(WeatherIssueRow.source == source).order_by(WeatherIssueRow.id)))


def test_the_demonstration_has_members_that_drift_apart(service: Service) -> None:
    on_sample(service)
    assert service.cycle().status == "ok"
    for outlook in service.outlooks().values():
        assert status_of(outlook).text == "21 invented weather members, less than an hour old."
        assert (status_of(outlook).members, status_of(outlook).model) == (21, "invented")
        coming = [day for day in outlook.days if day.lead_days >= 0]
        assert len(coming) == 14
        assert all(day.members is not None and day.members.members == 21 for day in coming)
        assert all(day.members is None for day in outlook.days if day.lead_days < 0)
        widths = [spread(day, "et0_mm")[2] - spread(day, "et0_mm")[0] for day in coming]
        assert np.mean(widths[7:]) > 2 * np.mean(widths[:2])
        for day in coming:
            for one in day.members.spread if day.members else ():
                assert one.low <= one.median <= one.high
    (issue,) = issues(service, SAMPLE_MEMBERS)
    assert decode_members(issue.blob).members == 21


def test_a_member_that_tells_the_forecast_leads_to_the_outlook_of_the_forecast(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    """One member, the sample's forecast itself: state, days and soil agree with the single run; its hours are float32."""
    all_members = load_sample_members(shipped_folder("sample_weather"))
    control = replace(all_members, values={name: values[:1] for name, values in all_members.values.items()})
    monkeypatch.setattr("forecaster.pipeline.member_pull.load_sample_members", lambda _folder: control)
    on_sample(service)
    service.cycle()
    reached = 0
    for outlook in service.outlooks().values():
        for day in [day for day in outlook.days if day.lead_days >= 0]:
            assert day.sound is not None
            assert day.band is not None
            for quantity, expected in (
                ("rain_mm", day.rain_mm),
                ("et0_mm", day.et0_mm),
                ("sound_available_water_fraction", day.sound.available_water_fraction),
                ("band_available_water_fraction", day.band.available_water_fraction),
                ("sound_surface_water_m3m3", day.sound.surface_water_m3m3),
                ("band_surface_water_m3m3", day.band.surface_water_m3m3),
                ("band_repellency_log10_s", day.band.repellency_log10_s),
                ("ring_contrast", day.ring_contrast),
            ):
                assert spread(day, quantity) == pytest.approx((expected,) * 3, abs=2e-4), (outlook.surface_id, day.day, quantity)
            assert day.members is not None
            known = {rule.id: rule for rule in service.configuration.rules}
            speaking = {risk.rule_id: risk.value for risk in day.risks}
            for chance in day.members.chances:
                reached += 1
                assert chance.members == 1
                rule = known[chance.rule_id]
                if chance.rule_id in speaking:
                    beyond = speaking[chance.rule_id] - rule.raise_at
                    assert (beyond if rule.rising else -beyond) >= -1e-3
    assert reached > 20


def test_members_of_more_rain_leave_more_water(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    all_members = load_sample_members(shipped_folder("sample_weather"))
    values = {name: np.repeat(values[:1], 11, axis=0) for name, values in all_members.values.items()}
    values["precipitation_mm"] = values["precipitation_mm"] * np.linspace(0.0, 2.0, 11, dtype=np.float32)[:, None]
    monkeypatch.setattr("forecaster.pipeline.member_pull.load_sample_members", lambda _folder: replace(all_members, values=values))
    on_sample(service)
    service.cycle()
    outlook = service.outlooks()["main-pitch"]
    day = next(day for day in outlook.days if day.lead_days == 3)  # the day of 20 mm
    assert day.rain_mm == pytest.approx(20.4)
    # Percentiles of 11 equal steps from 0 to 2 times the forecast: 0.2, 1 and 1.8 times.
    assert spread(day, "rain_mm") == pytest.approx((0.2 * 20.4, 20.4, 1.8 * 20.4), abs=1e-3)
    low, _, high = spread(day, "sound_surface_water_m3m3")
    assert high > low


def test_old_members_serve_until_they_are_stale_and_then_are_not_used_and_said(service: Service) -> None:
    on_sample(service)
    service.cycle()
    service.wait(hours=30)
    with_setting(service, members_every_hours=48)
    service.cycle()
    outlook = service.outlooks()["main-pitch"]
    assert status_of(outlook).text == "21 invented weather members, 30 hours old."
    assert sum(day.members is not None for day in outlook.days) == 14, "they reach a day beyond the outlook they were made for"
    service.wait(hours=10)
    service.cycle()
    outlook = service.outlooks()["main-pitch"]
    assert "No weather members: the newest are 40 hours old." in status_of(outlook).text
    assert status_of(outlook).members == 0
    assert all(day.members is None for day in outlook.days)
    assert outlook.known


def test_members_can_be_switched_off_and_own_files_have_none_and_both_are_said(service: Service) -> None:
    service.write_weather()
    service.cycle()
    assert "No weather members: own weather files have none." in status_of(service.outlooks()["main-pitch"]).text
    on_sample(service)
    with_setting(service, members_every_hours=0)
    service.cycle()
    assert "No weather members: they are switched off" in status_of(service.outlooks()["main-pitch"]).text
    assert issues(service, SAMPLE_MEMBERS) == []


# ---------------------------------------------------------------- the service


class Ensemble:
    """Open-Meteo's ensemble: every member tells mild days with its own rain. Counts its questions."""

    def __init__(self, service: Service) -> None:
        self.service = service
        self.questions: list[dict[str, str]] = []
        self.down = False

    def reply(self, request: Any) -> tuple[int, dict[str, str], str]:
        params = asked(request)
        self.questions.append(params)
        if self.down:
            return 429, {}, json.dumps({"error": True, "reason": "Daily API request limit exceeded. Please try again tomorrow."})
        midnight = self.service.now.replace(hour=0, minute=0, second=0, microsecond=0)
        hours = 24 * int(params["forecast_days"])
        base = {
            "temperature_2m": [12.0 + hour % 24 / 3 for hour in range(hours)],
            "dew_point_2m": [10.0] * hours,
            "relative_humidity_2m": [70.0] * hours,
            "wind_speed_10m": [3.0] * hours,
            "shortwave_radiation": [0.0 if hour % 24 < 6 or hour % 24 > 18 else 300.0 for hour in range(hours)],
        }
        hourly: dict[str, Any] = {"time": [int(midnight.timestamp()) + 3600 * hour for hour in range(hours)]}
        units = {"time": "unixtime"}
        for name in MEMBER_VARIABLES:
            for number in range(COUNT):
                key = name + (f"_member{number:02d}" if number else "")
                hourly[key] = base.get(name, [number / 100] * hours)
                units[key] = UNITS[name]
        place = {"latitude": float(params["latitude"]), "longitude": float(params["longitude"]), "elevation": 60.0}
        return 200, {}, json.dumps({**place, "hourly_units": units, "hourly": hourly})


@pytest.fixture
def ensemble(stand_in: StandIn, service: Service) -> Ensemble:  # noqa: F811
    made = Ensemble(service)
    with_setting(service, members_every_hours=12)
    stand_in.mock.add_callback(responses.GET, f"{BASE}/v1/ensemble", callback=made.reply)
    return made


def cycles(service: Service) -> dict[str, Any]:
    settings = OpenMeteo(base_url=BASE, archive_url=BASE, ensemble_url=BASE)
    context = replace(service.context(), open_meteo=settings, nasa_power_url=BASE)
    return {record.ground_id: record for record in run_cycles(context)}


def first_outlook(service: Service, ground_id: str) -> SurfaceOutlook:
    from forecaster.storage.outlooks import latest_outlooks

    with reading(service.engine) as session:
        return next(iter(latest_outlooks(session, ground_id, now=service.now).values()))


def test_grounds_in_one_cell_share_the_members_and_each_keeps_one_blob(ensemble: Ensemble, service: Service) -> None:
    # The three grounds lie at 52.0, 52.1 and 52.2 degrees: the model's points are at 52.0 and 52.25.
    assert all(record.status == "ok" for record in cycles(service).values())
    assert [question["latitude"] for question in ensemble.questions] == ["52.0000", "52.2000"]
    kept = issues(service, MEMBERS)
    assert sorted(issue.ground_id for issue in kept) == ["ground-0", "ground-1", "ground-2"]
    for issue in kept:
        found = decode_members(issue.blob)
        assert isinstance(found, MemberWeather)
        assert found.members == COUNT
    outlook = first_outlook(service, "ground-1")
    assert status_of(outlook).text.startswith("51 weather members of the model ecmwf_ifs025_ensemble, less than an hour old.")
    day = next(day for day in outlook.days if day.lead_days == 2)
    # Member n brings n/100 mm an hour: a tenth of 0 to 50 is 5, half 25, nine tenths 45.
    assert spread(day, "rain_mm") == pytest.approx((24 * 0.05, 24 * 0.25, 24 * 0.45), abs=1e-3)


def test_members_are_asked_for_at_their_own_cadence(ensemble: Ensemble, service: Service) -> None:
    cycles(service)
    service.wait(hours=3)
    cycles(service)
    assert len(ensemble.questions) == 2, "one for each cell, and not yet again"
    assert "3 hours old" in status_of(first_outlook(service, "ground-0")).text
    service.wait(hours=9, minutes=1)
    cycles(service)
    assert len(ensemble.questions) == 4


def test_a_failed_pull_of_members_is_said_and_nothing_else_suffers(ensemble: Ensemble, service: Service) -> None:
    ensemble.down = True
    records = cycles(service)
    assert [record.status for record in records.values()] == ["ok"] * 3
    assert len(ensemble.questions) == 1, "the service has had enough: the other cell is not asked for"
    outlook = first_outlook(service, "ground-2")
    assert "No weather members: Open-Meteo" in status_of(outlook).text
    assert "rest on a single forecast" in status_of(outlook).text
    assert all(day.members is None for day in outlook.days)
    ensemble.down = False
    service.wait(hours=3)
    cycles(service)
    assert len(ensemble.questions) == 1, "it has had enough for this day: its breaker leaves it alone"
    assert "left alone until" in status_of(first_outlook(service, "ground-2")).text
    service.wait(hours=21)
    cycles(service)
    assert status_of(first_outlook(service, "ground-2")).members == COUNT
    ensemble.down = True
    service.wait(hours=13)
    cycles(service)
    text = status_of(first_outlook(service, "ground-2")).text
    assert "13 hours old. The newest pull of members failed: Open-Meteo" in text


def test_a_damaged_blob_of_members_is_left_out(ensemble: Ensemble, service: Service) -> None:
    from forecaster.storage.database import transaction

    cycles(service)
    with transaction(service.engine) as session:
        for row in session.scalars(select(WeatherIssueRow).where(WeatherIssueRow.source == MEMBERS)):
            row.blob = row.blob[:100]
    service.now += timedelta(hours=3)
    assert all(record.status == "ok" for record in cycles(service).values())
    assert "No weather members: none have come yet." in status_of(first_outlook(service, "ground-0")).text
