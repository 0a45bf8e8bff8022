"""An invented digest: three surfaces, one bad, one of which the coming days are not known, one quiet."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from forecaster.delivery.message import Letter
from forecaster.documents import DigestDocument, DigestEntry, Signal, WeatherStatus
from forecaster.quantities import Certainty, Severity

WRITTEN_AT = datetime(2026, 9, 14, 4, 5, tzinfo=UTC)


def weather(**changes: Any) -> WeatherStatus:
    values: dict[str, Any] = {
        "state": "fresh",
        "text": "Weather from the sample, 1 hour old.",
        "source": "sample",
        "attribution": "Invented weather, made for trying out this program",
        "licence": "CC0 1.0",
        "link": "https://weather.example/licence",
        "issued_at_utc": datetime(2026, 9, 14, 3, tzinfo=UTC),
        "age_hours": 1.0,
    }
    return WeatherStatus(**values | changes)


def signal(**changes: Any) -> Signal:
    values: dict[str, Any] = {
        "rule_id": "rings-showing",
        "title": "Rings showing",
        "severity": Severity.SEVERE,
        "certainty": Certainty.LIKELY,
        "first_day": date(2026, 9, 11),
        "last_day": date(2026, 9, 27),
        "reaches_horizon": True,
        "present": True,
        "when": "now, since Friday 11 September",
        "reason": "Sound turf is 71% green, the ring bands 28%: a difference of 43% of the area. Rings begin to show at about 25%.",
        "advice": "Walk the rings and mark the outer edge.",
        "cautions": ("The product label, local law and a licensed professional decide about any drench.",),
        "source": "our model and assumption",
    }
    return Signal(**values | changes)


def entry(**changes: Any) -> DigestEntry:
    values: dict[str, Any] = {
        "surface_id": "long-meadow",
        "surface_name": "Long Meadow pitch",
        "severity": Severity.SEVERE,
        "headline": "Rings should be showing.",
        "known": True,
        "signals": (signal(),),
        "next_fixture": "Saturday 19 September 14:30, first team at home",
        "link": "http://127.0.0.1:8000/grounds/hollow/surfaces/long-meadow",
    }
    return DigestEntry(**values | changes)


def digest(**changes: Any) -> DigestDocument:
    flush = signal(
        rule_id="flush",
        title="Toadstool flush",
        severity=Severity.MODERATE,
        certainty=Certainty.POSSIBLE,
        present=False,
        when="from about Thursday 24 September",
        reason="The chance that at least one of 4 surveyed rings fruits within 7 days rises to 44%.",
        advice="Before children play, pick what has come up with gloves on; never mow through it.",
        cautions=("Fruit bodies can be poisonous look-alikes: never call one edible.",),
    )
    values: dict[str, Any] = {
        "ground_id": "hollow",
        "ground_name": "Hollow Lane",
        "local_day": date(2026, 9, 14),
        "subject": "Hollow Lane, 14 September: rings on Long Meadow pitch (Severe)",
        "opening": "Rings should be showing on Long Meadow pitch. Nothing else is urgent.",
        "entries": (
            entry(signals=(signal(), flush)),
            entry(
                surface_id="hill-green",
                surface_name="Hill green",
                severity=Severity.MINOR,
                headline="Turf may run short of water from about Friday 18 September.",
                signals=(
                    signal(
                        rule_id="drought-stress",
                        title="Drought stress",
                        severity=Severity.MINOR,
                        certainty=Certainty.POSSIBLE,
                        when="from about Friday 18 September",
                        reason="Sound turf goes short of 34% of the water it wants.",
                        advice="Take a core at three places and feel for moisture at root depth.",
                        cautions=(),
                    ),
                ),
                next_fixture=None,
                link=None,
            ),
            entry(
                surface_id="training",
                surface_name="Training area",
                severity=None,
                headline="The coming days are not known.",
                known=False,
                signals=(),
                next_fixture=None,
            ),
            entry(
                surface_id="square", surface_name="The square", severity=None, headline="Nothing to report.", signals=(), next_fixture=None
            ),
        ),
        "changes": (
            "Long Meadow pitch: rings showing went from Moderate to Severe.",
            "Hill green: drought stress is newly expected.",
        ),
        "to_do": (
            "Long Meadow pitch: Walk the rings and mark the outer edge.",
            "Hill green: Take a core at three places and feel for moisture at root depth.",
        ),
        "cautions": ("The product label, local law and a licensed professional decide about any drench.",),
        "weather": weather(),
        "notes": ("Radiation was estimated from the temperature range on 3 days.",),
    }
    return DigestDocument(**values | changes)


def letter(**changes: Any) -> Letter:
    values: dict[str, Any] = {
        "key": "digest:hollow:2026-09-14:head@ground.example",
        "sender": "Turf outlook <outlook@ground.example>",
        "recipient": "head@ground.example",
        "subject": "Hollow Lane: rings",
        "text": "Rings should be showing.\n",
        "html": "<p>Rings should be showing.</p>\n",
        "written_at": WRITTEN_AT,
    }
    return Letter(**values | changes)
