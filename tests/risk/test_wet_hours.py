"""From hours to spells, and what the outlook keeps of them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd

from forecaster.documents import SurfaceOutlook
from forecaster.physics.leaf_wetness import Cause, LeafWetness
from forecaster.risk.outlook import build_outlook
from forecaster.risk.wet_hours import WetHours, wet_hours_of, wet_spells
from forecaster.soil.wetness import HourlyWetness
from tests.risk import builders

FIRST = datetime(2026, 9, 28, 0, tzinfo=UTC)
DRY, RAIN, WATER, DEW, FROST = Cause.DRY, Cause.RAIN, Cause.IRRIGATION, Cause.DEW, Cause.FROST


def made(
    *causes: Cause | None, shares: dict[int, float] | None = None, added: tuple[int, ...] = (), exact_until: int = 99
) -> HourlyWetness:
    """Hours from FIRST on by cause; None is an hour without weather."""
    count = len(causes)
    code = np.array([[cause or 0] for cause in causes], dtype=np.int8)
    share = np.array([[(shares or {}).get(hour, float(bool(cause)))] for hour, cause in enumerate(causes)])
    film = LeafWetness(
        **dict.fromkeys(
            ("water_mm", "dew_mm", "evaporation_mm", "drip_mm", "surface_temperature_c", "hours_until_dry"), np.zeros((count, 1))
        ),
        wet=code > 0,
        wet_share=share,
        cause=code,
        known=np.array([[cause is not None] for cause in causes]),
    )
    hours = pd.date_range(FIRST, periods=count, freq="h")
    water = np.array([[hour in added] for hour in range(count)])
    return HourlyWetness(hours, film, water, np.arange(count) < exact_until, ())


def spells(wetness: HourlyWetness, *, since: int = 0, until: int = 99) -> list[tuple[str, float, float]]:
    """Cause, start and end in hours after FIRST."""
    found = wet_spells(wetness, 0, since=FIRST + timedelta(hours=since), until=FIRST + timedelta(hours=until))
    return [(s.cause, *((at - FIRST) / timedelta(hours=1) for at in (s.starts_at_utc, s.ends_at_utc))) for s in found]


def test_a_spell_ends_within_its_last_hour() -> None:
    assert spells(made(DRY, DEW, DEW, DRY, shares={2: 0.25})) == [("dew", 1.0, 2.25)]


def test_another_cause_makes_another_spell() -> None:
    wetness = made(DEW, DEW, RAIN, RAIN, RAIN, DRY, WATER, added=(2, 3, 6))
    assert spells(wetness) == [("dew", 0.0, 2.0), ("rain", 2.0, 5.0), ("irrigation", 6.0, 7.0)]
    rain, water = wet_spells(wetness, 0, since=FIRST + timedelta(hours=2), until=FIRST + timedelta(hours=9))
    assert rain.water_until_utc == FIRST + timedelta(hours=4)
    assert water.water_until_utc == FIRST + timedelta(hours=7)


def test_a_night_of_dew_with_frost_in_it_is_one_of_frost() -> None:
    assert spells(made(DEW, DEW, FROST, DEW, DRY, DEW)) == [("frost", 0.0, 4.0), ("dew", 5.0, 6.0)]
    assert spells(made(RAIN, FROST, FROST, RAIN)) == [("rain", 0.0, 1.0), ("frost", 1.0, 3.0), ("rain", 3.0, 4.0)]


def test_hours_without_weather_are_a_spell_of_their_own() -> None:
    assert spells(made(DEW, None, None, DRY)) == [("dew", 0.0, 1.0), ("unknown", 1.0, 3.0)]


def test_only_spells_that_touch_the_days_are_kept_and_those_in_full() -> None:
    wetness = made(DEW, DEW, DRY, RAIN, RAIN, DRY, DEW)
    assert spells(wetness, since=1, until=4) == [("dew", 0.0, 2.0), ("rain", 3.0, 5.0)]
    assert spells(wetness, since=2, until=3) == []


def test_a_spell_that_reaches_into_hours_far_ahead_is_not_exact() -> None:
    wetness = made(DEW, DRY, RAIN, RAIN, exact_until=3)
    assert [s.exact for s in wet_spells(wetness, 0, since=FIRST, until=FIRST + timedelta(hours=9))] == [True, False]


def test_a_ground_without_weather_is_not_known_for_all_five_days() -> None:
    ground = builders.ground(builders.surface(), builders.surface(name="green"))
    found = wet_hours_of(ground, None, now=builders.ISSUED)
    assert set(found) == {"main", "green"}
    for hours in found.values():
        (only,) = hours.spells
        assert only.cause == "unknown"
        assert only.starts_at_utc <= builders.ISSUED
        assert only.ends_at_utc >= builders.ISSUED + timedelta(days=5)


def test_the_outlook_keeps_them_and_one_without_still_loads() -> None:
    kept = wet_spells(made(DEW, RAIN, added=(1,)), 0, since=FIRST, until=FIRST + timedelta(hours=9))
    outlook = build_outlook(builders.run(), (), today=builders.TODAY, issued_at=builders.ISSUED, wet_hours=WetHours(kept))
    assert SurfaceOutlook.model_validate_json(outlook.model_dump_json()).wet_hours == kept
    old = outlook.model_dump(mode="json")
    del old["wet_hours"]
    assert SurfaceOutlook.model_validate(old).wet_hours is None  # not worked out, which is not the same as dry


def test_what_was_estimated_for_them_is_a_note_and_what_is_assumed_stands_with_the_assumptions() -> None:
    hours = WetHours((), ("wind taken as 2 m/s",))
    outlook = build_outlook(builders.run(), (), today=builders.TODAY, issued_at=builders.ISSUED, wet_hours=hours)
    assert "Wet hours had to be worked out with estimates: wind taken as 2 m/s." in outlook.notes
    turf = builders.surface().turf
    # 24 leaf areas a metre of height (FAO-56 box 5) at 0.2 mm each, and 0.3 mm on thatch (own number).
    holds = 24 * turf.height_m * 0.2 + 0.3
    said = next(text for text in outlook.assumptions if text.startswith("Wet hours:"))
    assert "05:00" in said
    assert f"turf {1000 * turf.height_m:.0f} mm tall as holding at most {holds:.1f} mm" in said
