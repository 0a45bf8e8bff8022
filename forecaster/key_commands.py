"""The commands ``keys add``, ``keys list`` and ``keys revoke``."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

import typer

from forecaster.terminal import ConfigFolder, DataFolder, choose, console, told_in_one_line

app = typer.Typer(help="Keys that open pages and API from elsewhere.", no_args_is_help=True)

LONGEST_DAYS = 3660


@app.command()
def add(
    name: Annotated[str, typer.Argument(help="Who or what the key is for, as lists and pages will name it.")],
    read_write: Annotated[
        bool, typer.Option("--read-write/--read-only", help="Whether it may also change things: acknowledge, book, record.")
    ] = False,
    ground: Annotated[list[str] | None, typer.Option("--ground", metavar="ID", help="Only this ground; may be repeated.")] = None,
    days: Annotated[int | None, typer.Option("--days", min=1, max=LONGEST_DAYS, help="Days until it opens nothing any more.")] = None,
    config: ConfigFolder = None,
    data: DataFolder = None,
) -> None:
    """Make a key and show it, this once: it is kept in a form that cannot be turned back into it."""
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_clock
    from forecaster.storage.database import migrate, open_database, transaction
    from forecaster.storage.keys import add_key

    with told_in_one_line():
        choose(config, data)
        environment = read_environment()
        _check(name, ground or [])
        now = make_clock(None)()
        engine = open_database(environment.database_url)
        migrate(engine)
        with transaction(engine) as session:
            key, text = add_key(
                session,
                name.strip(),
                may_write=read_write,
                grounds=ground or None,
                now=now,
                expires_at=None if days is None else now + timedelta(days=days),
            )
        typer.echo(f"{key.name}: {'reads and writes' if key.may_write else 'reads'}, {_grounds_words(key.grounds)}.", err=True)
        typer.echo("Keep this key now; it is not shown again:", err=True)
        typer.echo(text)


@app.command("list")
def show(data: DataFolder = None) -> None:
    """List all keys: what they open, until when, when they were last used (to the hour). The keys themselves cannot be shown."""
    from rich.table import Table

    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_clock
    from forecaster.storage.database import migrate, open_database, reading
    from forecaster.storage.keys import list_keys

    with told_in_one_line():
        choose(None, data)
        engine = open_database(read_environment().database_url)
        migrate(engine)
        now = make_clock(None)()
        with reading(engine) as session:
            keys = list_keys(session)
        if not keys:
            typer.echo("There are no keys. Make one with: forecaster keys add NAME")
            return
        table = Table()
        for title in ("Name", "Id", "May", "Opens", "Made", "Until", "Last used", "State"):
            table.add_column(title)
        for key in keys:
            state = "revoked" if key.revoked_at else "in use" if key.usable(now) else "expired"
            dates = [f"{moment:%Y-%m-%d %H:%M}" if moment else "–" for moment in (key.created_at, key.expires_at, key.last_used_at)]
            table.add_row(key.name, key.id, "read, write" if key.may_write else "read", _grounds_words(key.grounds), *dates, state)
        console().print(table)
        typer.echo("Times are UTC.")


@app.command()
def revoke(name: Annotated[str, typer.Argument(help="Name or id of a key.")], data: DataFolder = None) -> None:
    """Revoke a key: from now on it opens nothing, and browsers that signed in with it are signed out."""
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_clock
    from forecaster.storage.database import migrate, open_database, transaction
    from forecaster.storage.keys import revoke_key

    with told_in_one_line():
        choose(None, data)
        engine = open_database(read_environment().database_url)
        migrate(engine)
        with transaction(engine) as session:
            key = revoke_key(session, name, make_clock(None)())
        typer.echo(f"{key.name} is revoked.")


def _check(name: str, grounds: list[str]) -> None:
    """Refuse a name that no list can show and grounds that are not configured. Raises: ConfigurationError with all mistakes."""
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.environment import read_environment
    from forecaster.settings.mistakes import MistakeList, nearest

    mistakes = MistakeList()
    if not (1 <= len(name.strip()) <= 60 and name.isprintable()):
        mistakes.add("keys add", "NAME", name, "1 to 60 letters that can be printed")
    if grounds:
        known = {ground.id for ground in load_configuration(read_environment().config).grounds}
        for ground in grounds:
            if ground not in known:
                mistakes.add("keys add", "--ground", ground, f"a configured ground; {nearest(ground, known)}")
    mistakes.raise_if_any()


def _grounds_words(grounds: frozenset[str] | None) -> str:
    return "all grounds" if grounds is None else ", ".join(sorted(grounds))
