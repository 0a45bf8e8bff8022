"""Commands about data: what is known of a ground's weather, own instruments, station files, measured soil, start-up.

Each imports what it needs when it runs.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

import typer

from forecaster.terminal import FAILED, ConfigFolder, DataFolder, choose, console, told_in_one_line

app = typer.Typer()


@app.command()
def weather(
    ground: Annotated[str, typer.Argument(help="Id of a configured ground.")], config: ConfigFolder = None, data: DataFolder = None
) -> None:
    """Show what is known of a ground's weather: from where, how old, what is missing, what was taken out and why. Asks no service."""

    from forecaster.commands.weather import known_weather, show_weather
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    with told_in_one_line():
        choose(config, data)
        context = make_context(read_environment())
        found, gathered = known_weather(ground, context)
        show_weather(found, gathered, now=context.clock(), console=console())


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

    with told_in_one_line():
        columns = read_mapping(mapping or [])
        choose(config, None)
        materials = read_materials(read_environment().config, soil)
        stations = read_stations(files, columns=columns, latitude=latitude, elevation_m=elevation)
        results = [score_station(series, materials) for series in stations]
        if as_json:
            typer.echo(json.dumps(as_document(results), indent=2, allow_nan=False))
        else:
            print_table(results, console())


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
    with told_in_one_line():
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

    with told_in_one_line():
        columns = read_mapping(mapping or [])
        choose(config, None)
        surfaces, model = read_surfaces(read_environment().config, turf)
        stations = (
            read_stations(files, columns=columns, latitude=latitude, elevation_m=elevation, soil_needed=False) if files else invented()
        )
        memories = [memory_of(series, surfaces, model) for series in stations]
        if as_json:
            typer.echo(json.dumps(as_document(memories, surfaces), indent=2, allow_nan=False))
        else:
            print_tables(memories, surfaces, turf, console())


@app.command()
def explain(
    ground: Annotated[str, typer.Argument(help="Id of a configured ground.")],
    surface: Annotated[str, typer.Argument(help="Id of one of its surfaces.")],
    day: Annotated[
        datetime | None, typer.Argument(metavar="[DAY]", formats=["%Y-%m-%d"], help="A day of the newest outlook (default: its today).")
    ] = None,
    config: ConfigFolder = None,
    data: DataFolder = None,
) -> None:
    """Show which rules looked at which numbers on a day, and why each did or did not speak."""
    from forecaster.commands.explain import explained_day, print_day, stored_explanation
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    with told_in_one_line():
        choose(config, data)
        context = make_context(read_environment())
        found = stored_explanation(context.configuration.ground(ground), surface, context)
        print_day(found, explained_day(found, found.today if day is None else day.date()), console())


@app.command()
def rebuild(
    ground: Annotated[str, typer.Argument(help="Id of a configured ground.")],
    day: Annotated[
        datetime | None, typer.Argument(metavar="[DAY]", formats=["%Y-%m-%d"], help="The outlooks of this day (default: the newest).")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Of every day that is kept.")] = False,
    config: ConfigFolder = None,
    data: DataFolder = None,
) -> None:
    """Make past outlooks once more from what they rested on, and say whether they are the same. Writes nothing; 1 where they are not."""
    from forecaster.commands.rebuild import kept_days, print_rebuilt, try_rebuild
    from forecaster.commands.rebuild import rebuild as rebuild_day
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    with told_in_one_line():
        choose(config, data)
        context = make_context(read_environment())
        place = context.configuration.ground(ground)
        if every:
            same = [try_rebuild(place, one, context, console()) for one in kept_days(place, context)]
        else:
            rebuilt = rebuild_day(place, kept_days(place, context)[-1] if day is None else day.date(), context)
            print_rebuilt(rebuilt, console())
            same = [rebuilt.identical]
    if not all(same):
        raise typer.Exit(1)


@app.command()
def rehearse(
    ground: Annotated[str, typer.Argument(help="Id of a configured ground.")],
    files: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[FILE.csv...]", help="Station files as for validate (default: the ground's stored weather)."),
    ] = None,
    rules: Annotated[Path | None, typer.Option("--rules", metavar="FILE", help="Rule file (default: that of the configuration).")] = None,
    against: Annotated[Path | None, typer.Option("--against", metavar="FILE", help="Another rule file to compare with.")] = None,
    surface: Annotated[str | None, typer.Option("--surface", metavar="ID", help="One surface only.")] = None,
    start: Annotated[
        datetime | None, typer.Option("--from", formats=["%Y-%m-%d"], help="First day that counts (default: half a year in).")
    ] = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FOLDER", help="Write a chart per surface, as SVG, into this folder.")
    ] = None,
    spells: Annotated[bool, typer.Option("--spells", help="List every spell as well.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print everything as JSON instead of tables.")] = False,
    mapping: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="NAME=COLUMN", help="A column that is not named as in the climate reference network."),
    ] = None,
    config: ConfigFolder = None,
    data: DataFolder = None,
) -> None:
    """Show on which days of past seasons each rule would have spoken, and how another rule file differs. Stores nothing."""
    import json

    from forecaster.commands.rehearse import Request, as_document, print_rehearsal, run, write_charts
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    with told_in_one_line():
        choose(config, data)
        environment = read_environment()
        request = Request(ground, tuple(files or ()), rules, against, surface, None if start is None else start.date(), mapping or [])
        found = run(request, make_context(environment), folder=environment.config)
        if as_json:
            typer.echo(json.dumps(as_document(found), indent=2, allow_nan=False))
        else:
            for rehearsal in found:
                print_rehearsal(rehearsal, console(), spells=spells)
        if chart is not None:
            for written in write_charts(found, chart):
                typer.echo(f"Wrote {written}.", err=True)


@app.command()
def onsite(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file of the ground's own instruments.")],
    ground: Annotated[str, typer.Option("--ground", metavar="ID", help="A ground of config/.")],
    entry: Annotated[str, typer.Option("--entry", metavar="ID", help="The [[onsite]] of the ground that says how to read the file.")],
    config: ConfigFolder = None,
) -> None:
    """Show what is understood of a gauge, station, probe or irrigation file, and what is rejected and why. Stores nothing."""

    from forecaster.commands.onsite import chosen, dry_run
    from forecaster.pipeline.context import fixed_now
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_clock

    with told_in_one_line():
        choose(config, None)
        configuration = load_configuration(read_environment().config)
        source = chosen(configuration, ground, entry)
        now = make_clock(fixed_now(configuration))()
        understood = dry_run(file, source, now=now, console=console())
    if not understood:
        raise typer.Exit(FAILED)
