"""Answers that a client may already hold (ETag, If-None-Match), and changes that rest on what a client has read (If-Match)."""

from __future__ import annotations

import hashlib
import json
import re
from typing import Annotated, Any

from fastapi import Header, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel

from forecaster.errors import Conflict


class PreconditionMissing(Conflict):
    """A change that does not say which version it rests on."""

    slug = "precondition-missing"

    def __init__(self) -> None:
        super().__init__("This change does not say which version it rests on.", hint="Send its ETag as If-Match, or * for whichever.")


NOT_CHANGED: dict[int | str, dict[str, Any]] = {304: {"description": "Not changed since the version you hold"}}

# What changes with the clock alone: an answer that differs in nothing else is the same answer.
_CLOCK = frozenset({"answered_at_utc", "age_hours", "outlook_age_hours", "last_good_age_hours"})

IfMatch = Annotated[
    str | None,
    Header(alias="If-Match", max_length=100, description="ETag of the record as you read it, or * for whichever", examples=['"v1"']),
]


def tag_of(answer: Any) -> str:
    """A weak validator of an answer as JSON: it changes with what is told, not with its age by the minute."""
    told = json.dumps(_without_clock(answer), sort_keys=True, separators=(",", ":"))
    return f'W/"{hashlib.sha256(told.encode()).hexdigest()[:32]}"'


def _without_clock(part: Any) -> Any:
    if isinstance(part, dict):
        return {key: _without_clock(value) for key, value in part.items() if key not in _CLOCK}
    return [_without_clock(value) for value in part] if isinstance(part, list) else part


def unchanged(request: Request, tag: str) -> bool:
    """Whether the client already holds this version (If-None-Match, weak comparison of RFC 9110)."""
    given = [part.strip().removeprefix("W/") for part in request.headers.get("if-none-match", "").split(",")]
    return "*" in given or tag.removeprefix("W/") in given


def told(
    request: Request, answer: BaseModel, *, tag: str | None = None, status: int = 200, headers: dict[str, str] | None = None
) -> Response:
    """An answer with its ETag, or 304 where the client holds it. ``tag``: of the answer's content where none is given."""
    body = answer.model_dump(mode="json")
    named = {"ETag": tag or tag_of(body), "Cache-Control": "no-cache", **(headers or {})}
    if status == 200 and request.method in ("GET", "HEAD") and unchanged(request, named["ETag"]):
        return Response(status_code=304, headers=named)
    text = json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Response(text, status_code=status, media_type="application/json", headers=named)


def version_tag(version: int) -> str:
    """The strong validator of one version of a record."""
    return f'"v{version}"'


def version_in(if_match: str | None) -> int | None:
    """The version that a change rests on; None for ``*``.

    Raises: PreconditionMissing without one; RequestValidationError where it is not one of our tags.
    """
    if if_match is None:
        raise PreconditionMissing()
    text = if_match.strip()
    if text == "*":
        return None
    found = re.fullmatch(r'(?:W/)?"v([0-9]{1,9})"', text)
    if found is None:
        message = 'The ETag of the record as you read it, like "v1", or * for whichever.'
        raise RequestValidationError([{"type": "if-match", "loc": ("header", "If-Match"), "msg": message, "input": text}])
    return int(found.group(1))
