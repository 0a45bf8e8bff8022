"""The outlook of one surface, from states made by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from forecaster.documents import SurfaceOutlook
from forecaster.ground.surface import Irrigation
from forecaster.quantities import Certainty, Origin, Severity
from forecaster.risk.outlook import build_outlook
from forecaster.risk.rule import Rule
from tests.risk.builders import FRESH, ISSUED, MISSING, STALE, TODAY, daily_weather, ring, rule, run, shipped_rules, simulation, surface

PAST = 80
COUNT = PAST + 14
CALM = "Nothing in our data speaks against this surface in the coming 14 days: walk it first."


def contrast(days: dict[int, float]) -> dict[str, dict[int, float]]:
    """Band cover that gives these contrasts, by lead in days."""
    return {"green_cover": {PAST + lead: 0.95 - value for lead, value in days.items()}}


def outlook(days: dict[int, float] | None = None, *, rules: tuple[Rule, ...] | None = None, **changes) -> SurfaceOutlook:
    states = simulation(COUNT, band=contrast(days or {}))
    return build_outlook(run(states=states, **changes), (rule(),) if rules is None else rules, today=TODAY, issued_at=ISSUED)


def weather(*, missing: tuple[int, ...]):
    """Weather without the days of these leads."""
    return daily_weather(TODAY - timedelta(days=PAST), COUNT, missing=tuple(PAST + lead for lead in missing))


def test_it_reaches_sixty_days_back_and_thirteen_ahead_of_today():
    found = outlook()
    assert [day.lead_days for day in found.days] == list(range(-60, 14))
    assert found.days[60].day == TODAY
    assert found.days[59].origin is Origin.MODELLED
    assert found.days[60].origin is Origin.FORECAST


def test_without_a_signal_it_says_so_without_promising():
    found = outlook()
    assert (found.known, found.severity, found.signals, found.headline) == (True, None, (), CALM)


def test_a_present_spell_says_since_when_and_takes_the_worst_of_the_days_to_come():
    found = outlook({-3: 0.3, -2: 0.3, -1: 0.3, 0: 0.3, 1: 0.3, 2: 0.6, 3: 0.3})
    (signal,) = found.signals
    assert signal.present
    assert (signal.first_day, signal.last_day) == (date(2026, 9, 25), date(2026, 10, 1))
    assert signal.when == "now, since 25 September; Minor today, Severe on about Wednesday 30 September"
    assert signal.severity is found.severity is Severity.SEVERE
    assert signal.reason == "Today: Contrast 0.30."
    assert found.headline == "Rings are showing."
    assert not signal.reaches_horizon


def test_a_spell_that_worsens_to_the_end_of_the_outlook_says_from_when():
    (signal,) = outlook({0: 0.3} | dict.fromkeys(range(1, 14), 0.6)).signals
    assert signal.when == "now, since today; Minor today, Severe from tomorrow, Tuesday 29 September"


def test_a_coming_spell_names_its_worst_day_where_that_is_not_the_first():
    (signal,) = outlook({4: 0.3, 5: 0.6}).signals
    assert signal.reason == "Saturday 3 October: Contrast 0.60."


def test_the_limit_of_the_rule_on_contrast_is_the_mark_that_charts_draw():
    assert outlook(rules=(rule(raise_at=0.35),)).marks.rings_show_at == 0.35
    assert outlook(rules=()).marks.rings_show_at is None


def test_a_coming_spell_says_from_when():
    found = outlook({4: 0.3, 5: 0.3, 6: 0.3})
    (signal,) = found.signals
    assert not signal.present
    assert signal.when == "from about Friday 2 October"
    assert signal.reason == "Contrast 0.30."  # its day stands in ``when``
    assert found.headline == "Rings may show from about Friday 2 October."


def test_a_spell_that_has_passed_is_no_signal_but_stays_in_the_history():
    found = outlook({-5: 0.3, -4: 0.3})
    assert found.signals == ()
    assert [day.lead_days for day in found.days if day.risks] == [-5, -4]


def test_a_spell_at_the_last_day_reaches_the_horizon():
    assert outlook({13: 0.3}).signals[0].reaches_horizon


@pytest.mark.parametrize(
    ("leads", "certainty"),
    [
        ((-1, 0, 1), Certainty.LIKELY),  # on measured weather: still a simulation, which nobody has seen
        ((0, 1), Certainty.LIKELY),  # starts today, on a forecast
        ((3, 4), Certainty.LIKELY),
        ((4, 5), Certainty.POSSIBLE),
    ],
)
def test_certainty_widens_with_the_lead(leads, certainty):
    assert outlook(dict.fromkeys(leads, 0.3)).signals[0].certainty is certainty


def test_old_weather_makes_likely_things_possible_and_is_said():
    found = outlook({2: 0.3}, weather=STALE)
    assert found.signals[0].certainty is Certainty.POSSIBLE
    assert STALE.text in found.notes
    assert found.known


def test_without_weather_for_the_coming_days_nothing_is_known_and_nothing_is_called_safe():
    found = outlook(daily=weather(missing=tuple(range(14))))
    assert not found.known
    assert found.headline == "Not known: there is no weather for the coming days."
    assert "nothing" not in found.headline.lower()
    assert all(day.sound is None and day.rain_mm is None and day.origin is Origin.MISSING for day in found.days[60:])


def test_weather_that_is_missing_makes_the_outlook_unknown_even_where_old_numbers_are_left():
    assert not outlook(weather=MISSING).known


def test_a_spell_at_the_last_known_day_is_still_shown_when_the_weather_ends():
    found = outlook({-2: 0.3, -1: 0.3}, daily=weather(missing=tuple(range(14))), weather=MISSING)
    (signal,) = found.signals
    assert signal.certainty is Certainty.POSSIBLE
    assert signal.when == "when last known, since 26 September; not known today"
    assert signal.reason.startswith("No weather for this day, so this is held as it was.")
    assert found.headline == "Not known: there is no weather for the coming days. Last known, on 27 September: Minor. Rings are showing."


def test_an_outlook_can_be_made_before_any_weather_has_come():
    nothing = daily_weather(TODAY, 0)
    found = build_outlook(run(daily=nothing, states=simulation(0), weather=MISSING), shipped_rules(), today=TODAY, issued_at=ISSUED)
    assert not found.known
    assert found.headline == "Not known: there is no weather for this surface yet."
    assert [day.lead_days for day in found.days] == list(range(14))


def test_a_series_that_ends_early_is_filled_with_missing_days():
    daily = daily_weather(TODAY - timedelta(days=PAST), PAST + 5)
    found = build_outlook(run(daily=daily, states=simulation(PAST + 5)), (rule(),), today=TODAY, issued_at=ISSUED)
    assert [day.origin is Origin.MISSING for day in found.days[60:]] == [False] * 5 + [True] * 9
    assert found.known
    assert found.headline == (
        "Nothing in our data speaks against this surface on the 5 days of the coming 14 that we have weather for; "
        "the others are not known. Walk it first."
    )
    assert "No weather for 9 of the coming 14 days, the first of them Saturday 3 October: not known does not mean safe." in found.notes


def test_signals_are_sorted_worst_first_and_rules_on_trial_last():
    rules = (
        rule(id="mild", raise_at=0.1, clear_at=0.05),
        rule(id="trial", trial=True),
        rule(id="grave", quantity="rain_mm", raise_at=5.0, clear_at=1.0, severity_bands=(rule().severity_bands[1],)),
    )
    daily = daily_weather(TODAY - timedelta(days=PAST), COUNT, rain_mm={PAST + 5: 9.0})
    found = build_outlook(
        run(daily=daily, states=simulation(COUNT, band=contrast(dict.fromkeys(range(14), 0.3)))), rules, today=TODAY, issued_at=ISSUED
    )
    # "grave" has only one severity band, 0.5: at 9 mm it is Severe.
    assert [signal.rule_id for signal in found.signals] == ["grave", "mild", "trial"]
    assert found.severity is Severity.SEVERE


def test_a_rule_on_trial_makes_no_headline_and_no_severity():
    found = outlook({0: 0.6}, rules=(rule(trial=True),))
    assert [signal.trial for signal in found.signals] == [True]
    assert (found.severity, found.headline) == (None, CALM)


def test_a_rule_for_ring_types_is_silent_where_none_of_them_is_surveyed():
    of = rule(ring_types=(1,))
    assert outlook({0: 0.6}, rules=(of,), of=surface(ring(1))).signals
    assert not outlook({0: 0.6}, rules=(of,), of=surface(ring(2), ring(3, name="r2"))).signals
    assert not outlook({0: 0.6}, rules=(of,), of=surface()).signals


def test_rings_that_are_not_modelled_and_surfaces_without_a_survey_are_named():
    unmodelled = " ".join(outlook(of=surface(ring(2), ring(3, name="r2"))).notes)
    assert "1 of type 2 (greener band) and 1 of type 3 (toadstools only)" in unmodelled
    assert "not modelled" in unmodelled
    unsurveyed = " ".join(outlook(of=surface()).notes)
    assert "does not mean that there are none" in unsurveyed
    for found in (unmodelled, unsurveyed):
        assert "no rings" not in found.lower()


def test_the_treatment_area_of_a_ring_is_its_band_with_margins():
    # Diameter 6 m, band 0.3 m, margins 0.5 m: π (3.5² - 2.2²) = 23.28 m²; plane geometry.
    assert outlook().rings[0].treatment_area_m2 == 23.28


def test_marks_come_from_the_root_zone():
    # TAW = 1000 (θFC - θWP) Zr: FAO-56 eq. 82. 1000 × 0.13 × 0.20 = 26 mm.
    assert outlook().marks.total_available_water_mm == pytest.approx(26.0)


def test_assumptions_name_the_watering_plan():
    plan = Irrigation(amount_mm=13.0, every_days=3, first_month=5, last_month=9)
    found = outlook(of=surface(ring(), irrigation=plan))
    assert found.assumptions[0] == "Watering as planned, not as given: 13 mm every 3 days from May to September."
    assert outlook().assumptions[0].startswith("No watering, because no plan is entered")


@pytest.mark.parametrize(
    "said",
    [
        "our defaults, where no drop test of yours is entered",
        "use 90% of the water that the reference grass",  # the basal coefficient of the surface's turf
        "How much rain repellent soil keeps out",
        "brown by drought, and warm-season turf by cold",
        "above 22 °C, give no chance at all here",  # but turf puffballs of Chiba in midsummer: Terashima et al. 2004, Mycoscience 45:251
        "soil full of water, turf whole",
    ],
)
def test_what_the_model_takes_for_granted_is_said(said):
    assert said in " ".join(outlook().assumptions)


def test_that_there_are_assumptions_is_a_note_because_mails_carry_only_notes():
    assert outlook().notes[-1].endswith("the page of each surface lists them.")


def test_estimated_inputs_and_gaps_are_in_the_notes():
    daily = daily_weather(
        TODAY - timedelta(days=PAST), COUNT, missing=(PAST - 9,), estimated={PAST - 1: ("radiation from temperature range",)}
    )
    found = outlook(daily=daily)
    assert "Estimated on 1 day because the weather source did not give it: radiation from temperature range." in found.notes
    assert "No weather for 1 of the last 60 days: the soil was held as it was on those days." in found.notes


def test_where_no_cold_season_lies_in_the_data_the_preventive_season_is_said_to_be_unknown():
    preventive = next(rule for rule in shipped_rules() if rule.id == "preventive-season-open")
    unseen = "The start of the preventive season cannot be told"
    southern_spring = outlook(rules=(preventive,), latitude=-37.0)
    northern_autumn = outlook(rules=(preventive,), latitude=52.0)
    assert any(note.startswith(unseen) for note in southern_spring.notes)
    assert not any(note.startswith(unseen) for note in northern_autumn.notes)


def test_the_preventive_season_opens_in_september_only_in_the_south():
    preventive = next(rule for rule in shipped_rules() if rule.id == "preventive-season-open")
    cold = dict.fromkeys(range(PAST - 3), 9.0)
    daily = daily_weather(TODAY - timedelta(days=PAST), COUNT, soil_temperature_c=cold)
    assert [signal.rule_id for signal in outlook(rules=(preventive,), latitude=-37.0, daily=daily).signals] == ["preventive-season-open"]
    assert not outlook(rules=(preventive,), latitude=52.0, daily=daily).signals


def test_the_document_survives_storage_even_with_gaps():
    found = outlook({-1: 0.3}, daily=weather(missing=(-9, -8, 0, 5, 12, 13)), rules=shipped_rules())
    assert SurfaceOutlook.model_validate_json(found.model_dump_json()) == found


def test_words_of_severity_and_certainty_are_those_of_cap():
    # OASIS CAP 1.2, section 3.2.2 (memory; the German weather service's messages use the same words).
    found = outlook({0: 0.6, 7: 0.1})
    signal = found.signals[0].model_dump(mode="json")
    assert signal["severity"] in {"Extreme", "Severe", "Moderate", "Minor", "Unknown"}
    assert signal["certainty"] in {"Observed", "Likely", "Possible", "Unlikely", "Unknown"}
    assert [severity.rank for severity in (Severity.MINOR, Severity.MODERATE, Severity.SEVERE, Severity.EXTREME)] == [1, 2, 3, 4]


def test_the_weather_of_the_document_is_the_one_given():
    assert outlook(weather=FRESH).weather == FRESH
