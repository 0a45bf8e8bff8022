"""Lists in pages: ``next`` names the place after the last item. It is opaque: clients hand it back as it is."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Annotated, Protocol, TypeVar

from fastapi import Query
from fastapi.exceptions import RequestValidationError

PAGE = 50
PAGE_AT_MOST = 200

Limit = Annotated[int, Query(ge=1, le=PAGE_AT_MOST, description="Most items in one answer", examples=[PAGE])]
Next = Annotated[
    str | None, Query(max_length=400, description="`next` of the answer before, as it is, for the items after it", examples=[None])
]
SurfaceFilter = Annotated[str | None, Query(description="Only of this surface", max_length=40, pattern=r"^[a-z0-9][a-z0-9-]*$")]
Place = tuple[datetime, str]
NO_TIME = datetime(2000, 1, 1, tzinfo=UTC)
"""Stands in the place of an item that has no time."""
Item = TypeVar("Item")


class Placed(Protocol):
    """Something with a place in a list: newest first, then by id."""

    @property
    def happened_at(self) -> datetime: ...

    @property
    def id(self) -> str: ...


PlacedItem = TypeVar("PlacedItem", bound=Placed)


def place_after(token: str | None) -> Place | None:
    """The place that a ``next`` names; None for the first page. Raises RequestValidationError where it is none of ours."""
    if token is None:
        return None
    try:
        at, identity = json.loads(base64.urlsafe_b64decode(token.encode("ascii")))
        place = datetime.fromisoformat(at), str(identity)
        if place[0].tzinfo is None or "\0" in place[1]:
            raise ValueError("not one of ours")
        place[0].timestamp()
    except (ValueError, TypeError, OverflowError, binascii.Error, RecursionError) as error:
        message = "Not a place in a list: hand back `next` as it came, or leave it out to begin anew."
        raise RequestValidationError([{"type": "next", "loc": ("query", "next"), "msg": message, "input": token}]) from error
    return place


def next_of(place: Place) -> str:
    """The opaque name of a place in a list."""
    return base64.urlsafe_b64encode(json.dumps([place[0].isoformat(), place[1]]).encode()).decode("ascii")


def page_of(items: Sequence[PlacedItem], after: Place | None, limit: int) -> tuple[list[PlacedItem], str | None]:
    """One page of a whole list, newest first, and where it goes on; None at its end."""
    ordered = sorted(sorted(items, key=lambda item: item.id), key=lambda item: item.happened_at, reverse=True)
    if after is not None:
        ordered = [i for i in ordered if i.happened_at < after[0] or (i.happened_at == after[0] and i.id > after[1])]
    return cut(ordered, limit)


def page_in_order(items: Sequence[Item], after: Place | None, limit: int, *, id_of: Callable[[Item], str]) -> tuple[list[Item], str | None]:
    """One page of a list in an order of its own, such as worst first, and where it goes on; None at its end.

    It goes on after the item that the page before ended with, wherever that stands now; where it is gone, from the beginning. An item that
    has got worse or better meanwhile may come twice or not at all.
    """
    ids = [id_of(item) for item in items]
    start = ids.index(after[1]) + 1 if after is not None and after[1] in ids else 0
    kept = list(items[start : start + limit])
    more = bool(kept) and start + limit < len(items)
    return kept, next_of((NO_TIME, id_of(kept[-1]))) if more else None


def cut(ordered: Sequence[PlacedItem], limit: int) -> tuple[list[PlacedItem], str | None]:
    """The first ``limit`` items of what was read, one more of it than asked for telling that there is a next page."""
    kept = list(ordered[:limit])
    return kept, next_of((kept[-1].happened_at, kept[-1].id)) if len(ordered) > limit else None
