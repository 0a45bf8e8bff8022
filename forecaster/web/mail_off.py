"""The page on which a reader takes an address off. A GET changes nothing, since mail programs look into links; a POST does (RFC 8058)."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Protocol

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from forecaster.errors import NotFound
from forecaster.web.mail import masked
from forecaster.web.pages import Pages

PREFIX = "/mail/off/"
"""Open to whoever holds a link: the signed word in it is the permission, and shows no ground but its own, nor the whole address."""


class MailDesk(Protocol):
    """Which address a signed word stands for, and taking it off. Raises StorageError."""

    def address_of(self, word: str) -> tuple[str, str] | None:
        """Ground and address that a signed word stands for; None where this program did not sign it."""
        ...

    def is_off(self, ground_id: str, address: str) -> bool:
        """Whether an address gets no mail of a ground already."""
        ...

    def take_off(self, ground_id: str, address: str, now: datetime) -> None:
        """Send no more mail of a ground to an address; once more changes nothing."""
        ...


def mail_off_router(pages: Pages, desk: MailDesk, now: Callable[[], datetime]) -> APIRouter:
    """The address behind every mail's last link."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    def answer(request: Request, word: str, *, post: bool) -> HTMLResponse:
        found = desk.address_of(word)
        if found is None:
            raise NotFound(
                "This link takes no address off: it is not whole, or not of this program.",
                hint="Copy the whole link from the mail, or ask whoever runs this program to take the address off.",
            )
        # Also of a ground that is no longer looked after: should it come back, the wish still holds.
        ground_id, address = found
        ground = pages.store.ground(ground_id)
        if post:
            desk.take_off(ground_id, address, now())
        off, name = desk.is_off(ground_id, address), ground_id if ground is None else ground.name
        return pages.show(request, "mail_off.html", ground=ground, ground_name=name, address=masked(address), done=post, off=off)

    @router.api_route("/mail/off/{word}", methods=["GET", "HEAD"])
    def ask(request: Request, word: str) -> HTMLResponse:
        return answer(request, word, post=False)

    @router.post("/mail/off/{word}")
    def take_off(request: Request, word: str) -> HTMLResponse:
        return answer(request, word, post=True)

    return router
