"""Which message of an alert's chain comes next: Alert, then Updates, at last Cancel, as OASIS CAP 1.2 has them; one pure decision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from forecaster.alerts.decide import EpisodeChange
from forecaster.quantities import Certainty, Severity

MessageKind = Literal["Alert", "Update", "Cancel"]
Urgency = Literal["Expected", "Future", "Past", "Unknown"]
Response = Literal["Execute", "Prepare", "Monitor", "AllClear", "None"]


@dataclass(frozen=True)
class Standing:
    """How an alert stands, in what a message is about; a change in any of it is told. ``certainty`` None: unknown."""

    severity: Severity
    certainty: Certainty | None
    urgency: Urgency
    first_day: date
    last_day: date

    @property
    def mark(self) -> str:
        """The same for the same standing."""
        certainty = "Unknown" if self.certainty is None else self.certainty.value
        return f"{self.severity.value} {certainty} {self.urgency} {self.first_day} {self.last_day}"


@dataclass(frozen=True)
class Issued:
    """A message of a chain as it was issued. ``mark``: of the standing that it told."""

    identifier: str
    number: int
    kind: MessageKind
    sent_at: datetime
    expires_at: datetime
    mark: str


@dataclass(frozen=True)
class NextMessage:
    """A message to issue: its kind, its number in the chain, and the earlier ones that it takes the place of, oldest first."""

    kind: MessageKind
    number: int
    references: tuple[Issued, ...]
    standing: Standing
    response: Response


def standing_of(change: EpisodeChange, certainty: Certainty | None) -> Standing:
    """What is to be told of an episode. ``certainty``: of the rule's signal now, None where it is silent.

    Urgency by CAP's words: what is there asks for action soon (Expected), what is to come in the near future (Future), and nothing is known
    of what is held for lack of weather. What is quiet and waits for its end is as sure as possible (assumption).
    """
    episode = change.episode
    if episode.status == "held":
        return Standing(episode.severity, None, "Unknown", episode.first_day, episode.last_day)
    urgency: Urgency = "Past" if episode.status == "ended" else "Expected" if episode.status == "present" else "Future"
    return Standing(episode.severity, certainty or Certainty.POSSIBLE, urgency, episode.first_day, episode.last_day)


def next_message(change: EpisodeChange, chain: Sequence[Issued], *, certainty: Certainty | None, now: datetime) -> NextMessage | None:
    """The message that an episode needs now; None where everything was told. Asked twice, it gives nothing new.

    An open alert without a message gets an Alert, one whose standing is another than was told last an Update, an ended one a Cancel. An end
    of which no message told is not told either, and nothing follows a Cancel.
    """
    last = chain[-1] if chain else None
    ended = change.episode.status == "ended"
    standing = standing_of(change, certainty)
    if last is None:
        return None if ended else NextMessage("Alert", 1, (), standing, _response(change))
    if last.kind == "Cancel" or (not ended and last.mark == standing.mark and now < last.expires_at):
        return None
    # Those that have run out are nobody's any more; of the last one it is said that this one follows it, however old it is.
    references = tuple(one for one in chain if now < one.expires_at or one is last)
    return NextMessage("Cancel" if ended else "Update", last.number + 1, references, standing, _response(change))


def _response(change: EpisodeChange) -> Response:
    episode = change.episode
    if episode.status == "ended":
        return "None" if episode.quiet_since is None else "AllClear"
    return {"present": "Execute", "expected": "Prepare", "held": "Monitor"}[episode.status]  # type: ignore[return-value]
