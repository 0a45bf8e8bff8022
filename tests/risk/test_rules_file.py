"""config/rules.toml: the seven rules say what they must, on states that call for each."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from forecaster.quantities import RISK_QUANTITIES
from forecaster.risk.outlook import build_outlook
from forecaster.risk.rule import Rule
from tests.risk.builders import ISSUED, TODAY, daily_weather, ring, run, shipped_rules, simulation, surface

COUNT = 94
RULES = {rule.id: rule for rule in shipped_rules()}


def always(value: float) -> dict[int, float]:
    return dict.fromkeys(range(COUNT), value)


def signal_of(rule_id: str, *, today: date = TODAY, weather: dict | None = None, latitude: float = 52.0, **states):
    daily = daily_weather(today - timedelta(days=80), COUNT, today=today, **(weather or {}))
    found = build_outlook(
        run(of=surface(ring()), daily=daily, states=simulation(COUNT, **states), latitude=latitude),
        (RULES[rule_id],),
        today=today,
        issued_at=ISSUED,
    )
    return next((signal for signal in found.signals if signal.rule_id == rule_id), None)


def test_there_are_the_seven():
    assert set(RULES) == {
        *("drought-stress", "dry-patch", "rain-will-run-off", "rings-showing"),
        *("flush", "preventive-season-open", "wetting-agent-worth-it"),
    }


SPEAKING = {
    "drought-stress": {"sound": {"stress_coefficient": always(0.4)}},
    "dry-patch": {"band": {"repellency_log10_s": always(2.4)}},
    "rain-will-run-off": {"weather": {"rain_mm": always(12.0)}, "band": {"water_lost_mm": always(7.0), "repellency_log10_s": always(3.0)}},
    "rings-showing": {"band": {"green_cover": always(0.5)}},
    "flush": {"sound": {"flush_hazard_per_day": always(0.1)}},
    "preventive-season-open": {"today": date(2026, 4, 20), "weather": {"soil_temperature_c": dict.fromkeys(range(78), 8.0)}},
    "wetting-agent-worth-it": {"today": date(2026, 4, 20), "band": {"surface_water_m3m3": always(0.17)}},
}


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_each_speaks_when_it_should_with_numbers_in_its_reason(rule_id):
    found = signal_of(rule_id, **SPEAKING[rule_id])
    assert found is not None
    assert re.search(r"\d", found.reason)
    for bad in ("nan", "{", "}", "unknown", "log10"):
        assert bad not in found.reason


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_each_is_silent_on_healthy_turf(rule_id):
    assert signal_of(rule_id) is None


@pytest.mark.parametrize(
    ("why", "changes"),
    [
        ("the soil is full of water but takes a drop at once", {"band": {"water_lost_mm": always(7.0), "repellency_log10_s": always(0.3)}}),
        ("the soil is frozen", {"weather": {"rain_mm": always(12.0), "soil_temperature_c": always(-1.0)}}),
    ],
)
def test_rain_that_runs_off_for_another_reason_than_repellency_is_not_blamed_on_it(why, changes):
    # Wettable: a drop is gone within 5 s (Dekker & Jungerius 1990, memory).
    assert signal_of("rain-will-run-off", **(SPEAKING["rain-will-run-off"] | changes)) is None, why


def test_no_wetting_agent_in_preventive_work_is_laid_to_the_alert_that_says_so():
    # The alert of 2010 warns of it; the one of 10 March 2011 gives the temperature. Univ. of Missouri 2011 gives both.
    assert "no wetting agent: NC State 2010 and Univ. of Missouri 2011" in RULES["preventive-season-open"].source


def test_a_reason_names_the_day_and_plain_numbers():
    found = signal_of("drought-stress", **SPEAKING["drought-stress"])
    assert found.reason == (
        "Today: Sound turf goes short of 60% of the water it wants: 80% of what its roots can reach is left. "
        "Days in a row without rain: 81."
    )


SPRING = date(2026, 4, 20)


@pytest.mark.parametrize(
    ("why", "changes"),
    [
        ("soil already repels", {"band": {"surface_water_m3m3": always(0.15)}}),
        ("soil is evenly wet", {"band": {"surface_water_m3m3": always(0.23)}}),
        ("turf is dormant", {"sound": {"green_cover": always(0.3)}}),
        ("leaf is too hot", {"weather": {"air_temperature_max_c": always(31.0)}}),
        ("frost", {"weather": {"air_temperature_min_c": always(-1.0)}}),
        ("not spring", {"today": date(2026, 11, 1)}),
    ],
)
def test_no_wetting_agent_where_it_harms_or_does_nothing(why, changes):
    # Limits: common practice, no source (never on dormant, hot or frozen leaf); start in spring while moist: Bigelow 2010, Purdue.
    asked = {"today": SPRING, "band": {"surface_water_m3m3": always(0.17)}} | changes
    assert signal_of("wetting-agent-worth-it", **asked) is None, why


def test_the_wetting_agent_rule_falls_silent_when_turf_goes_dormant_later():
    cover = always(0.9) | dict.fromkeys(range(83, COUNT), 0.3)
    found = signal_of("wetting-agent-worth-it", today=SPRING, band={"surface_water_m3m3": always(0.17)}, sound={"green_cover": cover})
    assert found.present
    assert not found.reaches_horizon


def test_preventive_advice_keeps_the_published_numbers_and_no_wetting_agent():
    # Two treatments 28 days apart, wash-in 3-6 mm, no wetting agent: NC State 2010 and 2011; Univ. of Missouri 2011.
    advice = RULES["preventive-season-open"].advice
    assert "28 days" in advice
    assert "3 to 6 mm" in advice
    assert "no wetting agent in the tank" in advice


@pytest.mark.parametrize("of", RULES.values(), ids=RULES.keys())
def test_no_rule_gives_a_product_rate_and_each_has_a_source(of: Rule):
    text = f"{of.advice} {of.reason}"
    assert not re.search(r"\b(l|ml|g|kg|litres?)\s*(/|per)\s*(ha|m²|m2|hectare)", text, re.IGNORECASE)
    assert of.source
    assert of.quantity in RISK_QUANTITIES
    assert of.severity_bands


@pytest.mark.parametrize("of", RULES.values(), ids=RULES.keys())
def test_headlines_make_no_promise(of: Rule):
    assert " may " in of.headline_ahead
    assert "{when}" in of.headline_ahead
    assert not of.headline_now.endswith(".")
