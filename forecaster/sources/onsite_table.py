"""The text of an on-site file as a table: decoding, header, columns and cells; what is wrong with the file as a whole, all at once."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field
from difflib import get_close_matches

from forecaster.ground.onsite import FileShape, OnsiteSource
from forecaster.sources.onsite_reading import Rejected

DELIMITERS = {",": "a comma", ";": "a semicolon", "\t": "a tab", "|": "a bar", " ": "spaces"}


@dataclass
class Table:
    """The lines of one file that have as many cells as the header, and the place of each column that the mapping names."""

    file: str
    names: list[str]
    places: dict[str, int]
    lines: list[int] = field(default_factory=list)
    cells: list[list[str]] = field(default_factory=list)
    rejected: list[Rejected] = field(default_factory=list)
    count: int = 0
    """Lines with anything in them, below the header."""

    def column(self, name: str) -> list[str]:
        """The cells of a column that the mapping names."""
        place = self.places[name]
        return [cells[place] for cells in self.cells]


def decoded(raw: bytes, shape: FileShape, problems: list[str]) -> str:
    """The text; an encoding that does not fit is a problem, and the text is then read as well as it can be, to find the others."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        problems.append("the file is UTF-16: save it as CSV in UTF-8")
        return raw.decode("utf-16", errors="replace")
    if shape.encoding == "utf-8":
        try:
            return raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = raw[: error.start].count(b"\n") + 1
            byte = raw[error.start]
            problems.append(
                f'encoding = "utf-8": line {line} has the byte {byte:#04x}, which is not UTF-8; encoding = "cp1252" may be meant'
            )
            return raw.decode("cp1252", errors="replace")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")
    if not raw.isascii():
        problems.append('encoding = "cp1252": the file is UTF-8; encoding = "utf-8" may be meant')
    return text


def read_table(source: OnsiteSource, text: str, file: str, problems: list[str]) -> Table | None:
    """Split a text into cells and find the mapped columns; None where no line can be read."""
    shape = source.shape
    lines = text.splitlines()
    if len(lines) <= shape.header_lines:
        problems.append(f"the file has {len(lines)} lines and header_lines = {shape.header_lines}: no line of values")
        return None
    delimiter = shape.delimiter
    meant = _better_delimiter(lines, shape)
    if meant is not None:
        problems.append(
            f"delimiter = {delimiter!r}: lines are not divided by {DELIMITERS[delimiter]}; {meant!r} ({DELIMITERS[meant]}) may be meant"
        )
        delimiter = meant  # to find what else is wrong
    try:
        rows = list(_rows(lines, delimiter))
    except csv.Error as error:
        problems.append(f"the file is not a table of text: {error}")
        return None
    header = [cells for number, cells in rows if number <= shape.header_lines]
    body = [(number, cells) for number, cells in rows if number > shape.header_lines]
    names = _names(header, shape) or [f"#{number + 1}" for number in range(max((len(cells) for _, cells in body), default=0))]
    table = Table(file, names, _places(source, names, problems))
    _take_lines(table, body, cut=_cut_line(source, text, lines))
    return table


def _rows(lines: list[str], delimiter: str) -> Iterator[tuple[int, list[str]]]:
    if delimiter == " ":
        for number, line in enumerate(lines, start=1):
            yield number, line.split()
        return
    reader = csv.reader(lines, delimiter=delimiter)
    for cells in reader:
        yield reader.line_num, [cell.strip() for cell in cells]


def _better_delimiter(lines: list[str], shape: FileShape) -> str | None:
    """The delimiter that divides names and values alike, where the mapping's divides neither."""
    below = next((line for line in lines[shape.header_lines :] if line.strip()), "")
    sample = [lines[number - 1] for number in shape.names_lines if number <= len(lines)] or [below]
    if any(len(cells) > 1 for _, cells in _rows(sample, shape.delimiter)):
        return None
    counts = {mark: len(next(_rows(sample, mark), (0, []))[1]) for mark in ("\t", ";", "|", ",") if mark != shape.delimiter}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] > 1 else None


def _names(header: list[list[str]], shape: FileShape) -> list[str]:
    """Names of columns; those that stand on several lines are joined."""
    chosen = [header[number - 1] for number in shape.names_lines if number <= len(header)]
    width = max((len(cells) for cells in chosen), default=0)
    padded = [cells + [""] * (width - len(cells)) for cells in chosen]
    return [" ".join(part for part in parts if part) for parts in zip(*padded, strict=True)]


def _places(source: OnsiteSource, names: list[str], problems: list[str]) -> dict[str, int]:
    wanted = [*source.clock.columns, *([source.surface_column] if source.surface_column else []), *(c.column for c in source.columns)]
    places: dict[str, int] = {}
    for name in dict.fromkeys(wanted):
        if name.startswith("#") and name[1:].isdigit() and name not in names:
            if 1 <= int(name[1:]) <= len(names):
                places[name] = int(name[1:]) - 1
            else:
                problems.append(f"column {name}: the file has {len(names)} columns")
        elif names.count(name) == 1:
            places[name] = names.index(name)
        elif name in names:
            problems.append(f'column {name!r}: stands there {names.count(name)} times; give its number, "#{names.index(name) + 1}"')
        else:
            close = get_close_matches(name, names, n=1, cutoff=0.6)
            there = f"did you mean {close[0]!r}?" if close else "the file has " + ", ".join(repr(known) for known in names[:20] if known)
            problems.append(f"column {name!r}: is missing; {there}")
    return places


def _cut_line(source: OnsiteSource, text: str, lines: list[str]) -> int | None:
    """The number of a last line without an end: an instrument may still be writing it, and half a number looks like a number."""
    return None if text.endswith(("\n", "\r")) or source.kind == "irrigation-log" else len(lines)


def _take_lines(table: Table, body: list[tuple[int, list[str]]], *, cut: int | None) -> None:
    width = len(table.names)
    for number, cells in body:
        if not any(cells):
            continue
        table.count += 1
        shown = " ".join(cells)[:60]
        if number == cut:
            table.rejected.append(Rejected(number, "", shown, "the last line has no end yet: it is taken when it has one", table.file))
            continue
        # A delimiter at the end of lines, but not of the header, or the other way round, is common and harmless.
        if len(cells) == width + 1 and not cells[-1]:
            cells = cells[:-1]
        elif len(cells) == width - 1 and not table.names[-1]:
            cells = [*cells, ""]
        if len(cells) != width:
            table.rejected.append(Rejected(number, "", shown, f"{len(cells)} cells where the header has {width}", table.file))
            continue
        table.lines.append(number)
        table.cells.append(cells)
