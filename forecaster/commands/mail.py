"""``forecaster mail``: the people of each ground, what they get, and whether their address is off."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from forecaster.errors import NotFound
from forecaster.ground.ground import Ground, Recipient
from forecaster.pipeline.context import Context
from forecaster.pipeline.cycle import register_grounds
from forecaster.storage.database import reading, transaction
from forecaster.storage.mail_stops import MailStop, mail_stops, resume_mail, stop_mail
from forecaster.storage.mailed import last_mail


def show_readers(context: Context, console: Console) -> None:
    """Print one table per ground."""
    for ground in context.configuration.grounds:
        table = Table(title=ground.name, title_justify="left")
        for head in ("address", "gets mail", "quiet", "last mail", "state"):
            table.add_column(head)
        with reading(context.engine) as session:
            stops = {stop.recipient: stop for stop in mail_stops(session, ground.id)}
            for one in ground.recipients:
                last, _ = last_mail(session, ground.id, one.email)
                off = _state(stops.pop(one.email.lower(), None), ground)
                table.add_row(one.email, _wish(one), _quiet(one), "none yet" if last is None else f"{last:%-d %B %Y}", off)
        for stop in stops.values():
            table.add_row(stop.recipient, "not in the configuration", "", "", _state(stop, ground))
        console.print(table)


def switch(context: Context, address: str, ground_id: str | None, *, on: bool) -> list[str]:
    """Take an address off, or put it back; returns a sentence per ground. Raises: NotFound where no ground has it."""
    grounds = [ground for ground in context.configuration.grounds if ground_id in (None, ground.id)]
    having = [ground for ground in grounds if address.lower() in {one.email.lower() for one in ground.recipients}]
    if not having:
        where = "no ground" if ground_id is None else f"the ground {ground_id!r}"
        raise NotFound(f"{where} has a recipient {address!r}", hint="forecaster mail list shows all of them.")
    register_grounds(context)
    said = []
    with transaction(context.engine) as session:
        for ground in having:
            if on:
                changed = resume_mail(session, ground.id, address)
                said.append(f"{ground.name}: {address} {'gets mail again' if changed else 'was not off'}.")
            else:
                changed = stop_mail(session, ground.id, address, "unsubscribed", now=context.clock())
                said.append(f"{ground.name}: {address} {'gets no more mail' if changed else 'was off already'}.")
    return said


def _wish(one: Recipient) -> str:
    at = f"{one.daily_at:%H:%M}"
    return {"daily": f"every day at {at}", "on change": f"on changes, at {at}", "severe only": "only what is severe"}[one.mail]


def _quiet(one: Recipient) -> str:
    return "" if one.quiet_from is None else f"{one.quiet_from:%H:%M} to {one.quiet_until:%H:%M}"


def _state(stop: MailStop | None, ground: Ground) -> str:
    if stop is None:
        return "on"
    since = f"{stop.stopped_at.astimezone(ground.time_zone):%-d %B %Y}"
    return f"off since {since}: taken off" if stop.reason == "unsubscribed" else f"off since {since}: {stop.detail}"
