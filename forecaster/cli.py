"""The command line: ``forecaster demo | init | check | run | serve``, and the commands about data of ``data_commands``.

Each command imports what it needs when it runs: the web process must stay light.
"""

from __future__ import annotations

import math
import os
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from forecaster import __version__, data_commands, key_commands, mail_commands, upkeep_commands
from forecaster.terminal import FAILED, ConfigFolder, DataFolder, PortNumber, choose, counted, set_variable, start_log, told_in_one_line

app = typer.Typer(
    name="forecaster",
    help="Weather-driven risk forecaster for dry patch and fairy rings on sports turf.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

app.add_typer(data_commands.app)
app.add_typer(upkeep_commands.app)
app.add_typer(key_commands.app, name="keys")
app.add_typer(mail_commands.app)

DEMO_PORT = 8470
STOPPED = 143  # as a shell reports a command that SIGTERM ended
GIVES_WAY = 10  # of niceness: cycles take what pages and API leave


def main() -> None:
    """Entry point of the command ``forecaster``."""
    app()


@app.command()
def demo(data: DataFolder = None, port: PortNumber = None) -> None:
    """Show everything on an invented ground with invented weather: run one cycle, then serve pages and API on loopback."""
    from forecaster.settings.shipped import shipped_folder

    with told_in_one_line():
        folder = data if data is not None else Path(tempfile.mkdtemp(prefix="forecaster-demo-"))
        set_variable("CONFIG", shipped_folder("config"))
        set_variable("DATA", folder)
        # The demonstration writes to its own folder and reaches nobody, whatever this shell is set up for.
        for name in (
            "DATABASE_URL",
            "SMTP_HOST",
            "SMTP_PORT",
            "SMTP_USER",
            "SMTP_PASSWORD",
            "SMTP_PASSWORD_FILE",
            "MAIL_FOLDER",
            "TRUSTED_PROXIES",
        ):
            os.environ.pop(f"FORECASTER_{name}", None)
        set_variable("HOST", "127.0.0.1")
        set_variable("PORT", port if port is not None else DEMO_PORT)
        # Its mails are read on this machine, so links to it work.
        set_variable("PUBLIC_URL", f"http://127.0.0.1:{port if port is not None else DEMO_PORT}")
        _serve(opening="Sample weather: an invented ground with invented weather.")


@app.command()
def init(folder: Annotated[Path, typer.Argument(help="A new or empty folder.")]) -> None:
    """Write a configuration to start from: soils, turf, rules and the invented ground to copy."""
    from forecaster.settings.shipped import copy_shipped_config

    with told_in_one_line():
        written = copy_shipped_config(folder)
        typer.echo(f"Wrote {len(written)} files to {folder}.")
        typer.echo(f"Next: copy {folder}/grounds/brackenholt.toml for your own ground, change it, delete the invented one, and run")
        typer.echo(f"  forecaster check --config {folder}")


@app.command()
def check(config: ConfigFolder = None) -> None:
    """Check a configuration and list every mistake in it: file, key, value, and what is allowed."""
    from forecaster.pipeline.context import fixed_now
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.environment import read_environment

    with told_in_one_line():
        choose(config, None)
        folder = read_environment().config
        configuration = load_configuration(folder)
        fixed_now(configuration)
        surfaces = sum(len(ground.surfaces) for ground in configuration.grounds)
        names = ", ".join(ground.name for ground in configuration.grounds)
        typer.echo(f"{folder}: no mistakes. {names}: {surfaces} surfaces, {len(configuration.rules)} rules.")


@app.command()
def run(config: ConfigFolder = None, data: DataFolder = None) -> None:
    """Pull weather and run one cycle for every configured ground, then send the messages that are due."""
    from forecaster.pipeline.claims import run_cycles, who_has_it
    from forecaster.pipeline.outgoing import send_due
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context
    from forecaster.stopping import Stop, Stopped

    start_log()
    with told_in_one_line(), Stop() as stop:
        choose(config, data)
        context = make_context(read_environment(), stop=stop)
        try:
            with counted("Grounds", total=len(context.configuration.grounds)) as count:
                records = run_cycles(context, count=count)
            # Nothing waits for this command, so it takes the time that the messages take.
            ends = send_due(context, stopping=stop.asked, patience_s=math.inf)
        except Stopped as stopped:
            typer.echo("Stopped. What was under way is given back, and is due again.", err=True)
            raise typer.Exit(STOPPED) from stopped
        finally:
            context.engine.dispose()
        run_here = {record.ground_id for record in records}
        for ground in context.configuration.grounds:
            if ground.id not in run_here:
                typer.echo(f"{ground.id}: left alone, {who_has_it(ground.id, context)}.")
        for record in records:
            weather = f" {record.weather.text}" if record.weather else ""
            problem = f" Problem: {record.error_message}." if record.status == "failed" else ""
            typer.echo(f"{record.ground_id}: {record.status}.{problem}{weather}")
        typer.echo("Messages: " + (", ".join(f"{count} {end}" for end, count in sorted(ends.items())) or "none due") + ".")
    if any(record.status == "failed" for record in records):
        raise typer.Exit(FAILED)


@app.command()
def serve(config: ConfigFolder = None, data: DataFolder = None, port: PortNumber = None) -> None:
    """Start the service: the web process (pages and API) and the cycle process. Stops with Ctrl-C."""
    with told_in_one_line():
        choose(config, data)
        if port is not None:
            set_variable("PORT", port)
        _serve(opening="")


@app.command()
def version() -> None:
    """Print the version."""
    typer.echo(f"forecaster {__version__}")


@app.command(hidden=True)
def clock(config: ConfigFolder = None) -> None:
    """Check what ``serve`` will run on, and print the moment at which its invented weather stands still, if it does.

    That is the configuration as ``check`` does, and that there is a key where one is needed.
    """
    from forecaster.pipeline.context import fixed_now
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_clock
    from forecaster.storage.database import migrate, open_database
    from forecaster.web.keys import refuse_without_keys

    with told_in_one_line():
        choose(config, None)
        environment = read_environment()
        still = fixed_now(load_configuration(environment.config))
        if environment.keys_needed:
            engine = open_database(environment.database_url)
            migrate(engine)
            refuse_without_keys(environment, engine, make_clock(None)())
        typer.echo("" if still is None else still.isoformat())


@app.command(hidden=True)
def worker() -> None:
    """The resident worker of ``serve``: has done what is due."""
    from datetime import UTC, datetime

    from forecaster.settings.environment import read_environment
    from forecaster.storage.database import migrate, open_database
    from forecaster.worker import Worker, only_worker, work_command

    start_log()
    with told_in_one_line():
        environment = read_environment()
        with only_worker(environment.database_url):
            engine = open_database(environment.database_url)
            migrate(engine)
            still = environment.fixed_now
            code = Worker(engine, lambda: still or datetime.now(UTC), work_command(), watched=environment.config).keep_working()
            engine.dispose()
    if code:
        raise typer.Exit(code)


@app.command(hidden=True)
def work() -> None:
    """Do what is due, and end: the process that the worker starts. Ends when its standard input does. Pages and API go before it."""
    from forecaster.pipeline.cycle import register_grounds
    from forecaster.pipeline.upkeep import tell_of_configuration
    from forecaster.scheduler import run_due
    from forecaster.settings.environment import read_environment
    from forecaster.settings.last_valid import usable_configuration
    from forecaster.startup import make_context
    from forecaster.stopping import Stop, Stopped, stop_with_parent

    start_log()
    with told_in_one_line(), Stop() as stop:
        stop_with_parent()
        os.nice(GIVES_WAY)
        environment = read_environment()
        configuration, mistakes = usable_configuration(environment.config, environment.data)
        context = make_context(environment, stop=stop, configuration=configuration)
        try:
            tell_of_configuration(context, mistakes)
            register_grounds(context)
            run_due(context, stopping=stop.asked)
        except Stopped:
            pass  # in order: what was under way is given back
        finally:
            context.engine.dispose()


@app.command(hidden=True)
def web() -> None:
    """The web process of ``serve``."""
    import uvicorn

    from forecaster.settings.environment import read_environment
    from forecaster.web.app import from_environment

    start_log()
    with told_in_one_line():
        environment = read_environment()
        uvicorn.run(
            from_environment(),
            host=environment.host,
            port=environment.port,
            log_config=None,  # its lines go where ours do
            log_level="warning",
            # Said both ways, or the server would take the word of whoever its own environment variable names.
            proxy_headers=bool(environment.trusted_proxies),
            forwarded_allow_ips=list(environment.trusted_proxies),
            server_header=False,
            timeout_graceful_shutdown=5,  # a reader who does not finish holds nobody up
        )


def _serve(*, opening: str) -> None:
    """Check what both processes will read, then start them and stand by."""
    from forecaster.processes import checked_clock, serve_both
    from forecaster.settings.environment import read_environment

    environment = read_environment()
    still = checked_clock()
    if still is None:
        raise typer.Exit(FAILED)
    if still:
        set_variable("FIXED_NOW", still)
    code = serve_both(environment, say=typer.echo, opening=opening)
    if code:
        raise typer.Exit(code)
