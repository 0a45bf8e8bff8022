"""Mails that did not arrive, in words for the people of a ground. Addresses are masked: a page is read by more people than a mail."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from datetime import date

from forecaster.web.reading import MailOff, MailProblem
from forecaster.web.wording import day_words

_ADDRESS = re.compile(r"([^\s<>\"'(),;:@]+)@([^\s<>\"'(),;:@]+)")


def masked(text: str) -> str:
    """A text with every mail address in it made unreadable but for its first letter and its domain: "h…@example.org"."""
    return _ADDRESS.sub(lambda found: f"{found[1][0] if len(found[1]) > 1 else ''}…@{found[2]}", text)


def mail_sentences(problems: Sequence[MailProblem], today: date) -> tuple[str, ...]:
    """One sentence for all mails of a day that ended in the same way for the same reason, in the order given."""
    counted = Counter((problem.local_day, problem.end, problem.reason) for problem in problems)
    return tuple(_sentence(count, *key, today=today) for key, count in counted.items())


def off_sentences(off: Sequence[MailOff]) -> tuple[str, ...]:
    """One sentence for each address that gets no mail any more, with how it gets mail again."""
    again = "Whoever runs this program puts it back with the command: forecaster mail on ADDRESS"
    return tuple(
        f"{one.recipient} gets no mail of this ground any more: taken off on {day_words(one.since)}. {again}."
        if one.reason == "unsubscribed"
        else f"{one.recipient} gets no mail of this ground any more, since {day_words(one.since)}: {one.detail.rstrip('.')}. {again}."
        for one in off
    )


def _sentence(count: int, day: date, end: str, reason: str, *, today: date) -> str:
    one = count == 1
    what = f"{count} mail{'' if one else 's'} of {'today' if day == today else day_words(day)}"
    was, reason = "was" if one else "were", reason.rstrip(".")
    if end == "failed":
        return f"{what} {was} not delivered: {reason or 'nobody knows why'}."
    if end == "expired":
        return f"{what} {was} not sent: too late to be of use{f' (before that: {reason})' if reason else ''}."
    if end == "withdrawn":
        return f"{what} {was} not sent: {reason}."
    return f"{what} {'has' if one else 'have'} not gone out yet: {reason}. {'It is' if one else 'They are'} tried again."
