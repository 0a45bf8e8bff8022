"""[[recipient]] of grounds/*.toml: who gets mail of a ground, how often, and at which hours not."""

from __future__ import annotations

from datetime import time
from typing import Annotated, Any

from pydantic import Field

from forecaster.ground.ground import MailWish, Recipient
from forecaster.settings.mistakes import Missing, MistakeList
from forecaster.settings.reading import Entry, Id, note_duplicates, valid_or_none

EMAIL_PATTERN = r"^[^@\s,;<>\"]+@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+$"
TIME_OF_DAY = 'a local time of day from "00:00" to "23:59"'
TimeOfDay = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$", description=TIME_OF_DAY)]


class RecipientEntry(Entry):
    """[[recipient]]."""

    id: Id
    email: str = Field(pattern=EMAIL_PATTERN, max_length=254, description='one email address, "name@example.org"')
    daily_at: TimeOfDay
    mail: MailWish = Field(default="daily", description='"daily", "on change" or "severe only"')
    quiet_from: TimeOfDay | None = Field(default=None, description=TIME_OF_DAY)
    quiet_until: TimeOfDay | None = Field(default=None, description=TIME_OF_DAY)


def read_recipients(raw: list[Any], file: str, mistakes: MistakeList) -> tuple[Recipient, ...]:
    """The recipients that are sound by themselves; notes what does not go together. What is wrong with one key is noted elsewhere."""
    note_duplicates(raw, "recipient", file, mistakes)
    found: list[Recipient] = []
    for number, one in enumerate(raw, start=1):
        entry = valid_or_none(RecipientEntry, one)
        if entry is None:
            continue
        recipient = _recipient(entry)
        note = mistakes.noter(file, f"recipient[{number}]", entry.id)
        for missing, given in (("quiet_from", "quiet_until"), ("quiet_until", "quiet_from")):
            if getattr(entry, missing) is None and getattr(entry, given) is not None:
                note(missing, Missing(), f"{TIME_OF_DAY}: it goes with {given}, give both or neither")
        if entry.quiet_from is not None and entry.quiet_from == entry.quiet_until:
            note("quiet_until", entry.quiet_until, "another time than quiet_from; for no mail at all, take the recipient out")
        elif recipient.quiet_at(recipient.daily_at):
            note("daily_at", entry.daily_at, f"a time outside of the quiet hours, {entry.quiet_from} to {entry.quiet_until}")
        earlier = next((other.id for other in found if other.email.casefold() == entry.email.casefold()), None)
        if earlier is not None:
            note("email", entry.email, f"an address of its own; {earlier} has this one already")
        found.append(recipient)
    return tuple(found)


def _recipient(entry: RecipientEntry) -> Recipient:
    quiet_from, quiet_until = (None if text is None else time.fromisoformat(text) for text in (entry.quiet_from, entry.quiet_until))
    return Recipient(entry.id, entry.email, time.fromisoformat(entry.daily_at), entry.mail, quiet_from, quiet_until)
