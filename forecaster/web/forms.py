"""Forms that only our own pages can send. Works with a key and without, and without script.

A hidden field carries a token that this program signed for the browser it was shown to: for its signed-in session, or else for a random
name that a cookie gives it. Another site can neither read the field nor set the cookie.
"""

from __future__ import annotations

import hashlib
import secrets

from fastapi import Request
from itsdangerous import BadSignature, URLSafeSerializer
from starlette.datastructures import FormData

from forecaster.errors import FormRefused
from forecaster.web.access import READS, SIGNED, is_api
from forecaster.web.visitor import visitor_of

FIELD = "form_token"
PURPOSE = "forms"


class Forms:
    """Makes and checks the tokens of one service. ``secret`` is the same for all its processes."""

    def __init__(self, secret: bytes, *, cookie: str, session_cookie: str) -> None:
        self.cookie, self.session_cookie = cookie, session_cookie
        self._serializer = URLSafeSerializer(secret, salt=PURPOSE)

    def token(self, request: Request) -> str:
        """What a form of this answer carries. A browser without a name gets one with the answer (``access.Access`` sets it)."""
        binding = self._binding(request)
        if binding is None:
            request.state.new_browser = secrets.token_urlsafe(24)
            binding = self._binding(request)
        # A random part makes each token look different, so that the compression of the answer tells nothing of it.
        return str(self._serializer.dumps([secrets.token_urlsafe(12), binding]))

    async def check(self, request: Request) -> None:
        """Let only our own form pass. Raises: FormRefused."""
        try:
            form = await request.form()
        except Exception as error:
            raise _not_ours() from error
        if not self._ours(form, self._binding(request)):
            raise _not_ours()

    def _ours(self, form: FormData, binding: str | None) -> bool:
        given = form.get(FIELD)
        if binding is None or not isinstance(given, str):
            return False
        try:
            content = self._serializer.loads(given)
        except BadSignature:
            return False
        return isinstance(content, list) and len(content) == 2 and content[1] == binding

    def _binding(self, request: Request) -> str | None:
        if visitor_of(request).by == "session":
            name = "session:" + request.cookies.get(self.session_cookie, "")
        else:
            browser = getattr(request.state, "new_browser", None) or request.cookies.get(self.cookie)
            if not browser:
                return None
            name = "browser:" + browser
        return hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()


def form_token(request: Request) -> str:
    """The token for a form on the page that answers this request."""
    forms: Forms = request.app.state.forms
    return forms.token(request)


async def only_our_forms(request: Request) -> None:
    """Guard of every route: a change by a browser comes from a form of ours.

    Not asked of programs: they send a key, which no browser adds by itself, or speak to the API, where a browser's cookie changes nothing.
    Raises: FormRefused.
    """
    path = str(request.scope["path"])
    if request.method in READS or is_api(path) or path.startswith(SIGNED) or visitor_of(request).by == "key":
        return
    forms: Forms = request.app.state.forms
    await forms.check(request)


def _not_ours() -> FormRefused:
    return FormRefused(
        "This form was not sent from a page of ours that is still good: it was opened before you signed in or out, or your browser "
        "keeps no cookies of this address.",
        hint="Open the page again, fill it in and send it once more.",
    )
