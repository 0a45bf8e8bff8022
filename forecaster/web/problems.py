"""Every error of the API as a problem document (RFC 9457), and of the pages as a page in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from http import HTTPStatus

from fastapi.responses import JSONResponse
from pydantic import BaseModel

from forecaster.errors import Conflict, ForecasterError, FormRefused, KeyReused, NotAllowed, NotFound, Outdated, ReadOnly, StorageError

MEDIA_TYPE = "application/problem+json"
CATALOGUE = "/api/v1/problems"

# slug: status and title. The catalogue is served at the address that every problem's ``type`` names.
KINDS: dict[str, tuple[int, str]] = {
    NotFound.slug: (404, "There is no such thing here"),
    "host-refused": (400, "This address is not served"),
    "bad-request": (400, "The request cannot be understood"),
    "proxy-refused": (403, "Requests through a proxy are not served here"),
    "cross-site-refused": (403, "Another site may not change anything here"),
    "key-needed": (401, "This needs a key"),
    NotAllowed.slug: (403, "This key does not allow that"),
    FormRefused.slug: (403, "This form cannot be taken"),
    "method-not-allowed": (405, "This address cannot be used in that way"),
    Conflict.slug: (409, "This does not go with what is stored"),
    ReadOnly.slug: (409, "This is not changed here"),
    Outdated.slug: (412, "Somebody else changed it since you read it"),
    "body-too-large": (413, "What was sent is too large"),
    "media-type-refused": (415, "Send it as application/json"),
    "request-invalid": (422, "Something in the request is not as it must be"),
    KeyReused.slug: (409, "This request key was used before for something else"),
    "precondition-missing": (428, "Say which version you change"),
    ForecasterError.slug: (500, "Something went wrong"),
    "internal-error": (500, "Something went wrong on our side"),
    StorageError.slug: (503, "What is stored cannot be read"),
}


class FieldMistake(BaseModel):
    """One field of a request that was refused."""

    where: str
    message: str


class Problem(BaseModel):
    """What went wrong, after RFC 9457; ``slug`` is stable and meant for programs, ``hint`` says what to do."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    slug: str
    hint: str = ""
    errors: list[FieldMistake] = []


def problem(slug: str, detail: str, *, instance: str, hint: str = "", errors: Sequence[FieldMistake] = ()) -> Problem:
    """A problem document of a known kind."""
    status, title = KINDS[slug]
    return Problem(
        type=f"{CATALOGUE}#{slug}",
        title=title,
        status=status,
        detail=detail,
        instance=instance,
        slug=slug,
        hint=hint,
        errors=list(errors),
    )


def problem_response(document: Problem, *, headers: dict[str, str] | None = None) -> JSONResponse:
    """The document as an HTTP answer."""
    return JSONResponse(
        document.model_dump(), status_code=document.status, media_type=MEDIA_TYPE, headers={"Cache-Control": "no-store", **(headers or {})}
    )


def slug_of_status(status: int) -> str:
    """The kind for an HTTP status raised by the framework."""
    known = {
        400: "bad-request",
        401: "key-needed",
        403: NotAllowed.slug,
        404: NotFound.slug,
        405: "method-not-allowed",
        413: "body-too-large",
        415: "media-type-refused",
        422: "request-invalid",
    }
    return known.get(status, "bad-request" if status < HTTPStatus.INTERNAL_SERVER_ERROR else "internal-error")


def openapi_problem(*slugs: str) -> dict[int | str, dict[str, object]]:
    """The ``responses`` entry of a route for these kinds."""
    schema = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schema.pop("$defs", None)
    schema["properties"]["errors"]["items"] = FieldMistake.model_json_schema()
    found: dict[int | str, dict[str, object]] = {}
    for slug in slugs:
        status, title = KINDS[slug]
        example = problem(slug, title + ".", instance="/api/v1/grounds/elsewhere").model_dump()
        found[status] = {"description": title, "content": {MEDIA_TYPE: {"schema": schema, "example": example}}}
    return found
