"""The daily message: worst first, what changed, what to do, and never silent about the weather."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from forecaster.alerts.decide import EpisodeDecision, decide_episodes
from forecaster.alerts.digest import DigestInputs, build_digest
from forecaster.documents import DigestDocument, FixtureSummary, SurfaceOutlook
from forecaster.quantities import Severity
from forecaster.web.standing import surfaces_worst_first
from tests.alerts.builders import NOW, RULES, ground, outlook, signal
from tests.risk.builders import FRESH, MISSING, STALE, TODAY

REAL = FRESH.model_copy(update={"sample": False})
FLUSH = {"rule_id": "flush", "title": "Toadstool flush", "advice": "Pick toadstools.", "when": "from about Friday 2 October"}


def digest(*outlooks: SurfaceOutlook, **changes) -> DigestDocument:
    plain = {
        "ground": ground("main", "green"),
        "outlooks": outlooks,
        "previous": None,
        "decision": EpisodeDecision(),
        "weather": REAL,
        "public_url": "https://turf.example/",
        "now": NOW,
    }
    return build_digest(DigestInputs(**(plain | changes)))


def test_the_subject_names_the_worst_surface_and_what_is_wrong():
    found = digest(outlook(signal(lead=4, **FLUSH), name="green"), outlook(signal(severity=Severity.SEVERE)))
    assert found.subject == "Brackenholt: rings showing (Main pitch); toadstool flush from about Friday 2 October (Green)"


def test_surfaces_stand_worst_first_and_the_opening_names_the_worst():
    found = digest(outlook(name="green"), outlook(signal(severity=Severity.SEVERE)))
    assert [entry.surface_id for entry in found.entries] == ["main", "green"]
    assert found.opening == "1 of 2 surfaces needs a look. Worst is Main pitch: Rings showing."


def test_without_a_signal_it_speaks_of_data_and_not_of_safety():
    found = digest(outlook(), outlook(name="green"))
    assert found.subject == "Brackenholt: nothing speaks against the surfaces, walk them first"
    assert found.opening == "Nothing in our data speaks against any of the 2 surfaces in the coming 14 days: walk them first."


def test_gaps_in_the_coming_days_are_not_covered_up_when_nothing_speaks():
    assert "on the coming days that we have weather for" in digest(outlook(missing=(12, 13)), outlook(name="green")).opening


def test_missing_weather_is_in_subject_opening_and_to_do():
    unknown = [outlook(known=False, weather=MISSING, name=name) for name in ("main", "green")]
    found = digest(*unknown, weather=MISSING.model_copy(update={"sample": False}))
    assert found.subject == "Brackenholt: not known for lack of weather"
    assert found.opening.startswith("There is no weather to judge the coming days by, and that does not mean that all is well.")
    assert found.to_do == ("Main pitch and Green: go and look, because without weather this message cannot tell.",)
    assert not any("nothing" in text.lower() for text in (found.subject, found.opening))


def test_old_weather_is_in_subject_and_opening_and_its_sentence_is_not_repeated_in_the_notes():
    stale = STALE.model_copy(update={"sample": False})
    found = digest(outlook(weather=stale), outlook(name="green", weather=stale), weather=stale)
    assert found.subject.endswith("(old weather)")
    assert found.opening.startswith("This message rests on old weather. The weather is 31 hours old.")
    assert stale.text not in found.notes


def test_surfaces_stand_in_the_order_of_the_page_and_equals_in_the_order_of_the_ground():
    of = ground("zebra", "main", "green", "alder", "court")
    minor, severe = signal(), signal(severity=Severity.SEVERE)
    found = digest(
        outlook(minor, name="alder"),
        outlook(severe, name="main"),
        outlook(severe, name="zebra"),
        outlook(name="green", known=False),
        ground=of,
    )
    order = [entry.surface_id for entry in found.entries]
    assert order == ["zebra", "main", "green", "court", "alder"]  # not known between Moderate and Minor; court has no outlook
    page = surfaces_worst_first(of, {o.surface_id: o for o in (outlook(minor, name="alder"), outlook(severe, name="main"))})
    assert [standing.surface.id for standing in page] == ["main", "zebra", "green", "court", "alder"]


def test_a_surface_not_known_any_more_is_told_with_its_last_severity():
    found = digest(outlook(signal(severity=Severity.SEVERE), known=False, weather=MISSING), outlook(name="green"))
    assert "0 of" not in found.opening
    assert found.opening.endswith("Not known: Main pitch. Last known: Main pitch Severe.")
    assert "last known rings showing (Main pitch)" in found.subject


def test_the_subject_says_a_thing_once_and_names_the_surfaces_where_it_is_worst():
    found = digest(outlook(signal(severity=Severity.SEVERE)), outlook(signal(), name="green"))
    assert found.subject == "Brackenholt: rings showing (Main pitch)"


def test_a_surface_without_an_outlook_is_in_the_message_as_not_known():
    found = digest(outlook(signal()))
    assert [(entry.surface_id, entry.known) for entry in found.entries] == [("green", False), ("main", True)]
    assert found.subject == "Brackenholt: rings showing (Main pitch); not known for Green"
    assert "Not known: Green." in found.opening


def test_sample_weather_is_marked_in_the_subject():
    assert digest(outlook(), ground=ground("main", sample=True)).subject.startswith("[Sample] Brackenholt: ")


def test_advice_is_said_once_for_all_its_surfaces_and_the_most_urgent_first():
    found = digest(outlook(signal(lead=4, **FLUSH), signal(severity=Severity.SEVERE)), outlook(signal(), name="green"))
    assert found.to_do == ("Main pitch and Green: Walk the rings.", "Main pitch (from about Friday 2 October): Pick toadstools.")


def test_surfaces_with_the_same_day_share_it():
    soon = signal(lead=4, **FLUSH)
    assert digest(outlook(soon), outlook(soon, name="green")).to_do == (
        "Main pitch and Green (from about Friday 2 October): Pick toadstools.",
    )


def test_cautions_are_said_once():
    found = digest(outlook(signal(cautions=("Gloves.", "Label."))), outlook(signal(cautions=("Label.",)), name="green"))
    assert found.cautions == ("Gloves.", "Label.")


def test_rules_on_trial_are_not_mailed():
    found = digest(outlook(signal(trial=True)), outlook(name="green"))
    assert all(entry.signals == () for entry in found.entries)
    assert found.to_do == ()


def test_the_next_fixture_is_told_in_local_words():
    def fixture(name: str, start: datetime, hours: float = 1.75) -> FixtureSummary:
        return FixtureSummary(id=name, surface_id="main", title=name, starts_at_utc=start, ends_at_utc=start + timedelta(hours=hours))

    gone = fixture("Gone", datetime(2026, 9, 27, 13, tzinfo=UTC))
    saturday = fixture("Firsts", datetime(2026, 10, 3, 13, tzinfo=UTC))
    october = fixture("Winter cup", datetime(2026, 10, 31, 13, tzinfo=UTC))

    def told(*fixtures: FixtureSummary, now: datetime = NOW) -> str | None:
        return digest(outlook(), ground=ground("main", fixtures=fixtures), now=now).entries[0].next_fixture

    # Central European Summer Time is UTC+2 until 25 October 2026, then UTC+1.
    assert told(gone, october, saturday) == "Saturday 3 October, 15:00 to 16:45: Firsts"
    assert told(october) == "Saturday 31 October, 14:00 to 15:45: Winter cup"
    assert told(saturday, now=datetime(2026, 10, 3, 8, tzinfo=UTC)) == "today, 15:00 to 16:45: Firsts"
    assert told(saturday, now=datetime(2026, 10, 3, 14, tzinfo=UTC)) == "now, until 16:45: Firsts"
    assert told(gone) is None


def test_the_day_is_the_local_one():
    # 22:30 UTC on 27 September is half past midnight on the 28th in Berlin.
    assert digest(outlook(), now=datetime(2026, 9, 27, 22, 30, tzinfo=UTC)).local_day == TODAY


def test_links_lead_to_the_surface_where_pages_can_be_reached():
    assert {entry.surface_id: entry.link for entry in digest(outlook()).entries}[
        "main"
    ] == "https://turf.example/grounds/brackenholt/surfaces/main"
    assert digest(outlook(), public_url=None).entries[0].link is None


def test_a_note_of_all_surfaces_stands_once_and_one_of_some_with_their_names():
    shared = outlook(notes=("Both.", "One.")), outlook(name="green", notes=("Both.",))
    assert digest(*shared).notes == ("Both.", "Main pitch: One.")


def changes(before: SurfaceOutlook | None, after: SurfaceOutlook, decision: EpisodeDecision | None = None) -> tuple[str, ...]:
    previous = (before,) if before is not None else ()
    return digest(after, previous=previous, decision=decision or EpisodeDecision()).changes


def test_the_first_message_has_no_changes():
    assert digest(outlook(signal())).changes == ()


def test_what_is_new_worse_eased_begun_or_moved_is_said():
    minor, severe = signal(), signal(severity=Severity.SEVERE)
    assert changes(outlook(), outlook(minor)) == ("Main pitch, rings showing: new (now, since today).",)
    assert changes(outlook(minor), outlook(severe)) == ("Main pitch, rings showing: worse, Severe instead of Minor.",)
    assert changes(outlook(severe), outlook(minor)) == ("Main pitch, rings showing: eased, Minor instead of Severe.",)
    assert changes(outlook(signal(lead=1)), outlook(minor)) == ("Main pitch, rings showing: has begun.",)
    assert changes(outlook(signal(lead=8)), outlook(signal(lead=4))) == ("Main pitch, rings showing: expected earlier, in 4 days.",)
    assert changes(outlook(signal(lead=4)), outlook(signal(lead=5))) == ()
    assert changes(outlook(minor), outlook(minor)) == ()


def test_what_has_gone_quiet_is_said_with_why_its_alert_stays_open():
    opened = decide_episodes((), [outlook(signal())], rules=RULES, today=TODAY, now=NOW).open_episodes
    decision = decide_episodes(opened, [outlook()], rules=RULES, today=TODAY, now=NOW)
    assert changes(outlook(signal()), outlook(), decision) == (
        "Main pitch, rings showing: quiet since 28 September; the alert ends after 3 more days of quiet.",
    )
    assert changes(outlook(signal(lead=9)), outlook()) == ("Main pitch, rings showing: no longer expected.",)


def test_an_alert_that_is_held_for_a_gap_in_the_forecast_is_not_said_to_be_over():
    expected = outlook(signal(lead=5))
    opened = decide_episodes((), [expected], rules=RULES, today=TODAY, now=NOW).open_episodes
    cut_short = outlook(missing=tuple(range(4, 14)))
    decision = decide_episodes(opened, [cut_short], rules=RULES, today=TODAY, now=NOW)
    assert changes(expected, cut_short, decision) == (
        "Main pitch, rings showing: there is no weather for 5 days that this alert is about; it stays open.",
    )


def test_an_ended_alert_is_said_even_where_its_signal_went_days_ago():
    opened = decide_episodes((), [outlook(signal())], rules=RULES, today=TODAY, now=NOW).open_episodes
    quiet = decide_episodes(opened, [outlook()], rules=RULES, today=TODAY, now=NOW).open_episodes
    later = TODAY + timedelta(days=3)
    decision = decide_episodes(quiet, [outlook(today=later)], rules=RULES, today=later, now=NOW + timedelta(days=3))
    assert changes(outlook(), outlook(), decision) == ("Main pitch, rings showing: quiet for 3 days, so this alert has ended.",)


def test_an_ended_alert_is_said_even_where_the_weather_of_its_surface_is_missing_now():
    opened = decide_episodes((), [outlook(signal())], rules=RULES, today=TODAY, now=NOW).open_episodes
    quiet = decide_episodes(opened, [outlook()], rules=RULES, today=TODAY, now=NOW).open_episodes
    later = TODAY + timedelta(days=3)
    decision = decide_episodes(quiet, [outlook(today=later)], rules=RULES, today=later, now=NOW + timedelta(days=3))
    ended = "Main pitch, rings showing: quiet for 3 days, so this alert has ended."
    gone = outlook(known=False, weather=MISSING)
    assert changes(outlook(signal()), gone, decision) == (
        "Main pitch: no longer known, for lack of weather. What was open stays open.",
        ended,
    )
    assert changes(gone, gone, decision) == (ended,)


def test_nothing_is_said_to_have_gone_when_the_weather_has():
    assert changes(outlook(signal()), outlook(known=False, weather=MISSING)) == (
        "Main pitch: no longer known, for lack of weather. What was open stays open.",
    )
    assert changes(outlook(known=False), outlook()) == ("Main pitch: known again, the weather is back.",)
    assert changes(outlook(known=False), outlook(known=False)) == ()
