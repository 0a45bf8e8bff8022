"""Signing a browser in with a key, and out again."""

from __future__ import annotations

import math
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.responses import Response

from forecaster.storage.sign_ins import LASTS
from forecaster.web.access import Doors
from forecaster.web.keys import SignedIn, StoredKeys, Wait
from forecaster.web.pages import Pages

LONGEST_KEY = 200
LONGEST_ADDRESS = 500


def safe_next(address: str) -> str:
    """Where to go after signing in: an address of this service, or its first page."""
    plain = address.isprintable() and "\\" not in address and len(address) <= LONGEST_ADDRESS
    if not plain or not address.startswith("/") or address.startswith(("//", "/sign-")):
        return "/"
    parts = urlsplit(address)
    return address if not parts.scheme and not parts.netloc else "/"


def sign_in_router(pages: Pages, keys: StoredKeys, doors: Doors) -> APIRouter:
    """The page to sign in on, and what its form and the one to sign out send to."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    def page(request: Request, *, to: str, problem: str = "", status: int = 200, headers: dict[str, str] | None = None) -> HTMLResponse:
        over = doors.session_cookie in request.cookies and not problem
        answer = pages.plain(request, "sign_in.html", to=to, problem=problem, over=over, sample=False, status=status)
        answer.headers["Cache-Control"] = "no-store"
        answer.headers.update(headers or {})
        return answer

    @router.api_route("/sign-in", methods=["GET", "HEAD"])
    def show(request: Request, next: str = "/") -> HTMLResponse:
        return page(request, to=safe_next(next))

    @router.post("/sign-in")
    def sign_in(
        request: Request,
        key: Annotated[str, Form(max_length=LONGEST_KEY)] = "",
        next: Annotated[str, Form(max_length=LONGEST_ADDRESS)] = "/",
    ) -> Response:
        address = request.client.host if request.client else ""
        found = keys.sign_in(key.strip(), address)
        to = safe_next(next)
        if isinstance(found, Wait):
            minutes = math.ceil(found.seconds / 60)
            words = f"Too many tries failed lately. Try again in {minutes} minute{'s' if minutes != 1 else ''}."
            return page(request, to=to, problem=words, status=429, headers={"Retry-After": str(found.seconds)})
        if not isinstance(found, SignedIn):
            return page(request, to=to, problem="This key opens nothing: it is mistyped, was revoked, or has expired.", status=403)
        answer = RedirectResponse(to, status_code=303)
        answer.set_cookie(
            doors.session_cookie,
            found.token,
            max_age=int(LASTS.total_seconds()),
            secure=doors.secure,
            httponly=True,
            samesite="lax",  # strict would ask again for the key after a link in a mail; changes are guarded by the form's token
        )
        return answer

    @router.post("/sign-out")
    def sign_out(request: Request) -> Response:
        token = request.cookies.get(doors.session_cookie)
        if token:
            keys.sign_out(token)
        answer = RedirectResponse("/sign-in" if doors.keys_needed else "/", status_code=303)
        answer.delete_cookie(doors.session_cookie, secure=doors.secure, httponly=True, samesite="lax")
        return answer

    return router
