"""A stored issue of weather comes back as it was, or not at all."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import StorageError
from forecaster.weather.codec import decode, encode
from forecaster.weather.frame import AIR_TEMPERATURE, PRECIPITATION, SHORTWAVE, VARIABLES, HourlyWeather
from tests.weather.invented import hourly


def assert_same(found: HourlyWeather, expected: HourlyWeather) -> None:
    pd.testing.assert_frame_equal(found.values, expected.values, check_exact=True, check_freq=False)
    pd.testing.assert_frame_equal(found.origins, expected.origins, check_exact=True, check_freq=False)
    # assert_frame_equal takes -0.0 for 0.0: compare the bits as well, NaN aside.
    present = ~np.isnan(expected.values.to_numpy())
    bits = [np.ascontiguousarray(frame.values.to_numpy()).view(np.int64)[present] for frame in (found, expected)]
    np.testing.assert_array_equal(*bits)
    for name in ("source", "issued_at", "wind_height_m", "soil_temperature_depth_cm", "notes"):
        assert getattr(found, name) == getattr(expected, name), name


def a_season(hours: int) -> HourlyWeather:
    """Weather-like columns of the given length, in tenths and whole numbers, with a gap."""
    rng = np.random.default_rng(1)
    clock = np.arange(hours)
    temperature = (14 + 6 * np.sin(clock / 24 * 2 * np.pi) + rng.normal(0, 1.5, hours)).round(1)
    temperature[100:130] = np.nan
    columns = {name: (temperature + rng.normal(0, 2, hours)).round(1) for name in VARIABLES}
    columns[PRECIPITATION] = np.where(rng.random(hours) < 0.06, rng.gamma(1, 1.5, hours), 0.0).round(1)
    columns[SHORTWAVE] = np.maximum(0, 700 * np.sin(clock / 24 * 2 * np.pi) + rng.normal(0, 60, hours)).round(0)
    return hourly("2026-06-01", columns, notes=("Größe: ein Vermerk.",))


def test_a_season_comes_back_bit_for_bit_and_is_small() -> None:
    frame = a_season(108 * 24)
    blob = encode(frame)
    assert_same(decode(blob), frame)
    # 7 columns of float64 would be 145 kB; seven noisy columns in tenths hold about 1 byte of news each.
    assert len(blob) < 30_000
    print(f"108 days x 24 h in {len(blob)} bytes")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.floats(allow_nan=True, allow_infinity=True, width=64),
            st.integers(-500, 500).map(lambda tenths: tenths / 10),
            st.just(-0.0),
            st.just(float(2**31)),
        ),
        max_size=40,
    )
)
def test_any_float_comes_back_bit_for_bit(values: list[float]) -> None:
    frame = hourly("2026-01-01", {AIR_TEMPERATURE: values})
    assert_same(decode(encode(frame)), frame)


def test_the_same_frame_gives_the_same_bytes() -> None:
    assert encode(a_season(300)) == encode(a_season(300))


def test_the_moment_of_issue_survives_another_time_zone() -> None:
    issued_at = datetime(2026, 9, 1, 7, 30, 15, 123456, tzinfo=timezone(timedelta(hours=5, minutes=45)))
    back = decode(encode(hourly("2026-09-01", {PRECIPITATION: [0.1]}, issued_at=issued_at)))
    assert back.issued_at == issued_at
    assert back.issued_at.tzinfo is UTC


def test_damage_is_noticed_wherever_it_is() -> None:
    frame = a_season(48)
    blob = encode(frame)
    noticed = 0
    for position in range(len(blob)):
        damaged = bytearray(blob)
        damaged[position] ^= 0x10
        try:
            back = decode(bytes(damaged))
        except StorageError:
            noticed += 1
        else:  # a bit that means nothing to zlib; then nothing may have changed
            assert_same(back, frame)
    assert noticed >= len(blob) - 2


@pytest.mark.parametrize("blob", [b"", b"\x02abc", b"\x01", b"\x01not zlib", encode(hourly("2026-09-01", {PRECIPITATION: [0.1]}))[:-3]])
def test_what_is_not_a_whole_blob_is_refused(blob: bytes) -> None:
    with pytest.raises(StorageError):
        decode(blob)


@pytest.mark.parametrize("rough", [None, [False] * 5, [True] * 5, [False, True, True, False, True]])
def test_the_marks_of_rough_hours_come_back(rough: list[bool] | None) -> None:
    frame = replace(hourly("2026-09-01", {PRECIPITATION: [1.0] * 5}), rough=None if rough is None else np.array(rough))
    found = decode(encode(frame))
    assert (found.rough is None) == (rough is None)
    assert found.rough_hours.tolist() == frame.rough_hours.tolist()
