"""What an outlook rests on and what it cannot say, in plain words: the assumptions and notes of a surface."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date

from forecaster.documents import OutlookDay, WeatherStatus
from forecaster.ground.surface import Surface
from forecaster.physics.leaf_wetness import film_capacity
from forecaster.quantities import Origin
from forecaster.risk.sentences import MONTHS, counted, day_words, drop_words, listed
from forecaster.soil.wetness import IRRIGATION_HOUR
from forecaster.weather.quality import TAKEN_OUT

SHORT_SIMULATION_DAYS = 60
# Mails carry the notes but not the list of assumptions, so that there are some has to be said here.
ASSUMED = (
    "How repellent the soil is, how fast turf browns and where each warning begins are assumptions, not measurements of this ground, "
    "unless you entered your own: the page of each surface lists them."
)


def assumptions(surface: Surface, *, simulated_from: date, today: date, members: bool = False) -> tuple[str, ...]:
    """List what was assumed for a surface and can be replaced by what its people know or measure. ``members``: there are some."""
    soil = surface.root_zone
    plan = surface.irrigation
    if plan is None:
        watering = "No watering, because no plan is entered: every watering you give makes the real soil wetter than this outlook."
    else:
        watering = (
            f"Watering as planned, not as given: {plan.amount_mm:g} mm every {counted(plan.every_days, 'day')} "
            f"from {MONTHS[plan.first_month - 1]} to {MONTHS[plan.last_month - 1]}."
        )
    return (
        watering,
        f"Repellency of the soil (our defaults, where no drop test of yours is entered): bone dry, a drop would stand for "
        f"{drop_words(soil.potential_repellency_sound_log10_s)} on sound turf and {drop_words(soil.potential_repellency_band_log10_s)} "
        f"on ring bands and dry patches; the bands start to repel below {soil.critical_water_band_m3m3:.0%} water by volume.",
        f"Roots reach {100 * soil.root_depth_m:.0f} cm down (soil: {soil.soil_class}); measure yours, it decides how soon turf runs dry.",
        f"Fully green turf is taken to use {surface.turf.basal_crop_coefficient:.0%} of the water that the reference grass of the weather "
        "figures uses. Mown ryegrass and meadow grass have been measured to use about a quarter more: such turf dries out sooner.",
        "How much rain repellent soil keeps out decides how long bands stay dry and how strongly rings show. It is our estimate: "
        "nobody has published it for sports turf. So are how fast turf browns and greens up, and from which value on a risk is called "
        "by its name.",
        "Turf is taken to brown by drought, and warm-season turf by cold: disease and wear are not in it.",
        "Wetting agents and treatments already put down are not taken into account.",
        "The weather is that of the place: shade, shelter and covers of the surface are not taken into account.",
        f"Wet hours: planned water is taken as given all at once in the hour from {IRRIGATION_HOUR:02d}:00, and turf "
        f"{1000 * surface.turf.height_m:.0f} mm tall as holding at most {film_capacity(surface.turf.height_m):.1f} mm of water on leaf and "
        "thatch. That follows from the height alone; nobody has published it for mown turf.",
        "Toadstools: one published observation gives the delay after rain; the chances are our estimate. Rings are taken as independent of "
        "each other, and in the last six days of the outlook the chance covers fewer than seven days. Ground that never dries out, and "
        "soil above 22 °C, give no chance at all here, though some species of warm places do fruit in midsummer.",
        '"Likely" is used for the next three days and "Possible" for later ones. '
        + (
            "Warnings rest on a single forecast; how many weather members agree is a count, not a probability: members of one model lie "
            "too close together, and all start from the same soil."
            if members
            else "The forecast is a single run, not a spread of many."
        ),
        f"The state of soil and turf before {day_words(simulated_from, today=today)} was assumed: soil full of water, turf whole.",
    )


def notes(
    surface: Surface,
    days: Sequence[OutlookDay],
    weather: WeatherStatus,
    *,
    simulated_from: date,
    cold_season_unseen: bool,
    wet_hours_estimated: Sequence[str] = (),
) -> tuple[str, ...]:
    """List what is missing, estimated or not modelled in this outlook; the most important first.

    ``days``: past and coming days, oldest first. ``cold_season_unseen``: the weather at hand has no cold season to count from, and that
    matters now. ``wet_hours_estimated``: what the wet hours had to do without, in words.
    """
    found = []
    coming = [day for day in days if day.lead_days >= 0]
    past = [day for day in days if day.lead_days < 0]
    today = coming[0].day
    if weather.state != "fresh":
        found.append(weather.text)
    missing = [day for day in coming if day.origin is Origin.MISSING]
    if missing:
        found.append(
            f"No weather for {len(missing)} of the coming {counted(len(coming), 'day')}, the first of them "
            f"{day_words(missing[0].day, today=today, weekday=True)}: not known does not mean safe."
        )
    gaps = sum(day.origin is Origin.MISSING for day in past)
    if gaps:
        found.append(f"No weather for {gaps} of the last {counted(len(past), 'day')}: the soil was held as it was on those days.")
    estimated = Counter(what for day in days for what in day.estimated)
    for what, count in estimated.items():
        if what.endswith(TAKEN_OUT):
            found.append(f"Impossible values were taken out on {counted(count, 'day')}: {what.removesuffix(TAKEN_OUT)}.")
            continue
        found.append(f"Estimated on {counted(count, 'day')} because the weather source did not give it: {what}.")
    if wet_hours_estimated:
        found.append(f"Wet hours had to be worked out with estimates: {'; '.join(wet_hours_estimated)}.")
    found += _ring_notes(surface)
    if cold_season_unseen:
        found.append(
            "The start of the preventive season cannot be told: the weather at hand does not reach back to a cold season, "
            "or this place has none."
        )
    if (today - simulated_from).days < SHORT_SIMULATION_DAYS:
        found.append(
            f"The simulation reaches back only {counted((today - simulated_from).days, 'day')}: "
            "what a longer drought before that did to soil and turf is not in it."
        )
    found.append(ASSUMED)
    return tuple(found)


def _ring_notes(surface: Surface) -> list[str]:
    if not surface.rings:
        return [
            "No ring is surveyed here, which does not mean that there are none: "
            "survey them, and this outlook can speak of rings and toadstools."
        ]
    counts = Counter[int](ring.type for ring in surface.rings)
    names = {2: "greener band", 3: "toadstools only"}
    unmodelled = [f"{counts[kind]} of type {kind} ({name})" for kind, name in names.items() if counts[kind]]
    if not unmodelled:
        return []
    return [
        f"Rings surveyed here include {listed(unmodelled)}: damage by these is not modelled, so nothing is said about whether they show; "
        "their toadstools, and the dates of preventive work, are in this outlook."
    ]
