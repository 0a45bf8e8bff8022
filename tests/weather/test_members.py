"""A stored ensemble comes back as it was, or not at all, and is small."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import StorageError
from forecaster.weather import frame
from forecaster.weather.frame import WeatherSource
from forecaster.weather.members import MemberWeather, decode_members, encode_members

SOURCE = WeatherSource(name="Invented", attribution="Invented weather", licence="CC0 1.0", link=None)


def ensemble(values: dict[str, Any], **changes: Any) -> MemberWeather:
    arrays = {name: np.asarray(array, dtype=np.float32) for name, array in values.items()}
    hours = next(iter(arrays.values())).shape[-1]
    fields: dict[str, Any] = {
        "values": arrays,
        "hours": pd.date_range("2026-09-01", periods=hours, freq="h", tz="UTC"),
        "step_hours": np.full(hours, 3, dtype=np.int8),
        "source": SOURCE,
        "issued_at": datetime(2026, 9, 1, 6, tzinfo=UTC),
        "model": "invented",
        "wind_height_m": 10.0,
        "notes": ("Größe: ein Vermerk.",),
    }
    return MemberWeather(**fields | changes)


def two_weeks(members: int = 51, days: int = 15) -> MemberWeather:
    """Six variables in the decimals of providers; members part with time; 3-hourly values spread over hours."""
    rng = np.random.default_rng(3)
    steps, hours = days * 8 + 1, days * 24
    clock = np.arange(steps) * 3

    def parting(spread: float) -> np.ndarray:
        walk = np.zeros((members, steps))
        for step in range(1, steps):
            walk[:, step] = 0.92 * walk[:, step - 1] + rng.normal(0, spread, members) * min(1.0, step / 60)
        return walk

    def hourly(values: np.ndarray) -> np.ndarray:
        return np.array([np.interp(np.arange(hours), clock, member) for member in values])

    sun = np.maximum(0, np.sin((np.arange(hours) - 6) / 24 * 2 * np.pi)) * 800
    rain = np.where(parting(1.0)[:, :-1] > 1.2, rng.gamma(0.7, 0.4, (members, steps - 1)), 0.0).round(1)
    daily = np.sin((clock - 9) / 24 * 2 * np.pi)
    air, dew = hourly(14 + 5 * daily + parting(1.2)), hourly(9 + parting(1.0))
    return ensemble(
        {
            frame.AIR_TEMPERATURE: air.round(1),
            frame.DEW_POINT: dew.round(1),
            frame.RELATIVE_HUMIDITY: np.clip(100 - 5 * (air - dew), 5, 100).round(0),
            frame.WIND_SPEED: np.abs(hourly(4 + parting(0.9))).round(2),
            frame.SHORTWAVE: (sun * np.clip(0.6 + np.repeat(parting(0.2)[:, :-1], 3, axis=1), 0.15, 1)).round(0),
            frame.PRECIPITATION: np.repeat(rain, 3, axis=1),
        }
    )


def assert_same(found: MemberWeather, expected: MemberWeather) -> None:
    assert list(found.values) == list(expected.values)
    for name, values in expected.values.items():
        assert found.values[name].dtype == np.float32
        np.testing.assert_array_equal(np.isnan(found.values[name]), np.isnan(values))
        present = ~np.isnan(values)
        # Bits, not values: -0.0 equals 0.0.
        np.testing.assert_array_equal(found.values[name][present].view(np.int32), values[present].view(np.int32))
    assert found.hours.equals(expected.hours)
    assert found.hours.unit == expected.hours.unit
    np.testing.assert_array_equal(found.step_hours, expected.step_hours)
    for name in ("source", "issued_at", "model", "wind_height_m", "notes"):
        assert getattr(found, name) == getattr(expected, name), name


def test_two_weeks_of_51_members_come_back_bit_for_bit_and_are_small() -> None:
    weather = two_weeks()
    weather.values[frame.AIR_TEMPERATURE][:, :1] = np.nan
    weather.values[frame.WIND_SPEED][17, 40:60] = np.nan
    blob = encode_members(weather)
    assert_same(decode_members(blob), weather)
    # 6 variables of float32 are 441 kB.
    assert len(blob) < 60_000
    print(f"51 members x 360 h x 6 variables in {len(blob)} bytes")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.floats(allow_nan=True, allow_infinity=True, width=32),
            st.integers(-500, 500).map(lambda tenths: tenths / 10),
            st.just(-0.0),
            st.just(float(2**31)),
        ),
        min_size=4,
        max_size=40,
    )
)
def test_any_float_comes_back_bit_for_bit(values: list[float]) -> None:
    whole = np.array(values[: len(values) // 2 * 2], dtype=np.float32).reshape(2, -1)
    weather = ensemble({frame.PRECIPITATION: whole, frame.AIR_TEMPERATURE: np.zeros_like(whole)})
    assert_same(decode_members(encode_members(weather)), weather)


def test_the_same_ensemble_gives_the_same_bytes() -> None:
    assert encode_members(two_weeks(5, 3)) == encode_members(two_weeks(5, 3))


def test_arrays_that_come_back_may_be_written_to_and_the_moment_survives_another_zone() -> None:
    issued_at = datetime(2026, 9, 1, 7, 30, tzinfo=timezone(timedelta(hours=5, minutes=45)))
    back = decode_members(encode_members(ensemble({frame.PRECIPITATION: [[0.1, 0.2]]}, issued_at=issued_at)))
    assert back.issued_at == issued_at
    back.values[frame.PRECIPITATION][0, 0] = 5.0
    back.step_hours[0] = 6


def test_damage_is_noticed_wherever_it_is() -> None:
    weather = two_weeks(3, 2)
    blob = encode_members(weather)
    unnoticed = 0
    for position in range(len(blob)):
        damaged = bytearray(blob)
        damaged[position] ^= 0x10
        try:
            back = decode_members(bytes(damaged))
        except StorageError:
            continue
        assert_same(back, weather)
        unnoticed += 1
    assert unnoticed <= 2


@pytest.mark.parametrize("blob", [b"", b"\x02abc", b"\x01", b"\x01not xz", encode_members(two_weeks(2, 1))[:-3]])
def test_what_is_not_a_whole_blob_is_refused(blob: bytes) -> None:
    with pytest.raises(StorageError):
        decode_members(blob)


@pytest.mark.parametrize(
    ("values", "changes", "said"),
    [
        ({}, {"hours": pd.DatetimeIndex([], tz="UTC"), "step_hours": np.zeros(0, np.int8)}, "variables"),
        ({"rain": [[1.0]]}, {}, "variables"),
        ({frame.PRECIPITATION: [[1.0]], frame.DEW_POINT: [[1.0], [2.0]]}, {}, "one shape"),
        ({frame.PRECIPITATION: [1.0]}, {}, "one shape"),
        ({frame.PRECIPITATION: [[1.0, 2.0]]}, {"step_hours": np.ones(1, np.int8)}, "a step for each hour"),
        ({frame.PRECIPITATION: [[1.0, 2.0]]}, {"hours": pd.date_range("2026-09-01", periods=2, freq="h")}, "UTC hour"),
        ({frame.PRECIPITATION: [[1.0, 2.0]]}, {"hours": pd.date_range("2026-09-01", periods=2, freq="2h", tz="UTC")}, "UTC hour"),
        ({frame.PRECIPITATION: [[1.0]]}, {"issued_at": datetime(2026, 9, 1)}, "time zone"),  # noqa: DTZ001
    ],
)
def test_an_ensemble_that_is_none_cannot_be_made(values: dict[str, Any], changes: dict[str, Any], said: str) -> None:
    if not values:
        with pytest.raises(ValueError, match=said):
            MemberWeather(values={}, source=SOURCE, issued_at=datetime(2026, 9, 1, tzinfo=UTC), model="x", wind_height_m=10.0, **changes)
        return
    with pytest.raises(ValueError, match=said):
        ensemble(values, **changes)
