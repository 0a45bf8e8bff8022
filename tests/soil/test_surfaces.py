"""From described surfaces to columns and what drives them."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from forecaster.ground.surface import Irrigation
from forecaster.quantities import TurfState
from forecaster.settings.configuration import load_configuration
from forecaster.settings.shipped import shipped_folder
from forecaster.soil.columns import ModelParameters
from forecaster.soil.surfaces import (
    column_of,
    irrigation_given,
    planned_irrigation,
    rain_over_capacity,
    state_fingerprint,
    surface_columns,
)
from forecaster.weather.frame import PRECIPITATION
from tests.weather.invented import hourly

SURFACES = load_configuration(shipped_folder("config")).grounds[0].surfaces
PLAN = Irrigation(amount_mm=10.0, every_days=3, first_month=11, last_month=2)


def days(first: date, count: int) -> list[date]:
    return [first + timedelta(days=n) for n in range(count)]


def test_sound_turf_comes_first_and_differs_from_the_band_in_repellency_and_endurance_alone() -> None:
    columns = surface_columns(SURFACES)
    assert columns.count == 2 * len(SURFACES)
    sound, band = column_of(1, TurfState.SOUND), column_of(1, TurfState.BAND)
    different = {
        name
        for name in columns.__dataclass_fields__
        if getattr(columns, name)[sound] != getattr(columns, name)[band]
    }  # fmt: skip
    assert different == {"potential_repellency_log10_s", "crown_endurance_days"}


def test_a_plan_wraps_over_the_year_s_end_and_keeps_its_rhythm_wherever_a_run_begins() -> None:
    whole = days(date(2026, 10, 1), 200)
    amounts = planned_irrigation(PLAN, whole)
    watered = [day for day, amount in zip(whole, amounts, strict=True) if amount]
    assert {day.month for day in watered} == {11, 12, 1, 2}
    assert np.array_equal(planned_irrigation(PLAN, whole[7:]), amounts[7:])
    gaps = {(later - earlier).days for earlier, later in itertools.pairwise(watered)}
    assert gaps == {3}


def test_a_log_counts_between_its_first_and_last_day_and_the_plan_elsewhere() -> None:
    winter = days(date(2026, 12, 1), 30)
    log = {winter[5]: 4.0, winter[9]: 6.0}
    given, planned = irrigation_given(PLAN, winter, log), planned_irrigation(PLAN, winter)
    assert given[5:10].tolist() == [4.0, 0.0, 0.0, 0.0, 6.0]
    assert np.array_equal(given[:5], planned[:5])
    assert np.array_equal(given[10:], planned[10:])
    assert np.array_equal(irrigation_given(PLAN, winter, None), planned)
    assert irrigation_given(None, winter, log).sum() == 10.0


def test_rain_above_the_rate_that_the_soil_takes_is_counted_by_the_hour_of_the_local_day() -> None:
    tight, open_soil = (
        replace(s, root_zone=replace(s.root_zone, infiltration_mm_per_h=rate)) for s, rate in zip(SURFACES, (3.0, 50.0), strict=False)
    )
    rain = [0.0] * 72
    rain[30], rain[31], rain[70] = 10.0, 2.0, 4.0
    frame = hourly("2026-09-01 00:00", {PRECIPITATION: rain}, issued_at=datetime(2026, 9, 4, tzinfo=UTC))
    over = rain_over_capacity((tight, open_soil), frame, ZoneInfo("UTC"), days(date(2026, 8, 31), 4))
    assert over[:, 0].tolist() == pytest.approx([0.0, 0.0, 7.0, 1.0])
    assert over[:, 1].max() == 0.0


def test_a_stored_state_is_of_use_only_with_the_same_soil_plan_and_model() -> None:
    model = ModelParameters()
    told = state_fingerprint(SURFACES, model)
    assert state_fingerprint(SURFACES, model) == told
    deeper = replace(SURFACES[0], root_zone=replace(SURFACES[0].root_zone, root_depth_m=0.31))
    watered = replace(SURFACES[0], irrigation=PLAN)
    renamed = replace(SURFACES[0], name="Another name")
    assert state_fingerprint((deeper, *SURFACES[1:]), model) != told
    assert state_fingerprint((watered, *SURFACES[1:]), model) != told
    assert state_fingerprint(SURFACES, replace(model, drying_days=8.0)) != told
    assert state_fingerprint((renamed, *SURFACES[1:]), model) == told
