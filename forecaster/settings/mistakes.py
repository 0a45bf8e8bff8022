"""Mistakes as they are gathered and as they are told: where, what stands there, what is allowed."""

from __future__ import annotations

import difflib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

from forecaster.errors import ConfigurationError, Mistake

LONGEST_VALUE = 60

Note = Callable[[str, object, str], None]
"""Notes one mistake of an entry: key inside the entry, value, what is allowed."""


@dataclass
class MistakeList:
    """Gathers the mistakes of all files, so that one look is enough to correct them."""

    found: list[Mistake] = field(default_factory=list)

    def add(self, file: str, key: str, value: object, allowed: str) -> None:
        """Note one mistake; ``value`` is shown as it would stand in the file."""
        self.found.append(Mistake(file, key, shown(value), allowed))

    def noter(self, file: str, prefix: str, name: str = "") -> Note:
        """Return what notes mistakes of one entry by their key inside it; ``name`` tells readers which entry that is."""
        where = f' (in "{name}")' if name else ""

        def note(key: str, value: object, allowed: str) -> None:
            self.add(file, f"{prefix}.{key}", value, allowed + where)

        return note

    def raise_if_any(self) -> None:
        """Raise ConfigurationError with everything that was found."""
        if self.found:
            raise ConfigurationError(self.found)


class Missing:
    """Stands for a key that is not there."""


def shown(value: object) -> str:
    """Write a value briefly, as it would stand in a TOML file."""
    if isinstance(value, Missing):
        return "(missing)"
    if isinstance(value, Mapping):
        return "(a table)"
    if isinstance(value, list) and any(isinstance(item, Mapping) for item in value):
        return "(a list of tables)"
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, (bool, str)) else str(value)
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1] + "…"


def nearest(word: str, known: Iterable[str]) -> str:
    """Say which known word was probably meant, or list the known ones."""
    names = sorted(known)
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.6)
    if close:
        return f'did you mean "{close[0]}"?'
    return f"known: {', '.join(names)}" if names else "none is known"


def key_path(location: Iterable[int | str]) -> str:
    """Write a location as ``surface[2].ring[1].diameter_m``; entries are counted from 1."""
    path = ""
    for part in location:
        path += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if path else part
    return path


def entry_name(data: Any, location: Iterable[int | str]) -> str:
    """Name the innermost entry with an id on the way to a location, " (in lower-pitch)", so that nobody has to count entries."""
    name = ""
    for part in location:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            break
        if isinstance(part, int) and isinstance(data, Mapping) and isinstance(data.get("id"), str):
            name = data["id"]
    return f' (in "{name}")' if name else ""


def describe_mistakes(error: ConfigurationError) -> str:
    """Write all mistakes for a terminal: a heading per file, one line per mistake, the hint last."""
    lines = [f"{error.message}:"]
    ordered = sorted(error.mistakes, key=lambda mistake: mistake.file)  # stable: the order inside a file stays
    for file, mistakes in groupby(ordered, key=lambda mistake: mistake.file):
        lines += ["", file]
        lines += [f"  {mistake.key} = {mistake.value}: {mistake.allowed}" for mistake in mistakes]
    if error.hint:
        lines += ["", error.hint]
    return "\n".join(lines)
