"""Who changes something: the one place where a route asks whether it may, and under which name the change is kept."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request


@dataclass(frozen=True)
class Visitor:
    """Whoever asks. ``name``: for records of who did what."""

    name: str


MACHINE = Visitor("this machine")


def require_write(request: Request, ground_id: str | None = None) -> Visitor:
    """The visitor, who may change things (of this ground). Without keys only this machine gets in."""
    return MACHINE
