"""Commands about mail: who gets which, taking an address off and putting it back, and a test of the mail server.

Each imports what it needs when it runs.
"""

from __future__ import annotations

from typing import Annotated

import typer

from forecaster.terminal import FAILED, ConfigFolder, DataFolder, choose, console, told_in_one_line

app = typer.Typer()
mail = typer.Typer(no_args_is_help=True, help="Who gets mail of which ground; take an address off, put it back.")
app.add_typer(mail, name="mail")

Address = Annotated[str, typer.Argument(metavar="ADDRESS", help="An email address of the configuration.")]
OneGround = Annotated[str | None, typer.Option("--ground", metavar="ID", help="Only this ground (default: all that have the address).")]


@mail.command("list")
def list_readers(config: ConfigFolder = None, data: DataFolder = None) -> None:
    """Show every address of the configuration: what it gets, its quiet hours, its last mail, and whether it is off and why."""
    from forecaster.commands.mail import show_readers
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    with told_in_one_line():
        choose(config, data)
        show_readers(make_context(read_environment()), console())


@mail.command("on")
def put_back(address: Address, ground: OneGround = None, config: ConfigFolder = None, data: DataFolder = None) -> None:
    """Send an address mail again that was taken off or refused."""
    _switch(address, ground, config, data, on=True)


@mail.command("off")
def take_off(address: Address, ground: OneGround = None, config: ConfigFolder = None, data: DataFolder = None) -> None:
    """Send an address no more mail, as its owner can by the link in every mail; what waits for it is not sent."""
    _switch(address, ground, config, data, on=False)


def _switch(address: str, ground: str | None, config: ConfigFolder, data: DataFolder, *, on: bool) -> None:
    from forecaster.commands.mail import switch
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    with told_in_one_line():
        choose(config, data)
        for line in switch(make_context(read_environment()), address, ground, on=on):
            typer.echo(line)


@app.command("send-test")
def send_test(
    address: Annotated[str | None, typer.Argument(metavar="[ADDRESS]", help="Where the test mail goes.")] = None,
    ground: Annotated[str | None, typer.Option("--ground", metavar="ID", help="To everyone who gets mail of this ground instead.")] = None,
    config: ConfigFolder = None,
) -> None:
    """Send a test mail now through the configured server, and say what happened at each step and what to do."""
    from forecaster.commands.send_test import recipients_of, send_test_mail
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.environment import read_environment

    if (address is None) == (ground is None):
        raise typer.BadParameter("either an ADDRESS, or --ground ID", param_hint="ADDRESS")
    with told_in_one_line():
        choose(config, None)
        environment = read_environment()
        addresses = [address] if address is not None else recipients_of(load_configuration(environment.config), ground or "")
        sent = [send_test_mail(environment, one, say=typer.echo) for one in addresses]
        if not all(sent):
            raise typer.Exit(FAILED)


@app.command("feed-address")
def feed_address(
    ground: Annotated[str, typer.Argument(metavar="GROUND", help="Id of a configured ground.")],
    revoke: Annotated[bool, typer.Option("--revoke", help="Let no address handed out so far open anything.")] = False,
    config: ConfigFolder = None,
    data: DataFolder = None,
) -> None:
    """Print the private addresses of a ground's calendar and alerts, for programs that can send no key. Who has one can read them."""
    from forecaster.commands.feeds import feed_addresses, revoke_addresses
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context

    with told_in_one_line():
        choose(config, data)
        environment = read_environment()
        context = make_context(environment)
        if revoke:
            typer.echo("Revoked: they open nothing any more." if revoke_addresses(context, ground) else "There were none.")
            return
        base = environment.public_url or f"http://{environment.host}:{environment.port}"
        for line in feed_addresses(context, ground, base.rstrip("/")):
            typer.echo(line)
