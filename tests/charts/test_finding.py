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
    for repellency, again in (("wettable", "Sound turf takes water again since"), ("severe", "Sound turf is moist again since")):
        band = pitch.days[0].band
        assert band is not None
        moist = band.model_copy(update={"surface_water_m3m3": 0.19, "repellency_class": repellency})
        days = tuple(d.model_copy(update={"band": moist}) if d.day >= builders.d(9, 7) else d for d in pitch.days)
        sentence = water_finding(pitch.model_copy(update={"days": days}))
        assert "the band since 7 September" in sentence
        assert sentence.startswith(again)
        assert ("still repels water" in sentence) == (repellency == "severe")


def test_a_moist_surface_is_told_up_to_the_last_day() -> None:
    last = builders.green().days[-1].day
    assert water_finding(builders.green()) == f"Sound turf and band stay moist enough to take water up to {last.day} {last:%B}"


def test_a_dry_spell_ahead_is_told_with_its_end_where_a_known_day_ends_it() -> None:
    green = builders.green()
    dry = green.days[0].band
    assert dry is not None
    dry = dry.model_copy(update={"surface_water_m3m3": green.marks.critical_water_band_m3m3 - 0.01})

    def told(leads: range, unknown: int | None = None) -> str:
        days = [d.model_copy(update={"band": dry}) if d.lead_days in leads else d for d in green.days]
        days = [d.model_copy(update={"sound": None, "band": None}) if d.lead_days == unknown else d for d in days]
        return water_finding(green.model_copy(update={"days": tuple(days)})).partition("; the band may become too dry to take water well ")[
            2
        ]

    assert told(range(2, 3)) == "on about 12 September"
    assert told(range(2, 5)) == "from about 12 September to 14 September"
    assert told(range(2, 5), unknown=5) == "from about 12 September"
    assert told(range(2, 99)) == "from about 12 September"


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
    assert f"in the week from {best.day.day} September ({100 * (best.flush_chance_7_days or 0):.0f}% on one ring)" in ring_finding(pitch)


def test_a_chance_that_rounds_to_nothing_is_not_called_at_most_nothing() -> None:
    green = builders.green()
    days = tuple(d.model_copy(update={"flush_chance_7_days": 0.004}) for d in green.days)
    assert flush_finding(green.model_copy(update={"days": days})) == "fruit bodies unlikely (less than 1% a week on one ring)"


def test_a_moist_band_that_repels_yet_is_not_said_to_take_water() -> None:
    # Repellency lags behind the water that ends it: "strong" begins at 60 s (Dekker & Jungerius 1990, memory).
    green = builders.green()
    days = tuple(
        d.model_copy(update={"band": d.band.model_copy(update={"repellency_log10_s": 2.4, "repellency_class": "strong"})})
        for d in green.days
        if d.band
    )
    last = green.days[-1].day
    sentence = water_finding(green.model_copy(update={"days": days}))
    assert sentence == f"Sound turf and band stay moist up to {last.day} {last:%B}, but the band still repels water"


def test_the_limit_of_the_rule_decides_when_rings_stand_out() -> None:
    pitch = builders.pitch()
    today = next(d for d in pitch.days if d.lead_days == 0)
    assert today.ring_contrast is not None
    strict = pitch.marks.model_copy(update={"rings_show_at": today.ring_contrast + 0.01})
    assert contrast_finding(pitch).startswith("Rings have stood out since")
    assert contrast_finding(pitch.model_copy(update={"marks": strict})).startswith("Rings likely to stand out from about")
    silent = pitch.marks.model_copy(update={"rings_show_at": None})
    assert f"is {100 * today.ring_contrast:.0f}% today" in contrast_finding(pitch.model_copy(update={"marks": silent}))


def test_rings_stand_out_since_the_day_that_page_and_mail_name() -> None:
    pitch = builders.pitch()
    told = tuple(s.model_copy(update={"quantity": "ring_contrast"}) if s.rule_id == "rings-showing" else s for s in pitch.signals)
    (signal,) = (s for s in told if s.quantity)
    assert contrast_finding(pitch.model_copy(update={"signals": told})) == f"Rings have stood out since {signal.first_day.day} September"


def test_rings_that_have_faded_are_told_with_their_last_day() -> None:
    pitch = builders.pitch()
    faded = tuple(d.model_copy(update={"ring_contrast": 0.3 if d.day <= builders.d(9, 5) else 0.1}) for d in pitch.days)
    assert contrast_finding(pitch.model_copy(update={"days": faded})) == "Rings stood out until 5 September and have faded since"


def test_where_no_ring_is_surveyed_dry_patches_are_told_instead() -> None:
    bare = builders.pitch().model_copy(update={"rings": ()})
    assert contrast_finding(bare).startswith("Dry patches have stood out since")
