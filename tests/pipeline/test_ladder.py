"""Where one source fails the next is asked, everybody is told, and what came late replaces what was assumed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecaster.errors import WeatherUnavailable
from forecaster.ground.ground import WeatherChoice
from forecaster.pipeline import member_pull, pull
from forecaster.sources.met_norway import KeptAnswer
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.weather.frame import PRECIPITATION, SHORTWAVE, VARIABLES, HourlyWeather, WeatherSource, origins_by_time
from forecaster.weather.members import MemberWeather
from tests.pipeline.conftest import Service
from tests.sources.onsite_files import entry

OPEN_METEO = WeatherSource("Open-Meteo", "Weather data by Open-Meteo.com", "CC BY 4.0")
MET_NORWAY = WeatherSource("MET Norway", "Data from MET Norway", "CC BY 4.0")


@dataclass
class Services:
    """Stand-ins for the weather services, over the sample's hours; each can be down, and counts how often it was asked."""

    service: Service
    down: set[str]
    asked: list[str]
    kept: list[KeptAnswer | None]

    def frame(self, source: WeatherSource, start: datetime, end: datetime, *, without: tuple[str, ...] = ()) -> HourlyWeather:
        hours = self.service.weather.reindex(columns=list(VARIABLES))
        values = hours[pd.Timestamp(start) : pd.Timestamp(end)].astype(float)
        values[list(without)] = np.nan
        return HourlyWeather(values, origins_by_time(values, now=self.service.now), source, self.service.now, wind_height_m=10.0)

    def ask(self, name: str) -> None:
        self.asked.append(name)
        if name in self.down:
            raise WeatherUnavailable(f"{name} could not be reached", source=name)

    def forecast(self, _place: Any, *, session: Any, now: datetime, service: OpenMeteo, **_other: Any) -> HourlyWeather:
        self.ask("Open-Meteo")
        return self.frame(OPEN_METEO, now - timedelta(days=92), now + timedelta(days=15))

    def archive(self, _place: Any, *, session: Any, start: date, end: date, now: datetime, service: OpenMeteo) -> HourlyWeather:
        self.ask("archive")
        first, last = (datetime.combine(day, datetime.min.time(), tzinfo=UTC) for day in (start, end))
        return self.frame(replace(OPEN_METEO, name="Open-Meteo archive"), first, last + timedelta(hours=23))

    def members(self, _ground: Any, **_other: Any) -> MemberWeather:
        # Not counted: which members there are has tests of its own, and a real try would wait for a network that is not there.
        raise WeatherUnavailable("no members here", source="Open-Meteo's ensemble")

    def daily(self, _place: Any, *, session: Any, start: date, end: date, base_url: str) -> tuple[date, date]:
        self.ask("NASA POWER")
        return start, end

    def as_hours(self, days: tuple[date, date]) -> HourlyWeather:
        first, last = (datetime.combine(day, datetime.min.time(), tzinfo=UTC) for day in days)
        return self.frame(replace(OPEN_METEO, name="NASA POWER"), first, last + timedelta(hours=23))

    def locationforecast(
        self, _place: Any, *, session: Any, now: datetime, kept: KeptAnswer | None, contact: str, base_url: str
    ) -> tuple[HourlyWeather, KeptAnswer]:
        self.kept.append(kept)
        self.ask("MET Norway")
        frame = self.frame(MET_NORWAY, now, now + timedelta(days=9), without=(SHORTWAVE,))
        return frame, KeptAnswer(b"{}", "Thu, 20 Aug 2026 05:00:00 GMT", now + timedelta(minutes=30))


@pytest.fixture
def services(service: Service, monkeypatch: pytest.MonkeyPatch) -> Iterator[Services]:
    ground = replace(service.ground, weather=WeatherChoice("open-meteo"))
    service.configuration = replace(service.configuration, grounds=(ground,))
    made = Services(service, set(), [], [])
    monkeypatch.setattr(pull, "fetch_forecast", made.forecast)
    monkeypatch.setattr(pull, "fetch_archive", made.archive)
    monkeypatch.setattr(member_pull, "fetch_members", made.members)
    monkeypatch.setattr(pull.nasa_power, "fetch_daily", made.daily)
    monkeypatch.setattr(pull, "as_hours", made.as_hours)
    monkeypatch.setattr(pull.met_norway, "fetch_locationforecast", made.locationforecast)
    return made


def test_a_ground_that_begins_rests_on_a_year_of_reanalysis_asked_for_once(services: Services) -> None:
    service = services.service
    assert service.cycle().status == "ok"
    assert services.asked == ["Open-Meteo", "archive"]
    outlook = service.outlooks()["main-pitch"]
    assert (outlook.today - outlook.simulated_from).days > 400
    service.wait(days=1)
    service.cycle()
    assert services.asked == ["Open-Meteo", "archive", "Open-Meteo"]
    assert service.outlooks()["main-pitch"].simulated_from == outlook.simulated_from


def test_reanalysis_that_comes_later_replaces_what_was_assumed(services: Services) -> None:
    service = services.service
    services.down = {"archive", "NASA POWER"}
    assert service.cycle().status == "ok", "without it the outlook is made, and says from when it was computed"
    assumed = service.outlooks()["main-pitch"].simulated_from
    assert (service.now.date() - assumed).days < 100
    services.down = set()
    service.wait(hours=3)
    service.cycle()
    assert (service.now.date() - service.outlooks()["main-pitch"].simulated_from).days > 400


def test_changed_settings_ask_for_reanalysis_up_to_the_window_again(services: Services) -> None:
    service = services.service
    service.cycle()
    service.wait(days=10)
    ground = service.configuration.grounds[0]
    surfaces = tuple(
        replace(surface, root_zone=replace(surface.root_zone, root_depth_m=surface.root_zone.root_depth_m + 0.01))
        for surface in ground.surfaces
    )
    service.configuration = replace(service.configuration, grounds=(replace(ground, surfaces=surfaces),))
    services.asked.clear()
    service.cycle()
    assert services.asked == ["Open-Meteo", "archive"], "the stored one ends ten days before the window"
    services.asked.clear()
    service.wait(hours=3)
    service.cycle()
    assert services.asked == ["Open-Meteo"]


def test_daily_reanalysis_stands_in_where_the_hourly_one_fails(services: Services) -> None:
    service = services.service
    services.down = {"archive"}
    service.cycle()
    assert services.asked == ["Open-Meteo", "archive", "NASA POWER"]
    assert (service.now.date() - service.outlooks()["main-pitch"].simulated_from).days > 400
    services.asked.clear()
    service.wait(hours=3)
    service.cycle()
    assert services.asked == ["Open-Meteo"], "one history is enough"


def test_without_a_contact_the_second_service_is_not_asked_and_the_last_good_weather_serves(services: Services) -> None:
    service = services.service
    service.cycle()
    services.down = {"Open-Meteo"}
    service.wait(hours=6)
    record = service.cycle()
    assert "MET Norway" not in services.asked
    assert record.status == "degraded"
    assert record.weather is not None
    assert record.weather.text == "Weather from Open-Meteo, 6 hours old. The newest pull failed: Open-Meteo could not be reached."


def test_where_the_first_is_down_the_second_forecast_is_used_and_all_sources_are_named(services: Services) -> None:
    service = services.service
    service.contact = "ground@example.org"
    service.cycle()
    services.down = {"Open-Meteo"}
    service.wait(days=3)
    record = service.cycle()
    assert record.status == "degraded"
    weather = record.weather
    assert weather is not None
    assert weather.state == "fresh"
    assert weather.text.startswith("Weather from MET Norway, less than an hour old.")
    assert "Open-Meteo could not be reached" in weather.text
    assert weather.attribution.startswith("Data from MET Norway; Weather data by Open-Meteo.com")
    outlook = service.outlooks()["main-pitch"]
    assert outlook.known
    # Days that only the old forecast reaches are still there, and radiation is the old forecast's where the second has none.
    assert outlook.days[-1].lead_days == 13
    estimated = [note for note in outlook.notes if note.startswith("Estimated on")]
    assert estimated, "soil temperature is estimated here, and said to be"
    assert not any("radiation" in note for note in estimated)
    assert outlook.weather.problem == "Open-Meteo could not be reached"
    service.wait(hours=6)
    service.cycle()
    assert services.kept[0] is None
    assert services.kept[1] is not None
    assert services.kept[1].last_modified == "Thu, 20 Aug 2026 05:00:00 GMT"


def test_where_both_are_down_both_are_told_and_nothing_ends(services: Services) -> None:
    service = services.service
    service.contact = "ground@example.org"
    service.cycle()
    opened = {alert.id for alert in service.alerts() if alert.ended_at_utc is None}
    assert opened
    services.down = {"Open-Meteo", "MET Norway"}
    service.wait(days=20)
    record = service.cycle()
    assert record.weather is not None
    assert record.weather.state == "missing"
    assert record.weather.problem == "Open-Meteo could not be reached; MET Norway could not be reached"
    assert opened <= {alert.id for alert in service.alerts() if alert.ended_at_utc is None}


def test_a_ground_that_changes_to_its_own_station_no_longer_rests_on_what_a_service_said_of_it(services: Services) -> None:
    service = services.service
    service.cycle()
    own = replace(service.ground, weather=WeatherChoice("csv", str(service.weather_file)))
    service.configuration = replace(service.configuration, grounds=(own,))
    service.wait(hours=3)
    service.write_weather()
    weather = service.cycle().weather
    assert weather is not None
    assert [credit.name for credit in weather.credits] == ["own weather file"]
    assert "Open-Meteo" not in weather.attribution


def gauge(service: Service) -> None:
    """A rain gauge that saw 30 mm in an hour of 18 August, and nothing else since the 10th."""
    hours = pd.date_range("2026-08-10", "2026-08-20", freq="h", tz="UTC", inclusive="left")
    rain = np.where(hours == pd.Timestamp("2026-08-18T12:00Z"), 30.0, 0.0)
    lines = [f"{hour:%Y-%m-%d %H:%M};{amount:.1f}" for hour, amount in zip(hours, rain, strict=True)]
    (service.folder / "gauge.csv").write_text("\n".join(["time;rain", *lines]) + "\n", encoding="utf-8")
    mapping = {
        "id": "gauge",
        "kind": "rain-gauge",
        "file": "gauge.csv",
        "delimiter": ";",
        "decimal": ".",
        "header_lines": 1,
        "time_columns": ["time"],
        "time_format": "%Y-%m-%d %H:%M",
        "zone": "UTC",
        "stamp": "start",
        "interval_minutes": 60,
        "column": [{"column": "rain", "quantity": "rain", "unit": "mm", "counting": "interval"}],
    }
    ground = replace(service.ground, onsite=(entry(mapping, folder=service.folder),))
    service.configuration = replace(service.configuration, grounds=(ground,))


def test_the_ground_s_own_gauge_replaces_modelled_rain(services: Services) -> None:
    service = services.service
    gauge(service)
    service.cycle()
    days = {day.day: day for day in service.outlooks()["main-pitch"].days}
    assert service.weather.loc["2026-08-18", PRECIPITATION].sum() < 5.0, "the model saw next to nothing"
    assert days[date(2026, 8, 18)].rain_mm == pytest.approx(30.0)
    assert "own" in service.outlooks()["main-pitch"].weather.attribution.lower()


def test_a_gauge_whose_file_is_gone_is_told_and_the_model_s_rain_serves(services: Services) -> None:
    service = services.service
    gauge(service)
    (service.folder / "gauge.csv").unlink()
    record = service.cycle()
    assert service.outlooks()["main-pitch"].known
    assert record.status == "degraded"
    assert "gauge" in (record.error_message or "")


def test_an_impossible_hour_of_rain_is_not_used_for_run_off_either(services: Services) -> None:
    """Outside: 900 mm is three times the most rain ever measured in an hour, 305 mm at Holt, Missouri (memory)."""
    service = services.service
    service.weather = service.weather.copy()
    service.weather.loc[pd.Timestamp("2026-08-18T06:00Z"), PRECIPITATION] = 15.0
    service.weather.loc[pd.Timestamp("2026-08-18T12:00Z"), PRECIPITATION] = np.nan
    assert service.cycle().status == "ok"
    without = service.outlooks()["main-pitch"].days
    service.weather.loc[pd.Timestamp("2026-08-18T12:00Z"), PRECIPITATION] = 900.0
    assert service.cycle().status == "ok"
    found = service.outlooks()["main-pitch"].days
    assert [(day.sound, day.band) for day in found] == [(day.sound, day.band) for day in without]
