"""Every error this program raises on purpose, in one tree.

    ForecasterError
    ├── ConfigurationError        config/ or the environment is wrong; carries every mistake at once
    ├── WeatherError              a source did not give usable weather
    │   ├── WeatherUnavailable    could not be reached, overloaded, cut off: try again later
    │   ├── WeatherRefused        the source said no (bad request, forbidden, limit reached)
    │   └── WeatherMalformed      an answer came, but it cannot be trusted
    ├── CalendarError             an address did not give a calendar
    │   ├── CalendarUnavailable   could not be reached or broke off: try again later
    │   └── CalendarRefused       an address that is not asked, or what is there is no calendar
    ├── StorageError              the database cannot be opened, read or written
    ├── DeliveryError             a message could not be handed over
    │   ├── DeliveryPostponed     may work later (connection, 4xx)
    │   │   ├── DeliveryUnreachable  no message can be handed over now (no connection, log-in refused)
    │   │   └── DeliveryDoubtful  the connection broke after the message was handed over: it may have arrived
    │   └── DeliveryRejected      will never work (5xx, bad address)
    │       └── AddressRefused    the server knows no such mailbox: no message to this address will
    ├── NotFound                  asked for a thing that does not exist
    ├── NotAllowed                possible, but not for this visitor
    │   └── FormRefused           a change by a browser that no form of ours sent
    └── Conflict                  a change that does not go with what is stored
        ├── Outdated              somebody else changed it since it was read
        ├── ReadOnly              it comes from the configuration or a calendar and is changed there
        └── KeyReused             the same request key was used before for something else

Each class has a stable ``slug`` for the API and a ``retryable`` flag; each instance has a ``hint``: what a person can do.
Missing weather is *not* an error: it is a state in the frame (see ``weather.frame``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

Trouble = Literal["silent", "page", "limit", "budget", "shut out", "terms", "question", "answer"]
"""What kind of trouble a weather service gave: it could not be reached or broke down; it sent a web page in place of data; it has had too
many requests; our own count says so before it does; it does not let us in; it has moved, ended or wants to be paid; it does not take
this question; its answer is not what was asked for."""
Window = Literal["minute", "hour", "day", "moment"]
"""For how long a limit holds: until the next clock minute, hour or UTC day, or for a moment (too many at once)."""


class ForecasterError(Exception):
    """The root. Catch this at the edges (command line, API), never in between."""

    slug = "forecaster-error"
    retryable = False

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


@dataclass(frozen=True)
class Mistake:
    """One thing wrong in a configuration: where, what, and what is allowed."""

    file: str
    key: str
    value: str
    allowed: str

    def __str__(self) -> str:
        return f"{self.file}: {self.key} = {self.value}: {self.allowed}"


class ConfigurationError(ForecasterError):
    """All mistakes of a configuration, together."""

    slug = "configuration-invalid"

    def __init__(self, mistakes: Sequence[Mistake], *, hint: str = "Correct the lines named above; nothing was changed.") -> None:
        self.mistakes = tuple(mistakes)
        count = len(self.mistakes)
        super().__init__(f"{count} mistake{'s' if count != 1 else ''} in the configuration", hint=hint)


class WeatherError(ForecasterError):
    """A source did not give usable weather; ``source`` names it.

    ``trouble``: see there. ``window``: how long a limit holds, None where the service does not say. ``again_at``: not to be asked before
    (UTC), None where nothing is known of that. ``retry_after_s``: what the service itself asked for [s].
    """

    slug = "weather-error"
    usual_trouble: Trouble = "answer"

    def __init__(
        self,
        message: str,
        *,
        source: str,
        hint: str = "",
        trouble: Trouble | None = None,
        window: Window | None = None,
        again_at: datetime | None = None,
        retry_after_s: float | None = None,
    ) -> None:
        super().__init__(message, hint=hint)
        self.source = source
        self.trouble: Trouble = trouble or self.usual_trouble
        self.window, self.again_at, self.retry_after_s = window, again_at, retry_after_s


class WeatherUnavailable(WeatherError):
    """Could not be reached, was overloaded, or the answer was cut off."""

    slug = "weather-unavailable"
    usual_trouble: Trouble = "silent"
    retryable = True


class WeatherRefused(WeatherError):
    """The source answered and said no: bad request, forbidden, or a limit reached."""

    slug = "weather-refused"
    usual_trouble: Trouble = "question"


class WeatherMalformed(WeatherError):
    """An answer came, but it is not what was asked for."""

    slug = "weather-malformed"


class CalendarError(ForecasterError):
    """An address that a person entered did not give a calendar."""

    slug = "calendar-error"


class CalendarUnavailable(CalendarError):
    """Could not be reached, was overloaded, or the answer broke off."""

    slug = "calendar-unavailable"
    retryable = True


class CalendarRefused(CalendarError):
    """The address is not one to ask, or what is there is no calendar."""

    slug = "calendar-refused"


class StorageError(ForecasterError):
    """The database cannot be opened, read or written."""

    slug = "storage-error"


class DeliveryError(ForecasterError):
    """A message could not be handed over."""

    slug = "delivery-error"


class DeliveryPostponed(DeliveryError):
    """It may work later: the connection failed, or the server asked to wait."""

    slug = "delivery-postponed"
    retryable = True


class DeliveryUnreachable(DeliveryPostponed):
    """No message at all can be handed over now: the server cannot be reached or does not let us in. The next one need not be tried."""

    slug = "delivery-unreachable"


class DeliveryDoubtful(DeliveryPostponed):
    """The connection broke before the server said whether it took the message: a further attempt may deliver it twice."""

    slug = "delivery-doubtful"


class DeliveryRejected(DeliveryError):
    """It will never work as it stands: the address or the message was refused."""

    slug = "delivery-rejected"


class AddressRefused(DeliveryRejected):
    """The mail server refused the recipient's address for good: no message to it will ever arrive."""

    slug = "address-refused"


class NotFound(ForecasterError):
    """Asked for a ground, surface or document that does not exist."""

    slug = "not-found"


class Conflict(ForecasterError):
    """A change that does not go with what is stored."""

    slug = "conflict"


class Outdated(Conflict):
    """Somebody else changed it since it was read: read it anew, then change it."""

    slug = "outdated"


class ReadOnly(Conflict):
    """It comes from the configuration or from a calendar, and is changed there."""

    slug = "read-only"


class KeyReused(Conflict):
    """The same request key came before with another content."""

    slug = "key-reused"


class NotAllowed(ForecasterError):
    """The visitor may not do this; with another key it would be possible."""

    slug = "not-allowed"


class FormRefused(NotAllowed):
    """A browser sent a change, but not with a form that this program has shown it."""

    slug = "form-refused"
