"""Who gets which mail and when. Quiet hours are read off the ground's clock; clocks change on the days of the EU in 2026."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from forecaster.alerts.decide import decide_episodes
from forecaster.alerts.mailing import DailyMail, MailBefore, daily_mail, has_changed, newly_severe, quiet_end
from forecaster.ground.ground import Recipient
from forecaster.quantities import Severity
from tests.alerts.builders import NOW, RULES, outlook, signal
from tests.risk.builders import FRESH, TODAY

BERLIN = ZoneInfo("Europe/Berlin")
DAY = date(2026, 9, 14)


def reader(mail: str = "daily", quiet_from: str | None = None, quiet_until: str | None = None) -> Recipient:
    quiet = [None if text is None else time.fromisoformat(text) for text in (quiet_from, quiet_until)]
    return Recipient("head", "head@example.org", time(6), mail, *quiet)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("mail", "changed", "before", "kind"),
    [
        ("daily", False, MailBefore(DAY), "digest"),
        ("on change", True, MailBefore(date(2026, 9, 13)), "digest"),
        ("on change", False, MailBefore(date(2026, 9, 13)), None),
        ("on change", False, MailBefore(), "digest"),
        ("on change", False, MailBefore(date(2026, 9, 12), lost=True), "digest"),
        ("on change", False, MailBefore(date(2026, 9, 8)), None),
        ("on change", False, MailBefore(date(2026, 9, 7)), "sign of life"),
        ("severe only", True, MailBefore(date(2026, 9, 13)), None),
        ("severe only", True, MailBefore(date(2026, 9, 7)), "sign of life"),
        ("severe only", True, MailBefore(), "sign of life"),
    ],
)
def test_each_wish_gets_its_mail_and_a_week_of_silence_a_sign_of_life(mail: str, changed: bool, before: MailBefore, kind: str) -> None:
    found = daily_mail(reader(mail), changed=changed, before=before, today=DAY)
    assert isinstance(found, DailyMail)
    assert found.kind == kind
    assert found.reason


def test_weather_that_has_aged_is_a_change_and_the_same_once_more_is_none() -> None:
    stale = FRESH.model_copy(update={"state": "stale"})
    assert has_changed(None, FRESH, ())
    assert has_changed([outlook()], FRESH, ("Main pitch: rings showing is new.",))
    assert has_changed([outlook()], stale, ())
    assert not has_changed([outlook()], FRESH, ())


def test_newly_severe_is_what_is_raised_so_or_has_grown_so_and_nothing_else() -> None:
    def decided(open_now, *outlooks):
        return decide_episodes(open_now, outlooks, rules=RULES, today=TODAY, now=NOW)

    minor = decided([], outlook(signal(severity=Severity.MODERATE)))
    assert newly_severe({}, minor) == ()
    before = {episode.id: episode.severity for episode in minor.open_episodes}
    grown = decided(minor.open_episodes, outlook(signal(severity=Severity.SEVERE), signal(rule_id="flush", severity=Severity.EXTREME)))
    assert [(one.rule_id, one.severity) for one in newly_severe(before, grown)] == [("flush", "Extreme"), ("rings-showing", "Severe")]
    severe = {episode.id: episode.severity for episode in grown.open_episodes}
    worse = decided(grown.open_episodes, outlook(signal(severity=Severity.EXTREME), signal(rule_id="flush", severity=Severity.EXTREME)))
    assert newly_severe(severe, worse) == ()
    held = decided(grown.open_episodes, outlook(known=False))
    assert newly_severe(severe, held) == ()


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("quiet", "moment", "end"),
    [
        (("21:00", "05:30"), "2026-09-14T12:00", "2026-09-14T12:00"),  # outside: at once
        (("21:00", "05:30"), "2026-09-14T19:00", "2026-09-15T03:30"),  # begins at 21:00 in Berlin, 19:00 UTC
        (("21:00", "05:30"), "2026-09-14T18:59", "2026-09-14T18:59"),
        (("21:00", "05:30"), "2026-09-15T00:10", "2026-09-15T03:30"),  # after midnight
        (("21:00", "05:30"), "2026-09-15T03:30", "2026-09-15T03:30"),  # the end is no longer quiet
        (("12:00", "14:00"), "2026-09-14T11:15", "2026-09-14T12:00"),  # by day
        # 25 October 2026: 03:00 summer time becomes 02:00. The night is an hour longer, and so is the quiet.
        (("21:00", "05:30"), "2026-10-24T20:00", "2026-10-25T04:30"),
        # An end within the hour that comes twice: quiet until its first 02:30, and again from the second 02:00 to the second 02:30.
        (("21:00", "02:30"), "2026-10-25T00:10", "2026-10-25T00:30"),
        (("21:00", "02:30"), "2026-10-25T01:10", "2026-10-25T01:30"),
        # 29 March 2026: 02:00 becomes 03:00; an end that is skipped comes with the change, at 01:00 UTC.
        (("21:00", "02:30"), "2026-03-28T22:00", "2026-03-29T01:00"),
        (("21:00", "02:30"), "2026-03-29T00:45", "2026-03-29T01:00"),
        (("21:00", "05:30"), "2026-03-28T22:00", "2026-03-29T03:30"),
    ],
)
def test_quiet_hours_end_by_the_clock_on_the_wall(quiet: tuple[str, str], moment: str, end: str) -> None:
    assert quiet_end(reader("daily", *quiet), at(moment), BERLIN) == at(end)


def test_without_quiet_hours_every_hour_will_do() -> None:
    assert quiet_end(reader(), at("2026-09-14T00:10"), BERLIN) == at("2026-09-14T00:10")
