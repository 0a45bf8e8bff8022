"""The compiled days against numpy's: the same source, so the same numbers to the last bit, whatever the days and columns have in them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace

import numpy as np
import pytest

from forecaster.physics.soil_water import DayOrder
from forecaster.soil import compiled as compiled_module
from forecaster.soil import simulate as simulate_module
from forecaster.soil.columns import ColumnParameters, ModelParameters, stack
from forecaster.soil.series import SERIES
from forecaster.soil.simulate import simulate_series
from forecaster.soil.state import Forcing, SoilState, first_guess
from tests.soil.builders import BAND, SOUND

MODEL = ModelParameters()
DAYS, COLUMNS = 150, 24
PLAIN = [{"exchange_per_day": 0.2}]
EVERYTHING = [
    {"exchange_per_day": 0.2},
    {"interception_mm": 1.2, "dormant_below_c": 12.0, "growth_starts_c": 8.0, "growth_full_c": 18.0},
    {"held_back_mm": 10.0, "percolation_limit_mm": 3.0, "drains_per_day": 0.3, "root_depth_m": 0.15},
]


def mixed(extras: list[dict[str, float]]) -> ColumnParameters:
    return stack([(SOUND if n % 2 else BAND) | extras[n % len(extras)] for n in range(COLUMNS)])


def weather(*, winter: bool, gaps: bool, over: bool = False, days: int = DAYS) -> Forcing:
    """Every column its own invented weather, frozen seed; NaN on days that are not known."""
    rng = np.random.default_rng(20)
    shape = (days, COLUMNS)
    known = rng.random(shape) < 0.95 if gaps else np.ones(shape, dtype=bool)

    def seen(values: np.ndarray) -> np.ndarray:
        return np.where(known, values, np.nan)

    rain = seen(np.where(rng.random(shape) < 0.25, rng.gamma(1.5, 6.0, shape), 0.0))
    coldest = -9.0 if winter else 4.0
    return Forcing(
        rain_mm=rain,
        irrigation_mm=np.where(rng.random(shape) < 0.1, 5.0, 0.0),
        et0_mm=seen(rng.uniform(0.0, 8.0, shape)),
        air_temperature_mean_c=seen(rng.uniform(coldest, 28.0, shape)),
        air_temperature_min_c=seen(rng.uniform(coldest - 6.0, 12.0, shape)),
        soil_temperature_c=seen(rng.uniform(-2.0 if winter else 1.0, 24.0, shape)),
        wind_speed_2m_ms=seen(rng.uniform(0.0, 8.0, shape)),
        relative_humidity_min_percent=seen(rng.uniform(10.0, 100.0, shape)),
        known=known,
        rain_over_capacity_mm=0.3 * rain if over else None,
    )


def part(whole: Forcing, days: slice) -> Forcing:
    given = {f.name: getattr(whole, f.name) for f in fields(Forcing)}
    return Forcing(**{name: None if array is None else array[days] for name, array in given.items()})


def assert_same(one: tuple[Mapping[str, np.ndarray], SoilState], other: tuple[Mapping[str, np.ndarray], SoilState]) -> None:
    for name, series in one[0].items():
        assert np.array_equal(series, other[0][name], equal_nan=True), name
    for f in fields(SoilState):
        assert np.array_equal(getattr(one[1], f.name), getattr(other[1], f.name), equal_nan=True), f.name


BROKEN_UP = [
    ("plain days", PLAIN, {"winter": False, "gaps": False}, MODEL, DayOrder.WATER_FIRST),
    (
        "frost, snow, gaps, bursts, every kind of column",
        EVERYTHING,
        {"winter": True, "gaps": True, "over": True},
        MODEL,
        DayOrder.WATER_FIRST,
    ),
    (
        "every option the other way",
        EVERYTHING,
        {"winter": True, "gaps": True},
        replace(MODEL, exposed_rooted=False, cold_slows_use=False, climate_adjusted=False),
        DayOrder.DRAIN_LAST,
    ),
]


@pytest.mark.parametrize(("extras", "days", "model", "order"), [case[1:] for case in BROKEN_UP], ids=[case[0] for case in BROKEN_UP])
def test_compiled_days_equal_numpys_bit_for_bit(
    monkeypatch: pytest.MonkeyPatch, extras: list[dict[str, float]], days: dict[str, bool], model: ModelParameters, order: DayOrder
) -> None:
    monkeypatch.setattr(compiled_module, "TILE_COLUMNS", 10)  # three tiles, the last one short
    columns, driven = mixed(extras), weather(**days)
    start = first_guess(columns, model)
    ours, theirs = (
        simulate_series(columns, start, driven, model, keep=SERIES, order=order, compiled=compiled) for compiled in (True, False)
    )
    assert np.nanmax(theirs[0]["flush_hazard_per_day"]) > 0.0, "a flush is on its way: rings, delays and triggers have all been at work"
    assert_same(ours, theirs)


def test_a_run_may_be_split_and_gone_on_with_in_the_other_way() -> None:
    columns, driven = mixed(EVERYTHING), weather(winter=True, gaps=True, over=True)
    start = first_guess(columns, MODEL)
    whole = simulate_series(columns, start, driven, MODEL, keep=SERIES, compiled=False)
    for first, second in ((True, True), (True, False), (False, True)):
        for cut in (3, 61):
            one = simulate_series(columns, start, part(driven, slice(0, cut)), MODEL, keep=SERIES, compiled=first)
            other = simulate_series(columns, one[1], part(driven, slice(cut, None)), MODEL, keep=SERIES, compiled=second)
            assert_same(({name: np.concatenate([one[0][name], other[0][name]]) for name in SERIES}, other[1]), whole)


def test_only_the_asked_series_are_kept_and_the_forcing_may_be_a_view() -> None:
    columns, driven = mixed(PLAIN), weather(winter=False, gaps=False)
    start = first_guess(columns, MODEL)
    turned = Forcing(
        **{f.name: None if getattr(driven, f.name) is None else np.asfortranarray(getattr(driven, f.name)) for f in fields(Forcing)}
    )
    kept, _ = simulate_series(columns, start, turned, MODEL, keep=("green_cover", "runoff_mm"), compiled=True)
    whole, _ = simulate_series(columns, start, driven, MODEL, keep=SERIES, compiled=False)
    assert list(kept) == ["green_cover", "runoff_mm"]
    for name, series in kept.items():
        assert np.array_equal(series, whole[name]), name


def test_long_runs_are_compiled_and_short_ones_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    columns, driven = mixed(PLAIN), weather(winter=False, gaps=False, days=4)
    start = first_guess(columns, MODEL)
    monkeypatch.setattr(compiled_module, "run_compiled", lambda *given: asked.append(given) or start)
    simulate_series(columns, start, driven, MODEL, keep=())
    assert not asked
    monkeypatch.setattr(simulate_module, "COMPILED_FROM_COLUMN_DAYS", 4 * COLUMNS)
    simulate_series(columns, start, driven, MODEL, keep=())
    assert len(asked) == 1
    simulate_series(columns, start, driven, MODEL, keep=(), compiled=False)
    assert len(asked) == 1
    monkeypatch.setattr(simulate_module, "find_spec", lambda name: None)
    simulate_series(columns, start, driven, MODEL, keep=())
    assert len(asked) == 1, "without the extra nothing is missed"


def test_what_is_stored_of_compiled_code_is_not_used_once_a_kernel_or_a_number_in_it_has_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    before = compiled_module._fingerprint(compiled_module._kernels())
    assert before == compiled_module._fingerprint(compiled_module._kernels())
    with monkeypatch.context() as changed:
        changed.setattr("forecaster.physics.soil_water.EXCHANGE_SHARE", 0.3)
        assert compiled_module._fingerprint(compiled_module._kernels()) != before
    assert compiled_module._fingerprint(compiled_module._kernels()[1:]) != before
