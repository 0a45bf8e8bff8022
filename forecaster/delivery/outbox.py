"""One attempt to send one letter, with its end in words. The loop over the outbox is not here: it joins this with storage."""

from __future__ import annotations

from dataclasses import dataclass
from email.message import EmailMessage
from typing import Literal, Protocol

from forecaster.delivery.message import Letter, compose
from forecaster.errors import AddressRefused, DeliveryDoubtful, DeliveryPostponed, DeliveryRejected, DeliveryUnreachable


class Mailer(Protocol):
    """Something that takes a message, or raises DeliveryPostponed, DeliveryDoubtful or DeliveryRejected."""

    def send(self, message: EmailMessage) -> None:
        """Hand one message over."""


@dataclass(frozen=True)
class Attempt:
    """How an attempt ended.

    ``postponed``: try later. ``unreachable``: try later, and the other messages too. ``doubtful``: it may have arrived. ``rejected``: never
    as it stands. ``address refused``: never, nor any other message to this address.
    """

    end: Literal["sent", "postponed", "unreachable", "doubtful", "rejected", "address refused"]
    problem: str = ""


def deliver(mailer: Mailer, letter: Letter) -> Attempt:
    """Compose and send one letter whose row is claimed, once. Errors of delivery are its result; any other error is a fault and passes."""
    try:
        mailer.send(compose(letter))
    except DeliveryDoubtful as error:
        return Attempt("doubtful", error.message)
    except DeliveryUnreachable as error:
        return Attempt("unreachable", error.message)
    except DeliveryPostponed as error:
        return Attempt("postponed", error.message)
    except AddressRefused as error:
        return Attempt("address refused", error.message)
    except DeliveryRejected as error:
        return Attempt("rejected", error.message)
    return Attempt("sent")
