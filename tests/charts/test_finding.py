"""The title of a chart says what its numbers say. Expected sentences follow from the hand-drawn story in tests/web/builders.py."""

from __future__ import annotations

from datetime import timedelta

from forecaster.charts.finding import contrast_finding, flush_finding, ring_finding, water_finding
from forecaster.documents import SurfaceOutlook
from tests.web import builders


def shortened(outlook: SurfaceOutlook, *, first_lead: int) -> SurfaceOutlook:
    return outlook.model_copy(update={"days": tuple(d for d in outlook.days if d.lead_days >= first_lead)})


def first_day(outlook: SurfaceOutlook, holds: object) -> str:
    day = next(d.day for d in outlook.days if holds(d))  # type: ignore[operator]
    return f"{day.day} {day:%B}"


def test_a_dry_band_beside_recovered_turf_is_told_with_both_dates() -> None:
    pitch = builders.pitch()
    critical = pitch.marks.critical_water_band_m3m3
    band_dry = first_day(pitch, lambda d: d.band.surface_water_m3m3 < critical)
    rain = builders.d(8, 28)
    sound_wet = first_day(pitch, lambda d: d.day >= rain and d.sound.surface_water_m3m3 >= critical)
    assert water_finding(pitch) == f"The band has been too dry to take water well since {band_dry}; sound turf recovered on {sound_wet}"


def test_a_spell_older_than_the_window_is_dated_before_it() -> None:
    pitch = shortened(builders.pitch(), first_lead=-20)
    start = builders.TODAY - timedelta(days=20)
    assert f"since before {start.day} {start:%B}" in water_finding(pitch)


def test_a_finished_spell_is_told_too() -> None:
    pitch = builders.pitch()
    moist = pitch.days[0].band.model_copy(update={"surface_water_m3m3": 0.19}) if pitch.days[0].band else None
    days = tuple(d.model_copy(update={"band": moist}) if d.day >= builders.d(9, 7) else d for d in pitch.days)
    sentence = water_finding(pitch.model_copy(update={"days": days}))
    assert "the band since 7 September" in sentence
    assert sentence.startswith("Sound turf takes water again since")


def test_a_moist_surface_is_told_up_to_the_last_day() -> None:
    last = builders.green().days[-1].day
    assert water_finding(builders.green()) == f"Sound turf and band stay moist enough to take water up to {last.day} {last:%B}"


def test_missing_weather_is_never_told_as_moist_or_ringless() -> None:
    outfield = builders.outfield()
    for sentence in (water_finding(outfield), contrast_finding(outfield)):
        assert sentence.startswith("Not known")
    assert flush_finding(outfield) == "chance of fruit bodies not known"


def test_days_ahead_without_weather_are_not_called_moist() -> None:
    green = builders.green()
    days = tuple(d.model_copy(update={"sound": None, "band": None, "ring_contrast": None}) if d.lead_days > 3 else d for d in green.days)
    cut = green.model_copy(update={"days": days})
    assert "not known" in water_finding(cut)
    assert "not known" in contrast_finding(cut)


def test_rings_ahead_are_dated() -> None:
    pitch = builders.pitch()
    hidden = tuple(d.model_copy(update={"ring_contrast": 0.1}) if d.day < builders.d(9, 15) else d for d in pitch.days)
    assert contrast_finding(pitch.model_copy(update={"days": hidden})) == "Rings likely to stand out from about 15 September"


def test_rings_of_type_2_and_3_are_never_said_to_be_absent() -> None:
    ring = builders.RINGS[0].model_copy(update={"type": 3})
    sentence = contrast_finding(builders.green().model_copy(update={"rings": (ring,)}))
    assert "type 2 and 3 can show" in sentence


def test_the_ring_chart_tells_the_highest_chance_and_its_week() -> None:
    pitch = builders.pitch()
    best = max((d for d in pitch.days if d.lead_days >= 0), key=lambda d: d.flush_chance_7_days or 0)
    assert f"in the week from {best.day.day} September ({100 * (best.flush_chance_7_days or 0):.0f} % on one ring)" in ring_finding(pitch)
