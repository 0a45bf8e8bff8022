"""Reading what somebody enters: strictly, and with all mistakes at once."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from fastapi import HTTPException, Request
from fastapi.exceptions import RequestValidationError
from pydantic import TypeAdapter, ValidationError

from forecaster.documents import GroundSummary
from forecaster.records import FIXTURE_HOURS_AT_MOST, KEEP_OFF_DAYS_AT_MOST, ApplicationEntry, FixtureEntry, RingEntry

BODY_BYTES_AT_MOST = 64 * 1024
AHEAD = timedelta(hours=1)
"""How far a clock that states when something was done or seen may be ahead of this one. Status: assumption."""

_WORDS = {
    "string_pattern_mismatch": "empty, or with characters that cannot be kept here",
    "extra_forbidden": "an unknown field",
    "json_invalid": "not JSON",
}


class Mistakes:
    """Gathers what is wrong with one part of a request: its body, or its query."""

    def __init__(self, part: str = "body") -> None:
        self.part, self.found = part, list[dict[str, Any]]()

    def add(self, field: str, message: str) -> None:
        """Note one mistake of a field."""
        self.found.append({"type": "entry", "loc": (self.part, *field.split(".")), "msg": message, "input": None})

    def raise_if_any(self) -> None:
        """Raise RequestValidationError with all of them."""
        if self.found:
            raise RequestValidationError(self.found)


def body_of(shape: Any) -> Callable[[Request], Awaitable[Any]]:
    """A dependency that reads a JSON body of a shape: nothing is converted, unknown fields are refused."""
    adapter = TypeAdapter(shape)

    async def read(request: Request) -> Any:
        if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
            raise HTTPException(415)
        raw = bytearray()
        async for chunk in request.stream():
            raw += chunk
            if len(raw) > BODY_BYTES_AT_MOST:
                raise HTTPException(413)
        try:
            return adapter.validate_json(bytes(raw))
        except ValidationError as error:
            found = error.errors(include_url=False, include_context=False)
            raise RequestValidationError(
                [{**e, "loc": ("body", *e["loc"]), "msg": _WORDS.get(e["type"], e["msg"])} for e in found]
            ) from error

    return read


def body_schema(shape: Any) -> dict[str, Any]:
    """The ``openapi_extra`` of a route with such a body."""
    schema = TypeAdapter(shape).json_schema(ref_template="#/components/schemas/{model}")
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


def check_surface(entry: Any, ground: GroundSummary, rings: Sequence[tuple[str, str]], mistakes: Mistakes) -> None:
    """Surface and ring must be there. ``rings``: surface and ring ids."""
    if entry.surface_id not in [surface.id for surface in ground.surfaces]:
        known = ", ".join(surface.id for surface in ground.surfaces)
        mistakes.add("surface_id", f"{ground.name} has no surface {entry.surface_id!r}; it has: {known}")
    elif getattr(entry, "ring_id", None) is not None and (entry.surface_id, entry.ring_id) not in rings:
        known = ", ".join(ring for surface, ring in rings if surface == entry.surface_id) or "none"
        mistakes.add("ring_id", f"this surface has no ring {entry.ring_id!r}; it has: {known}")


def check_entry(entry: Any, *, now: datetime, today: Any, mistakes: Mistakes) -> None:
    """What must go together inside an entry, and what cannot have happened yet."""
    for field in ("applied_at_utc", "observed_at_utc"):
        if getattr(entry, field, now) > now + AHEAD:
            mistakes.add(field, "this lies ahead: enter it when it has been done")
    if isinstance(entry, ApplicationEntry) and entry.keep_off_until_utc is not None:
        if entry.keep_off_until_utc < entry.applied_at_utc:
            mistakes.add("keep_off_until_utc", "before it was put down")
        elif entry.keep_off_until_utc > entry.applied_at_utc + timedelta(days=KEEP_OFF_DAYS_AT_MOST):
            mistakes.add("keep_off_until_utc", f"at most {KEEP_OFF_DAYS_AT_MOST} days after it was put down")
    if isinstance(entry, FixtureEntry):
        if entry.ends_at_utc <= entry.starts_at_utc:
            mistakes.add("ends_at_utc", "must lie after the start")
        elif entry.ends_at_utc > entry.starts_at_utc + timedelta(hours=FIXTURE_HOURS_AT_MOST):
            mistakes.add("ends_at_utc", f"at most {FIXTURE_HOURS_AT_MOST} hours after the start")
    if isinstance(entry, RingEntry):
        if entry.band_width_m > entry.diameter_m / 2.0:
            mistakes.add("band_width_m", "at most half the diameter")
        if entry.surveyed > today:
            mistakes.add("surveyed", "this day lies ahead")
