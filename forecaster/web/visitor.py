"""Who changes something: the one place where a route asks whether it may, and under which name the change is kept."""

from __future__ import annotations

from starlette.requests import Request

THIS_MACHINE = "this machine"


def changer(request: Request, ground_id: str) -> str:
    """Name of whoever changes something of a ground, as it is kept beside the change. Without keys only this machine gets in."""
    return THIS_MACHINE
