"""The command line: ``forecaster demo | init | check | run | serve | validate | et0 | spin-up | onsite``.

Each command imports what it needs when it runs: the web process must stay light.
"""

from __future__ import annotations

import logging
import math
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from forecaster import __version__
from forecaster.errors import ConfigurationError, ForecasterError

if TYPE_CHECKING:
    from rich.console import Console

app = typer.Typer(
    name="forecaster",
    help="Weather-driven risk forecaster for dry patch and fairy rings on sports turf.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

FAILED = 1
DEMO_PORT = 8470
TABLE_WIDTH = 140

ConfigFolder = Annotated[
    Path | None, typer.Option("--config", help="Configuration folder (default: FORECASTER_CONFIG, or the shipped one).")
]
DataFolder = Annotated[Path | None, typer.Option("--data", help="Folder for database and mails (default: FORECASTER_DATA, or ./var).")]
PortNumber = Annotated[int | None, typer.Option("--port", min=1, max=65535, help="Port of the pages and the API.")]


def main() -> None:
    """Entry point of the command ``forecaster``."""
    app()


@app.command()
def demo(data: DataFolder = None, port: PortNumber = None) -> None:
    """Show everything on an invented ground with invented weather: run one cycle, then serve pages and API on loopback."""
    from forecaster.settings.shipped import shipped_folder

    with _told_in_one_line():
        folder = data if data is not None else Path(tempfile.mkdtemp(prefix="forecaster-demo-"))
        _set("CONFIG", shipped_folder("config"))
        _set("DATA", folder)
        # The demonstration writes to its own folder and reaches nobody, whatever this shell is set up for.
        for name in ("DATABASE_URL", "SMTP_HOST", "SMTP_PORT", "SMTP_USER", "SMTP_PASSWORD", "SMTP_PASSWORD_FILE", "MAIL_FOLDER"):
            os.environ.pop(f"FORECASTER_{name}", None)
        _set("HOST", "127.0.0.1")
        _set("PORT", port if port is not None else DEMO_PORT)
        # Its mails are read on this machine, so links to it work.
        _set("PUBLIC_URL", f"http://127.0.0.1:{port if port is not None else DEMO_PORT}")
        _serve(opening="Sample weather: an invented ground with invented weather.")


@app.command()
def init(folder: Annotated[Path, typer.Argument(help="A new or empty folder.")]) -> None:
    """Write a configuration to start from: soils, turf, rules and the invented ground to copy."""
    from forecaster.settings.shipped import copy_shipped_config

    with _told_in_one_line():
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

    with _told_in_one_line():
        _choose(config, None)
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

    _log_to_stderr()
    with _told_in_one_line():
        _choose(config, data)
        context = make_context(read_environment())
        records = run_cycles(context)
        # Nothing waits for this command, so it takes the time that the messages take.
        ends = send_due(context, patience_s=math.inf)
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
    with _told_in_one_line():
        _choose(config, data)
        if port is not None:
            _set("PORT", port)
        _serve(opening="")


@app.command()
def validate(
    files: Annotated[list[Path], typer.Argument(metavar="FILE.csv...", help="Daily station files with measured soil.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print all scores as JSON instead of a table.")] = False,
    mapping: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="NAME=COLUMN", help="A column that is not named as in the climate reference network."),
    ] = None,
    soil: Annotated[
        str | None, typer.Option("--soil", metavar="CLASS", help="Soil class of config/ (default: each series' odd months say it).")
    ] = None,
    latitude: Annotated[float | None, typer.Option("--latitude", min=-90, max=90, help="Degrees north, for files that do not say.")] = None,
    elevation: Annotated[
        float | None, typer.Option("--elevation", min=-430, max=9000, help="Metres above the sea, for files that do not say.")
    ] = None,
    config: ConfigFolder = None,
) -> None:
    """Score the model on stations with measured soil moisture and temperature, beside two simple rivals."""
    import json

    from forecaster.commands.validate import read_mapping, read_materials, read_stations, score_station
    from forecaster.commands.validation_report import as_document, print_table
    from forecaster.settings.environment import read_environment

    with _told_in_one_line():
        columns = read_mapping(mapping or [])
        _choose(config, None)
        materials = read_materials(read_environment().config, soil)
        stations = read_stations(files, columns=columns, latitude=latitude, elevation_m=elevation)
        results = [score_station(series, materials) for series in stations]
        if as_json:
            typer.echo(json.dumps(as_document(results), indent=2, allow_nan=False))
        else:
            print_table(results, _console())


@app.command()
def et0(
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", help="Days, or hours with --hourly, under our column names.")],
    latitude: Annotated[float, typer.Option("--latitude", help="Degrees north.")],
    longitude: Annotated[float, typer.Option("--longitude", help="Degrees east; west is negative.")],
    elevation: Annotated[float, typer.Option("--elevation", help="Metres above the sea.")],
    wind_height: Annotated[
        float | None, typer.Option("--wind-height", help="Height of the wind gauge in metres, if the file has wind.")
    ] = None,
    hourly: Annotated[bool, typer.Option("--hourly", help="The file holds hours, not days.")] = False,
    variant: Annotated[str, typer.Option("--variant", help="fao56, or asce-short.")] = "fao56",
    zone: Annotated[str | None, typer.Option("--zone", help="Clock of time_local: Europe/London, or -08:00.")] = None,
    mapping: Annotated[
        list[str] | None, typer.Option("--map", metavar="NAME=COLUMN", help="A column that is not named as ours; may be repeated.")
    ] = None,
    setting: Annotated[
        Literal["inland", "coast", "island"], typer.Option("--setting", help="For radiation from the temperature range.")
    ] = "inland",
    arid: Annotated[bool, typer.Option("--arid", help="A dry place: for humidity and cloud that are not in the file.")] = False,
    hargreaves: Annotated[
        bool, typer.Option("--hargreaves", help="Days with nothing but temperatures: Hargreaves, not Penman-Monteith.")
    ] = False,
    replace_impossible: Annotated[
        bool, typer.Option("--replace-impossible", help="Take numbers out of range for missing; they are refused otherwise.")
    ] = False,
    out: Annotated[Literal["table", "csv"] | None, typer.Option("--out", help="Default: a table on a terminal, CSV elsewhere.")] = None,
) -> None:
    """Work out reference evapotranspiration from a station's file, and say what had to be estimated for it."""
    with _told_in_one_line():
        from forecaster.commands.et0 import Request, run

        run(
            Request(
                file=file,
                latitude=latitude,
                longitude=longitude,
                elevation_m=elevation,
                wind_height_m=wind_height,
                hourly=hourly,
                variant=variant,
                zone=zone,
                columns=mapping or [],
                setting=setting,
                arid=arid,
                hargreaves=hargreaves,
                replace_impossible=replace_impossible,
                out=out,
            )
        )


@app.command("spin-up")
def spin_up(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="[FILE.csv...]", help="Station files as for validate (default: invented weather).")
    ] = None,
    turf: Annotated[str, typer.Option("--turf", metavar="ID", help="Turf of config/.")] = "cool-season",
    as_json: Annotated[bool, typer.Option("--json", help="Print every start as JSON instead of tables.")] = False,
    mapping: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="NAME=COLUMN", help="A column that is not named as in the climate reference network."),
    ] = None,
    latitude: Annotated[float | None, typer.Option("--latitude", min=-90, max=90, help="Degrees north, for files that do not say.")] = None,
    elevation: Annotated[
        float | None, typer.Option("--elevation", min=-430, max=9000, help="Metres above the sea, for files that do not say.")
    ] = None,
    config: ConfigFolder = None,
) -> None:
    """Print how many days of weather each soil takes to forget the state that a simulation was started from."""
    import json

    from forecaster.commands.spin_up import as_document, invented, memory_of, print_tables, read_surfaces
    from forecaster.commands.validate import read_mapping, read_stations
    from forecaster.settings.environment import read_environment

    with _told_in_one_line():
        columns = read_mapping(mapping or [])
        _choose(config, None)
        surfaces, model = read_surfaces(read_environment().config, turf)
        stations = read_stations(files, columns=columns, latitude=latitude, elevation_m=elevation) if files else invented()
        memories = [memory_of(series, surfaces, model) for series in stations]
        if as_json:
            typer.echo(json.dumps(as_document(memories, surfaces), indent=2, allow_nan=False))
        else:
            print_tables(memories, surfaces, turf, _console())


@app.command()
def onsite(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file of the ground's own instruments.")],
    ground: Annotated[str, typer.Option("--ground", metavar="ID", help="A ground of config/.")],
    entry: Annotated[str, typer.Option("--entry", metavar="ID", help="The [[onsite]] of the ground that says how to read the file.")],
    config: ConfigFolder = None,
) -> None:
    """Show what is understood of a gauge, station, probe or irrigation file, and what is rejected and why. Stores nothing."""
    from datetime import UTC, datetime

    from forecaster.commands.onsite import chosen, dry_run
    from forecaster.pipeline.context import fixed_now
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.environment import read_environment

    with _told_in_one_line():
        _choose(config, None)
        configuration = load_configuration(read_environment().config)
        source = chosen(configuration, ground, entry)
        now = fixed_now(configuration) or datetime.now(UTC)
        understood = dry_run(file, source, now=now, console=_console())
    if not understood:
        raise typer.Exit(FAILED)


@app.command()
def version() -> None:
    """Print the version."""
    typer.echo(f"forecaster {__version__}")


@app.command(hidden=True)
def clock(config: ConfigFolder = None) -> None:
    """Check the configuration as ``check`` does, and print the moment at which its invented weather stands still, if it does."""
    from forecaster.pipeline.context import fixed_now
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.environment import read_environment

    with _told_in_one_line():
        _choose(config, None)
        still = fixed_now(load_configuration(read_environment().config))
        typer.echo("" if still is None else still.isoformat())


@app.command(hidden=True)
def worker() -> None:
    """The cycle process of ``serve``."""
    from forecaster.scheduler import keep_running
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    _log_to_stderr()
    with _told_in_one_line():
        keep_running(make_context(read_environment()))


@app.command(hidden=True)
def web() -> None:
    """The web process of ``serve``."""
    import uvicorn

    from forecaster.settings.environment import read_environment
    from forecaster.web.app import from_environment

    with _told_in_one_line():
        environment = read_environment()
        uvicorn.run(
            from_environment(), host=environment.host, port=environment.port, log_level="warning", proxy_headers=False, server_header=False
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
        _set("FIXED_NOW", still)
    code = serve_both(environment, say=typer.echo, opening=opening)
    if code:
        raise typer.Exit(code)


def _choose(config: Path | None, data: Path | None) -> None:
    if config is not None:
        _set("CONFIG", config)
    if data is not None:
        _set("DATA", data)


def _set(name: str, value: object) -> None:
    """Hand a choice of the command line on to this process's settings reader and to child processes."""
    os.environ[f"FORECASTER_{name}"] = str(value)


def _log_to_stderr() -> None:
    logging.basicConfig(stream=sys.stderr, level=logging.WARNING, format="%(asctime)s %(levelname)s %(name)s: %(message)s")


def _console() -> Console:
    """The terminal, or, into a file or a pipe, lines wide enough that no table cuts its words off."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else TABLE_WIDTH)


@contextmanager
def _told_in_one_line() -> Iterator[None]:
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
