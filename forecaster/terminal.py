"""What all commands share: their options, how choices are handed on, and how errors are told."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forecaster.errors import ConfigurationError, ForecasterError
from forecaster.logs import log_to_stderr

if TYPE_CHECKING:
    from rich.console import Console

FAILED = 1
TABLE_WIDTH = 140
LINE_EVERY_SECONDS = 10.0

ConfigFolder = Annotated[
    Path | None, typer.Option("--config", help="Configuration folder (default: FORECASTER_CONFIG, or the shipped one).")
]
DataFolder = Annotated[Path | None, typer.Option("--data", help="Folder for database and mails (default: FORECASTER_DATA, or ./var).")]
PortNumber = Annotated[int | None, typer.Option("--port", min=1, max=65535, help="Port of the pages and the API.")]


def choose(config: Path | None, data: Path | None) -> None:
    if config is not None:
        set_variable("CONFIG", config)
    if data is not None:
        set_variable("DATA", data)


def set_variable(name: str, value: object) -> None:
    """Hand a choice of the command line on to this process's settings reader and to child processes."""
    os.environ[f"FORECASTER_{name}"] = str(value)


def start_log() -> None:
    """Write the log to the standard error in the shape that the environment asks for."""
    from forecaster.settings.environment import read_environment

    with told_in_one_line():
        log_to_stderr(read_environment().log_format)


def console() -> Console:
    """The terminal, or, into a file or a pipe, lines wide enough that no table cuts its words off."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else TABLE_WIDTH)


@contextmanager
def counted(what: str, *, total: int) -> Iterator[Callable[[str], None]]:
    """Show on stderr how far long work is: a bar in a terminal, else a line now and then. Gives what to call after each piece.

    Work of one piece is shown by its result alone.
    """
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    if total < 2:
        yield lambda _done: None
        return
    if sys.stderr.isatty():
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
            task = progress.add_task(what, total=total)
            yield lambda _done: progress.advance(task)
        return
    begun = said = time.monotonic()
    done = 0

    def count(_done: str) -> None:
        nonlocal done, said
        done, now = done + 1, time.monotonic()
        if done == total or now - said >= LINE_EVERY_SECONDS:
            said = now
            typer.echo(f"{what}: {done} of {total} after {now - begun:.0f} s", err=True)

    yield count


@contextmanager
def told_in_one_line() -> Iterator[None]:
    """Errors this program raises on purpose end the command with their message and hint, and exit code 1; no traceback."""
    try:
        yield
    except ConfigurationError as error:
        from forecaster.settings.mistakes import describe_mistakes

        typer.echo(describe_mistakes(error), err=True)
        raise typer.Exit(FAILED) from error
    except ForecasterError as error:
        typer.echo(f"forecaster: {error.message}.{' ' + error.hint if error.hint else ''}", err=True)
        raise typer.Exit(FAILED) from error
