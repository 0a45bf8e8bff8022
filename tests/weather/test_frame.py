"""The promises of the canonical hourly frame."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pytest

from forecaster.quantities import Origin
from forecaster.weather.frame import AIR_TEMPERATURE, ORIGIN_CODES, ORIGINS_BY_CODE, PRECIPITATION, VARIABLES, origins_by_time
from tests.weather.invented import hourly


def test_a_frame_without_utc_is_refused() -> None:
    frame = hourly("2026-09-01", {PRECIPITATION: [0.0, 1.0]})
    local = frame.values.tz_convert("Europe/London")
    with pytest.raises(ValueError, match="UTC"):
        dataclasses.replace(frame, values=local, origins=frame.origins.tz_convert("Europe/London"))


@pytest.mark.parametrize("rows", [[0, 2], [1, 0], [0, 0]], ids=["gap", "backwards", "twice"])
def test_hours_must_follow_each_other(rows: list[int]) -> None:
    frame = hourly("2026-09-01", {PRECIPITATION: [0.0, 1.0, 2.0]})
    with pytest.raises(ValueError, match="every hour once"):
        dataclasses.replace(frame, values=frame.values.iloc[rows], origins=frame.origins.iloc[rows])


def test_an_origin_without_a_value_and_a_value_without_an_origin_are_refused() -> None:
    frame = hourly("2026-09-01", {PRECIPITATION: [0.0, 1.0]})
    for cell, code in (((0, VARIABLES.index(PRECIPITATION)), 0), ((0, VARIABLES.index(AIR_TEMPERATURE)), 1)):
        origins = frame.origins.copy()
        origins.iloc[cell] = code
        with pytest.raises(ValueError, match="an origin is missing exactly where"):
            dataclasses.replace(frame, origins=origins)


def test_an_issue_without_time_zone_is_refused() -> None:
    frame = hourly("2026-09-01", {PRECIPITATION: [0.0]})
    with pytest.raises(ValueError, match="time zone"):
        dataclasses.replace(frame, issued_at=datetime(2026, 9, 1))  # noqa: DTZ001  (the mistake under test)


def test_another_set_of_columns_is_refused() -> None:
    frame = hourly("2026-09-01", {PRECIPITATION: [0.0]})
    with pytest.raises(ValueError, match="exactly the columns"):
        dataclasses.replace(frame, values=frame.values.drop(columns=[PRECIPITATION]))


def test_the_hour_that_contains_now_is_already_forecast() -> None:
    values = hourly("2026-09-01", {PRECIPITATION: [0.0, np.nan, 2.0, 3.0]}).values
    # 04:30 at +02:00 is 02:30 UTC.
    now = datetime(2026, 9, 1, 4, 30, tzinfo=timezone(timedelta(hours=2)))
    codes = origins_by_time(values, now=now, past=Origin.OBSERVED)[PRECIPITATION]
    assert [ORIGINS_BY_CODE[int(code)] for code in codes] == [Origin.OBSERVED, Origin.MISSING, Origin.FORECAST, Origin.FORECAST]


def test_a_larger_origin_code_is_less_sure() -> None:
    order = (Origin.OBSERVED, Origin.MODELLED, Origin.FORECAST)
    assert sorted(order, key=ORIGIN_CODES.__getitem__) == list(order)


def test_origins_of_an_empty_frame_are_empty() -> None:
    values = pd.DataFrame(columns=list(VARIABLES), index=pd.DatetimeIndex([], tz="UTC"), dtype=float)
    assert origins_by_time(values, now=datetime(2026, 9, 1, tzinfo=UTC)).shape == (0, len(VARIABLES))
