"""``forecaster weather``: what is known, from where, how old, and where sources differ."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from rich.console import Console

from forecaster.commands.weather import known_weather, show_weather
from forecaster.errors import NotFound
from forecaster.weather.frame import AIR_TEMPERATURE, PRECIPITATION, WeatherSource
from forecaster.weather.overlap import overlaps
from tests.pipeline.conftest import Service, service  # noqa: F401 - the fixture
from tests.weather.invented import SOURCE, hourly


def shown(service: Service) -> str:  # noqa: F811
    ground, gathered = known_weather("brackenholt", service.context())
    text = io.StringIO()
    show_weather(ground, gathered, now=service.now, console=Console(file=text, width=140))
    return text.getvalue()


def test_before_the_first_cycle_it_says_that_nothing_is_stored(service: Service) -> None:  # noqa: F811
    assert "run one cycle first" in shown(service)


def test_it_names_source_age_and_what_is_missing(service: Service) -> None:  # noqa: F811
    service.cycle()
    service.wait(hours=30)
    text = shown(service)
    assert "own weather file" in text
    assert "30 hours" in text
    soil = next(line for line in text.splitlines() if line.strip().startswith("soil temperature"))
    assert "100%" in soil
    assert "never" in soil
    rain = next(line for line in text.splitlines() if line.strip().startswith("rain "))
    assert "observed, forecast" in rain


def test_an_unknown_ground_is_answered_with_those_there_are(service: Service) -> None:  # noqa: F811
    with pytest.raises(NotFound) as caught:
        known_weather("brakenholt", service.context())
    assert "brackenholt" in caught.value.hint


def test_overlapping_sources_are_compared_on_their_common_hours() -> None:
    issued = datetime(2026, 9, 4, tzinfo=UTC)
    gauge = WeatherSource("Rain gauge", "own", "own")
    first = hourly("2026-09-01", {PRECIPITATION: [0.5] * 60, AIR_TEMPERATURE: [15.0] * 60}, issued_at=issued, source=gauge)
    second = hourly(
        "2026-09-01", {PRECIPITATION: [0.4] * 72, AIR_TEMPERATURE: [14.0] * 72}, issued_at=issued, source=replace(SOURCE, name="Model")
    )
    short = hourly("2026-09-01", {PRECIPITATION: [9.0] * 5}, issued_at=issued, source=replace(SOURCE, name="Too short"))
    found = {overlap.variable: overlap for overlap in overlaps([first, second, short])}
    assert set(found) == {PRECIPITATION, AIR_TEMPERATURE}
    assert found[PRECIPITATION].sums == (pytest.approx(30.0), pytest.approx(24.0))
    assert found[PRECIPITATION].hours == 60
    assert found[AIR_TEMPERATURE].mean_difference == pytest.approx(1.0)
