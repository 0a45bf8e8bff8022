"""The dual crop coefficient and the water balance against FAO-56's worked examples (values and traps: tests/references/fao56.py)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.physics import soil_water as sw
from tests.references import fao56


def column(value: float) -> np.ndarray:
    return np.array([float(value)])


def root_zone(**changes: float) -> sw.RootZoneColumns:
    numbers = {
        "field_capacity_m3m3": 0.23,
        "wilting_point_m3m3": 0.10,
        "saturation_m3m3": 0.40,
        "root_depth_m": 0.30,
        "surface_depth_m": 0.10,
        "readily_evaporable_mm": 8.0,
        "drains_per_day": 1.0,
        "held_back_mm": 0.0,
        "percolation_limit_mm": 1000.0,
        "exchange_per_day": 0.0,
    }
    return sw.root_zone_columns(**{name: column(value) for name, value in (numbers | changes).items()})


def stores(exposed: float = 0.0, surface: float = 0.0, lower: float = 0.0) -> sw.Stores:
    return sw.Stores(column(exposed), column(surface), column(lower))


def demand(et0: float, kcb: float, kc_max: float, few: float, p: float) -> sw.Demand:
    return sw.Demand(column(et0), column(kcb), column(kc_max), column(few), column(p))


def test_box_14_climate_adjustment_of_a_crop_coefficient() -> None:
    box = fao56.Box14
    for wind, printed in box.by_wind_speed_2m_ms:
        adjusted = sw.climate_adjusted_coefficient(
            column(box.crop_coefficient),
            wind_speed_2m_ms=column(wind),
            relative_humidity_min_percent=column(box.relative_humidity_min_percent),
            height_m=column(box.height_m),
        )
        assert adjusted[0] == printed.approx


def test_example_31_evaporation_coefficient_of_a_drying_bare_loam() -> None:
    example = fao56.Example31
    # TEW 20 mm from any soil with 1000 (FC - 0.5 WP) Ze = 20
    soil = root_zone(
        field_capacity_m3m3=0.25, wilting_point_m3m3=0.10, surface_depth_m=0.10, readily_evaporable_mm=example.readily_evaporable_mm
    )
    assert soil.total_evaporable_mm[0] == pytest.approx(example.total_evaporable_mm)
    state = stores(exposed=example.exposed_depletion_before_mm)
    for depletion, crop_et in zip(example.exposed_depletion_end_mm, example.crop_evapotranspiration_mm, strict=True):
        state, flux = sw.water_day(
            # The example has no root zone: keep the surface layer full so that only the exposed layer limits evaporation.
            sw.Stores(state.exposed_mm, column(0.0), column(0.0)),
            soil,
            demand(example.et0_mm, example.basal_coefficient, example.kc_max, example.exposed_fraction, 0.5),
            into_surface_mm=column(0.0),
            into_lower_mm=column(0.0),
        )
        assert state.exposed_mm[0] == depletion.approx
        assert (flux.evaporation_coefficient[0] + example.basal_coefficient) * example.et0_mm == crop_et.approx


def test_examples_32_to_34_evaporation_from_sprinkled_furrowed_and_dripped_cotton() -> None:
    example = fao56.Example32
    largest = sw.largest_crop_coefficient(
        column(example.basal_coefficient),
        wind_speed_2m_ms=column(example.wind_speed_2m_ms),
        relative_humidity_min_percent=column(example.relative_humidity_min_percent),
        height_m=column(example.height_m),
    )
    assert largest[0] == example.kc_max.approx
    covered = sw.covered_fraction(
        column(example.basal_coefficient),
        smallest_basal=column(example.minimum_coefficient),
        largest=largest,
        height_m=column(example.height_m),
    )
    assert covered[0] == example.covered_fraction.approx

    def ke(few: np.ndarray) -> float:
        return float(
            sw.evaporation_coefficient(
                column(1.0), largest_coefficient=largest, basal_coefficient=column(example.basal_coefficient), exposed_fraction=few
            )[0]
        )

    sprinkled = sw.exposed_and_wetted_fraction(covered, example.wetted_fraction)
    assert sprinkled[0] == example.exposed_fraction.approx
    assert ke(sprinkled) == example.evaporation_coefficient.approx
    furrow = sw.exposed_and_wetted_fraction(covered, fao56.Example33.wetted_fraction)
    assert ke(furrow) == fao56.Example33.evaporation_coefficient.approx
    dripped = sw.exposed_and_wetted_fraction(covered, fao56.Example34.wetted_fraction * (1.0 - 2.0 / 3.0 * covered))
    assert dripped[0] == fao56.Example34.exposed_fraction.approx
    assert ke(dripped) == fao56.Example34.evaporation_coefficient.approx


def run_example_35(order: sw.DayOrder, *, refill: bool = False) -> list[tuple[sw.Stores, sw.WaterFluxes, sw.Demand]]:
    """Examples 35 and 38: one crop, ten days; the second follows the root zone and refills it on the last day."""
    example, rooted = fao56.Example35, fao56.Example38
    largest = sw.largest_crop_coefficient(
        column(0.3),
        wind_speed_2m_ms=column(example.wind_speed_2m_ms),
        relative_humidity_min_percent=column(example.relative_humidity_min_percent),
        height_m=column(example.height_m),
    )
    assert largest[0] == example.kc_max.approx
    depths = np.linspace(rooted.root_depth_first_m, rooted.root_depth_last_m, 10)
    share = example.surface_depth_m / depths[0]
    state = stores(example.exposed_depletion_before_mm, share * rooted.depletion_before_mm, (1 - share) * rooted.depletion_before_mm)
    days = []
    for day in range(10):
        few = sw.exposed_and_wetted_fraction(column(1.0 - example.uncovered_fraction[day]), example.wetted_fraction[day])
        water = example.irrigation_mm[day] + example.rain_mm[day]
        if refill and rooted.irrigation_refill_mm[day]:
            # The paper gives the 27 mm of its own rounded Dr; what it means is a refill to field capacity.
            assert state.root_zone_mm[0] == pytest.approx(rooted.irrigation_refill_mm[day], abs=0.5)
            water += float(state.root_zone_mm[0])
        asked = sw.Demand(
            column(example.et0_mm[day]), column(example.basal_coefficient[day]), largest, few, column(rooted.depletion_fraction)
        )
        state, flux = sw.water_day(
            state,
            root_zone(root_depth_m=depths[day], readily_evaporable_mm=example.readily_evaporable_mm),
            asked,
            into_surface_mm=column(water),
            into_lower_mm=column(0.0),
            order=order,
        )
        days.append((state, flux, asked))
    return days


def test_example_35_evaporation_over_ten_days_with_early_water() -> None:
    example = fao56.Example35
    assert root_zone().total_evaporable_mm[0] == pytest.approx(example.total_evaporable_mm)
    for day, (state, flux, asked) in enumerate(run_example_35(sw.DayOrder.WATER_FIRST)):
        assert flux.evaporation_reduction[0] == example.reduction_coefficient[day].approx
        assert flux.evaporation_coefficient[0] == example.evaporation_coefficient[day].approx
        assert state.exposed_mm[0] == example.exposed_depletion_end_mm[day].approx
        if day + 1 not in example.inconsistent_days:
            assert flux.evaporation_mm[0] == example.evaporation_mm[day].approx
            crop_et = (asked.basal_coefficient[0] + flux.evaporation_coefficient[0]) * asked.et0_mm[0]
            assert crop_et == example.crop_evapotranspiration_mm[day].approx


def test_example_36_total_and_readily_available_water() -> None:
    example = fao56.Example36
    for (crop, soil_name), (taw, raw) in example.taw_and_raw_mm.items():
        depth, fraction = example.crops[crop]
        capacity, wilting = example.soils[soil_name]
        soil = root_zone(field_capacity_m3m3=capacity, wilting_point_m3m3=wilting, root_depth_m=depth)
        assert soil.total_available_mm[0] == taw.approx
        assert fraction * soil.total_available_mm[0] == raw.approx


def test_example_37_ten_days_without_water() -> None:
    example = fao56.Example37
    fraction = example.readily_available_mm / example.total_available_mm
    depletion = example.depletion_before_mm
    for ks_printed, end_printed in zip(example.stress_coefficient, example.depletion_end_mm, strict=True):
        ks = sw.stress_coefficient(
            column(depletion), total_available_mm=column(example.total_available_mm), depletion_fraction=column(fraction)
        )[0]
        assert ks == ks_printed.approx
        depletion += ks * example.crop_coefficient * example.et0_mm
        assert depletion == end_printed.approx


def test_example_38_as_printed_drains_before_evapotranspiration() -> None:
    example = fao56.Example38
    days = run_example_35(sw.DayOrder.WATER_FIRST, refill=True)
    assert days[0][1].drainage_mm[0] == example.deep_percolation_first_day_mm.approx
    for day, (state, flux, asked) in enumerate(days):
        assert flux.stress_coefficient[0] == 1.0
        assert state.root_zone_mm[0] == example.depletion_end_mm[day].approx
        assert state.root_zone_mm[0] == pytest.approx(example.recalculated_water_first_mm[day], abs=0.01)
        if day + 1 != 3:
            crop_et = (asked.basal_coefficient[0] + flux.evaporation_coefficient[0]) * asked.et0_mm[0]
            assert crop_et == example.crop_evapotranspiration_mm[day].approx


def test_example_38_by_equation_88_drains_after_evapotranspiration_and_stays_apart() -> None:
    # De still sees early water in the recalculated row, so its evaporation is taken from the run above.
    first = run_example_35(sw.DayOrder.WATER_FIRST, refill=True)
    depletion = fao56.Example38.depletion_before_mm
    example = fao56.Example35
    for day, expected in enumerate(fao56.Example38.recalculated_eq88_mm):
        water = example.irrigation_mm[day] + example.rain_mm[day] + fao56.Example38.irrigation_refill_mm[day]
        lost = first[day][1].evaporation_mm[0] + first[day][1].transpiration_mm[0]
        soil = root_zone(surface_depth_m=0.05)
        # A day without demand moves water only; the evapotranspiration of the day is taken by hand, in the order of eq. 88.
        state, flux = sw.water_day(
            stores(surface=0.0, lower=depletion + lost),
            soil,
            demand(0.0, 0.3, 1.2, 0.5, 0.6),
            into_surface_mm=column(water),
            into_lower_mm=column(0.0),
            order=sw.DayOrder.DRAIN_LAST,
        )
        depletion = state.root_zone_mm[0]
        if day < 9:  # the last day refills before the ET in both rows
            assert depletion == pytest.approx(expected, abs=0.006)
        assert flux.evaporation_mm[0] == 0.0


amounts = st.floats(0.0, 60.0)


@given(
    rain=st.lists(amounts, min_size=1, max_size=40),
    et0=st.floats(0.0, 9.0),
    kcb=st.floats(0.2, 1.2),
    cover=st.floats(0.0, 0.99),
    order=st.sampled_from(sw.DayOrder),
    depth=st.floats(0.08, 0.6),
)
def test_nested_stores_equal_the_one_bucket_balance_of_fao_56(
    rain: list[float], et0: float, kcb: float, cover: float, order: sw.DayOrder, depth: float
) -> None:
    """With immediate drainage, Ds + Dl follows FAO-56 eqs 85 and 88 on one bucket that loses the same E and T."""
    soil = root_zone(root_depth_m=depth, surface_depth_m=0.05, readily_evaporable_mm=4.0)
    few = float(sw.exposed_and_wetted_fraction(column(cover))[0])
    state, bucket = stores(), 0.0
    for water in rain:
        state, flux = sw.water_day(
            state,
            soil,
            demand(et0, kcb, max(1.2, kcb + 0.05), few, 0.4),
            into_surface_mm=column(water),
            into_lower_mm=column(0.0),
            order=order,
        )
        lost = float(flux.evaporation_mm[0] + flux.transpiration_mm[0])
        percolation = max(water - bucket, 0.0) if order is sw.DayOrder.WATER_FIRST else max(water - lost - bucket, 0.0)
        bucket = bucket - water + lost + percolation
        assert state.root_zone_mm[0] == pytest.approx(bucket, abs=1e-9)
        assert flux.drainage_mm[0] == pytest.approx(percolation, abs=1e-9)
        assert flux.saturation_runoff_mm[0] == 0.0


@given(
    start=st.tuples(st.floats(0.0, 8.9), st.floats(-8.4, 8.9), st.floats(-25.0, 19.0)),
    into_surface=st.floats(0.0, 200.0),
    into_lower=st.floats(0.0, 40.0),
    et0=st.floats(0.0, 12.0),
    kcb=st.floats(0.0, 1.3),
    few=st.floats(0.01, 1.0),
    drains=st.floats(0.01, 1.0),
    exchange=st.sampled_from([0.0, 0.2, 1.0]),
    order=st.sampled_from(sw.DayOrder),
)
def test_every_day_closes_and_stays_in_bounds(
    start: tuple[float, float, float],
    into_surface: float,
    into_lower: float,
    et0: float,
    kcb: float,
    few: float,
    drains: float,
    exchange: float,
    order: sw.DayOrder,
) -> None:
    soil = root_zone(root_depth_m=0.20, surface_depth_m=0.05, readily_evaporable_mm=4.0, drains_per_day=drains, exchange_per_day=exchange)
    before = stores(*start)
    after, flux = sw.water_day(
        before,
        soil,
        demand(et0, kcb, max(1.2, kcb + 0.05), few, 0.4),
        into_surface_mm=column(into_surface),
        into_lower_mm=column(into_lower),
        order=order,
    )
    out = flux.evaporation_mm + flux.transpiration_mm + flux.drainage_mm + flux.saturation_runoff_mm
    gained = before.root_zone_mm - after.root_zone_mm
    assert into_surface + into_lower == pytest.approx(float(out[0] + gained[0]), abs=1e-9)
    for flow in (flux.evaporation_mm, flux.transpiration_mm, flux.drainage_mm, flux.saturation_runoff_mm):
        assert flow[0] >= 0.0
    slack = 1e-9
    assert -slack <= after.exposed_mm[0] <= soil.total_evaporable_mm[0] + slack
    assert -soil.surface_excess_limit_mm[0] - slack <= after.surface_mm[0] <= soil.total_evaporable_mm[0] + slack
    assert -soil.lower_excess_limit_mm[0] - slack <= after.lower_mm[0] <= soil.lower_available_mm[0] + slack
    assert 0.0 <= flux.stress_coefficient[0] <= 1.0


def test_evaporation_and_transpiration_take_only_what_is_there() -> None:
    soil = root_zone(root_depth_m=0.10, surface_depth_m=0.05, readily_evaporable_mm=4.0)
    almost_dry = stores(exposed=8.9, surface=6.4, lower=6.4)
    after, flux = sw.water_day(almost_dry, soil, demand(12.0, 1.2, 1.25, 0.05, 0.1), into_surface_mm=column(0.0), into_lower_mm=column(0.0))
    assert 0.0 < flux.transpiration_mm[0] <= 0.2 + 1e-12  # 13 mm available, 12.8 mm gone
    assert after.root_zone_mm[0] <= soil.total_available_mm[0] + flux.evaporation_mm[0] + 1e-12


def test_layers_even_out_their_shares_and_repellent_soil_does_not_draw_water_up() -> None:
    soil = root_zone(exchange_per_day=0.2)
    idle = demand(0.0, 0.3, 1.2, 0.05, 0.4)
    still = {"into_surface_mm": column(0.0), "into_lower_mm": column(0.0)}
    dry_top = stores(surface=10.0, lower=0.0)
    evened, _ = sw.water_day(dry_top, soil, idle, **still)
    repelled, _ = sw.water_day(dry_top, soil, idle, wettable=column(0.0), **still)
    assert evened.surface_mm[0] == pytest.approx(8.0)  # a fifth of the 10 mm that it lacks
    assert evened.root_zone_mm[0] == pytest.approx(10.0)
    assert repelled.surface_mm[0] == 10.0
    dry_below, _ = sw.water_day(stores(surface=0.0, lower=13.0), soil, idle, **still)
    assert dry_below.surface_mm[0] == pytest.approx(0.2 * 13.0 * 13.0 / 26.0)  # 13 mm of the surface layer's 13 against 26 below


def test_a_full_root_zone_backs_up_into_the_surface_layer_before_anything_runs_off() -> None:
    """Full below, nothing drains away, 10 mm of rain on 17 mm of free pores above (0.17 × 100 mm), half of it moving on: all stays."""
    soil = root_zone(drains_per_day=0.5, percolation_limit_mm=0.0)
    full_below = stores(lower=-34.0)  # 0.17 m³/m³ above field capacity over 200 mm
    nothing = demand(0.0, 0.9, 1.2, 0.05, 0.4)
    after, flux = sw.water_day(full_below, soil, nothing, into_surface_mm=column(10.0), into_lower_mm=column(0.0))
    assert (after.surface_mm[0], after.lower_mm[0]) == pytest.approx((-10.0, -34.0))
    assert flux.saturation_runoff_mm[0] == pytest.approx(0.0)
    after, flux = sw.water_day(full_below, soil, nothing, into_surface_mm=column(20.0), into_lower_mm=column(0.0))
    assert after.surface_mm[0] == pytest.approx(-17.0)
    assert flux.saturation_runoff_mm[0] == pytest.approx(3.0)
