"""Commands that keep the program itself well: copies of the database, and putting one back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from forecaster.terminal import DataFolder, choose, told_in_one_line

app = typer.Typer()


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The copy to write; there must be none of this name.")], data: DataFolder = None
) -> None:
    """Copy the whole database into one file and check the copy. The service may run meanwhile."""
    from forecaster.settings.environment import read_environment
    from forecaster.storage.backup import back_up
    from forecaster.storage.database import open_database

    with told_in_one_line():
        choose(None, data)
        engine = open_database(read_environment().database_url)
        try:
            counts = back_up(engine, file.expanduser().absolute())
        finally:
            engine.dispose()
        typer.echo(f"{file}: {sum(counts.values())} rows in {len(counts)} tables, checked.")


@app.command()
def restore(file: Annotated[Path, typer.Argument(help="A copy that `backup` wrote.")], data: DataFolder = None) -> None:
    """Put a copy in place of the database. The service must be stopped; the old database is kept beside the new one."""
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_clock
    from forecaster.storage.backup import restore as put_back
    from forecaster.worker import only_worker

    with told_in_one_line():
        choose(None, data)
        url = read_environment().database_url
        with only_worker(url):
            counts, old = put_back(file.expanduser().absolute(), url, set_aside=f".before-{make_clock(None)():%Y%m%dT%H%M%SZ}")
        typer.echo(f"{file}: {sum(counts.values())} rows in {len(counts)} tables are back.")
        if old is not None:
            typer.echo(f"What was there before is in {old}; delete it when you no longer need it.")
