"""Numbers as the API tells them: no more digits than the unit in the name carries."""

from __future__ import annotations

from typing import Any, TypeVar

from pydantic import BaseModel

# By the end of a field's name, the longer end first. More digits would tell of a precision that no model of soil has.
_DECIMALS: tuple[tuple[str, int], ...] = (
    ("_per_day", 4),
    ("_log10_s", 2),
    ("_m3m3", 3),
    ("_mm", 1),
    ("_c", 1),
    ("_m2", 1),
    ("_hours", 1),
)
_OTHERS = 3

Model = TypeVar("Model", bound=BaseModel)


def rounded(answer: Model) -> Model:
    """The same answer with its numbers rounded by the units in their names; what has no unit to three decimals."""
    changes = {name: _rounded(name, getattr(answer, name)) for name in type(answer).model_fields}
    return answer.model_copy(update=changes)


def _rounded(name: str, value: Any) -> Any:
    if isinstance(value, float):
        return round(value, next((decimals for end, decimals in _DECIMALS if name.endswith(end)), _OTHERS)) + 0.0
    if isinstance(value, BaseModel):
        return rounded(value)
    if isinstance(value, tuple):
        return tuple(_rounded(name, item) for item in value)
    return value
