"""One TOML file → checked entries: what the file says against a pydantic model, every mismatch told in plain words."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError
from pydantic.fields import FieldInfo

from forecaster.records import ID_PATTERN
from forecaster.settings.mistakes import Missing, MistakeList, entry_name, key_path, nearest

Id = Annotated[str, Field(pattern=ID_PATTERN, description="an id: lower-case letters, digits and hyphens, 40 at most, no hyphen first")]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
Sentence = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=1000)]

# How a type is called in a mistake.
TYPE_WORDS: dict[Any, str] = {
    float: "a number",
    int: "a whole number",
    str: "text in quotes",
    bool: "true or false",
    date: "a date like 2026-09-05, without quotes",
}


class Entry(BaseModel):
    """Base of everything read from a file: no unknown keys, no silent conversion, no NaN or infinity."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


EntryType = TypeVar("EntryType", bound=Entry)


def read_toml(path: Path, file: str, mistakes: MistakeList) -> dict[str, Any] | None:
    """Read one file; None where it is missing, not UTF-8 or not TOML, with the mistake noted."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        mistakes.add(file, "(file)", Missing(), "this file must exist; `forecaster init` writes one to start from")
        return None
    except OSError as error:
        mistakes.add(file, "(file)", str(error.strerror), "a file that can be read")
        return None
    try:
        text = raw.decode("utf-8-sig")  # some editors write a byte order mark; it does no harm
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        mistakes.add(file, f"line {line}", f"byte {raw[error.start]:#04x}", "text in UTF-8: save the file again with this encoding")
        return None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        _note_syntax(text, str(error), file, mistakes)
        return None


def _note_syntax(text: str, message: str, file: str, mistakes: MistakeList) -> None:
    """Note a TOML syntax error with its line as it stands and, for the usual slips, what to write instead."""
    place = re.search(r"\(at line (\d+), column \d+\)$", message)
    lines = text.splitlines()
    number = int(place.group(1)) if place else len(lines)
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    reason = re.sub(r" \(at .*\)$", "", message)
    if re.search(r"=\s*-?\d+,\d", line):
        reason += "; write a decimal point, not a comma"
    elif re.search("[“”„‘’]", line):
        reason += "; use straight quotes"
    elif re.search(r"=\s*[A-Za-z]", line):
        reason += '; put text in quotes: "…"'
    mistakes.add(file, f"line {number}", line, f"TOML: {reason}")


def check(model: type[EntryType], data: Mapping[str, Any], file: str, mistakes: MistakeList) -> EntryType | None:
    """Check a whole file (or table) against a model; None and all mistakes noted where it does not fit."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        for problem in error.errors(include_url=False, include_context=False):
            location = problem["loc"]
            value: object = Missing() if problem["type"] == "missing" else problem["input"]
            allowed = allowed_at(model, location, problem["type"])
            mistakes.add(file, key_path(location), value, allowed + entry_name(data, location))
    return None


def valid_or_none(model: type[EntryType], data: Any) -> EntryType | None:
    """Return one entry where it is sound by itself, so that cross checks also run in a file with mistakes elsewhere.

    None where it is not: its mistakes have been noted by ``check`` on the whole file.
    """
    try:
        return model.model_validate(data)
    except ValidationError:
        return None


def entries(data: Mapping[str, Any], key: str) -> list[Any]:
    """Return the raw entries of an array of tables, whatever is wrong with them; empty where there is none."""
    found = data.get(key, [])
    return found if isinstance(found, list) else []


def raw_ids(found: list[Any]) -> list[str]:
    """Return the ids of raw entries, so that one bad number in an entry does not make everything that refers to it wrong too."""
    return [entry["id"] for entry in found if isinstance(entry, Mapping) and isinstance(entry.get("id"), str)]


def note_duplicates(found: list[Any], prefix: str, file: str, mistakes: MistakeList) -> None:
    """Note every id that an earlier entry of the same list has already."""
    first: dict[str, int] = {}
    for number, entry in enumerate(found, start=1):
        name = entry.get("id") if isinstance(entry, Mapping) else None
        if isinstance(name, str):
            if name in first:
                mistakes.add(file, f"{prefix}[{number}].id", name, f"an id of its own; {prefix}[{first[name]}] has this one already")
            first.setdefault(name, number)


def allowed_at(model: type[BaseModel], location: tuple[int | str, ...], kind: str) -> str:
    """Say what may stand at a location of a model."""
    current: Any = model
    field: FieldInfo | None = None
    for part in location:
        if _is_model(current):
            field = current.model_fields.get(part)
            if field is None:
                return f'unknown key "{part}"; {nearest(str(part), current.model_fields)}'
        else:
            field = FieldInfo.from_annotation((get_args(current) or (Any,))[-1])
        current = _bare(field.annotation)
        if get_origin(field.annotation) in (Union, UnionType):  # an optional field keeps its limits inside the union
            inner = next(part for part in get_args(field.annotation) if part is not NoneType)
            field = FieldInfo.merge_field_infos(field, FieldInfo.from_annotation(inner))
    text = describe_field(field) if field else "a table"
    return f"required: {text}" if kind == "missing" else text


def describe_field(field: FieldInfo) -> str:
    """Say in words what a field may hold: its own description, or its type with its range."""
    if field.description:
        return field.description
    bare = _bare(field.annotation)
    limits = _limits(field)
    if get_origin(bare) is Literal:
        return "one of " + ", ".join(str(choice) for choice in get_args(bare))
    if get_origin(bare) is list:
        item = _bare(get_args(bare)[0])
        return "a list of tables" if _is_model(item) else "a list" + limits
    if get_origin(bare) is dict or _is_model(bare):
        return "a table"
    return TYPE_WORDS.get(bare, str(bare)) + limits


def _limits(field: FieldInfo) -> str:
    low = high = ""
    for limit in field.metadata:
        if isinstance(limit, Ge):
            low = f"from {limit.ge:g}"
        elif isinstance(limit, Gt):
            low = f"more than {limit.gt:g}"
        elif isinstance(limit, Le):
            high = f"{'to' if low.startswith('from') else 'at most'} {limit.le:g}"
        elif isinstance(limit, Lt):
            high = f"less than {limit.lt:g}"
        elif isinstance(limit, MinLen):
            low = "not empty" if limit.min_length == 1 else f"at least {limit.min_length} long"
        elif isinstance(limit, MaxLen):
            high = f"at most {limit.max_length} long"
        elif isinstance(limit, StringConstraints):
            low, high = "not empty", f"at most {limit.max_length} characters"
    if low and high:
        return f" {low} {high}" if high.startswith("to ") else f" {low}, {high}"
    return f" {low or high}" if low or high else ""


def _bare(annotation: Any) -> Any:
    """Take Annotated and ``| None`` off a type."""
    if get_origin(annotation) is Annotated:
        return _bare(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        return _bare(next(part for part in get_args(annotation) if part is not NoneType))
    return annotation


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)
