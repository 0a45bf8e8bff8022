"""Who asks, and what of it they may see and change.

``access.Access`` finds out who asks and refuses strangers before a route is reached. ``admit`` guards every route of the application: a
ground in the address (path parameter ``ground``) that the visitor's key does not open is answered like one that does not exist. What
remains for a route: lists take ``visible_grounds``; a ground that is named in a query or a body is asked about with ``visible``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fastapi import Request

from forecaster.documents import GroundSummary
from forecaster.errors import NotAllowed, NotFound
from forecaster.web.reading import Store

GROUND_PARAMETER = "ground"


@dataclass(frozen=True)
class Visitor:
    """Whoever asks."""

    name: str
    """Name of the key, for records of who did what and for the page's foot."""
    may_write: bool
    grounds: frozenset[str] | None
    """Ids of the grounds that are open; None: all."""
    by: Literal["nobody", "machine", "key", "session"]
    """``machine``: somebody at this machine, where no key is needed. ``session``: a browser that signed in."""
    key_id: str | None = None

    def sees(self, ground_id: str) -> bool:
        """Whether this ground may be shown, or even named."""
        return self.grounds is None or ground_id in self.grounds


NOBODY = Visitor("nobody", may_write=False, grounds=frozenset(), by="nobody")
MACHINE = Visitor("this machine", may_write=True, grounds=None, by="machine")


def visitor_of(request: Request) -> Visitor:
    """Who asks; nobody where nothing has found out."""
    found = getattr(request.state, "visitor", NOBODY)
    return found if isinstance(found, Visitor) else NOBODY


def visible(request: Request, ground_id: str) -> bool:
    """Whether the visitor may see, and know of, this ground."""
    return visitor_of(request).sees(ground_id)


def visible_grounds(request: Request, store: Store) -> Sequence[GroundSummary]:
    """All grounds that the visitor may see: the only way to the list of grounds."""
    visitor = visitor_of(request)
    return [ground for ground in store.grounds() if visitor.sees(ground.id)]


def require_write(request: Request, ground_id: str | None = None) -> Visitor:
    """The visitor, who may change things (of this ground). Every request that is not a read has been through this once without a ground.

    Raises: NotAllowed; NotFound where the ground is not the visitor's to see.
    """
    visitor = visitor_of(request)
    if ground_id is not None and not visitor.sees(ground_id):
        raise no_such_ground(ground_id)
    if not visitor.may_write:
        raise NotAllowed(f"The key {visitor.name!r} is for reading only.", hint="Ask whoever runs this program for a key that may write.")
    return visitor


def no_such_ground(ground_id: str) -> NotFound:
    """The one answer for a ground that does not exist and for one that the visitor may not know of."""
    return NotFound(f"There is no ground called {ground_id!r}.", hint="The list of all grounds names those that exist.")


async def admit(request: Request) -> None:
    """The guard of every route.

    Raises: NotFound for a ground in the address that the visitor may not see; NotAllowed for a change by a page that is not a form of ours.
    """
    ground = request.path_params.get(GROUND_PARAMETER)
    if ground is not None and not visible(request, str(ground)):
        raise no_such_ground(str(ground))
