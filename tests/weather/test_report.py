"""The report on a ground's weather: sources, what was not used with what stood there, differences, rough hours."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from forecaster.quantities import Origin
from forecaster.weather.frame import AIR_TEMPERATURE, PRECIPITATION, WeatherSource
from forecaster.weather.hourly import checked_source
from forecaster.weather.merge import join
from forecaster.weather.place import Place
from forecaster.weather.report import weather_report
from forecaster.weather_report import WeatherReport
from tests.weather.invented import hourly

NOW = datetime(2026, 9, 5, tzinfo=UTC)
PLACE = Place(51.5, -0.1, 20.0)
STATION = WeatherSource("own station", "own", "own")


def report() -> WeatherReport:
    """Four days of a station with two faults, beside a model that reaches five days ahead."""
    air = 15.0 + np.arange(96) % 5
    air[10], air[11] = 99.0, np.inf
    station = hourly("2026-09-01", {AIR_TEMPERATURE: air, PRECIPITATION: [0.2] * 96}, source=STATION, origin=Origin.OBSERVED)
    model = hourly(
        "2026-09-01",
        {AIR_TEMPERATURE: [14.0] * 216, PRECIPITATION: [0.1] * 216},
        origin=Origin.FORECAST,
        issued_at=NOW - timedelta(hours=6),
    )
    rungs = [checked_source(frame, PLACE) for frame in (station, model)]
    return weather_report("green", join(rungs, since=NOW - timedelta(days=30)), now=NOW)


def test_what_was_not_used_is_kept_with_its_flag_and_what_stood_there() -> None:
    (found,) = report().not_used
    assert (found.source, found.quantity, found.check, found.count) == ("own station", "air temperature", "range", 2)
    assert [original.value for original in found.originals] == [99.0, None]
    assert found.first_hour_utc == datetime(2026, 9, 1, 10, tzinfo=UTC)
    assert found.limits == "-80 to 60 °C"
    assert "WMO" in found.basis


def test_the_model_fills_what_was_taken_out_of_the_station() -> None:
    air = next(quantity for quantity in report().quantities if quantity.quantity == "air temperature")
    assert air.sources == ("own station", "Test station")
    assert air.missing_past == 0.0


def test_differences_are_told_with_their_number_of_hours() -> None:
    found = {difference.quantity: difference for difference in report().differences}
    assert found["rain"].mean_difference == pytest.approx(0.1)
    assert (found["rain"].hours, found["rain"].first_sum, found["rain"].second_sum) == (96, pytest.approx(19.2), pytest.approx(9.6))
    assert found["air temperature"].hours == 94, "what was not used is not compared"


def test_hours_far_ahead_are_said_to_be_rough() -> None:
    """From three days after the issue on (assumption: models step in several hours from day 3 to 7 on)."""
    assert report().rough_from_utc == NOW - timedelta(hours=6) + timedelta(hours=72)


def test_the_document_comes_back_from_its_text() -> None:
    found = report()
    assert WeatherReport.model_validate_json(found.model_dump_json()) == found


@pytest.mark.parametrize(("silent", "told"), [(2, False), (7, True)])
def test_hours_in_which_an_instrument_told_nothing_are_said(silent: int, told: bool) -> None:
    rain = np.full(96, 0.2)
    rain[30 : 30 + silent] = np.nan
    rain[90:] = np.nan  # after its last word it is late, not silent
    station = hourly("2026-09-01", {PRECIPITATION: rain}, source=STATION, origin=Origin.OBSERVED)
    found = weather_report("green", join([checked_source(station, PLACE)], since=NOW - timedelta(days=30)), now=NOW)
    gap = f"own station told nothing in {silent} hours between its first and its last, {silent} of them in a row from 2026-09-02 06:00 UTC"
    assert any(note.startswith(gap) for note in found.notes) is told
