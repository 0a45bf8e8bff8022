"""How weather services stand, for all processes and over restarts. What a state means is in ``weather.service_state``."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import asdict, fields

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import ServiceRow
from forecaster.weather.service_state import ServiceState


def change_service(session: Session, service: str, change: Callable[[ServiceState], ServiceState]) -> tuple[ServiceState, ServiceState]:
    """Read a state, change it and keep it, as one step that no other process comes between; returns it before and after.

    Promise: holds in a transaction that writes; where nothing changes nothing is written. A service that is not known begins closed.
    """
    insert_or_ignore(session, ServiceRow, asdict(ServiceState(service)), key=("service",))
    row = session.scalars(select(ServiceRow).where(ServiceRow.service == service).with_for_update()).one()
    before = _read(row)
    after = change(before)
    if after != before:
        values = asdict(after)
        session.execute(update(ServiceRow).where(ServiceRow.service == service).values(values).execution_options(synchronize_session=False))
        session.expire(row)
    return before, after


def service_states(session: Session, services: Collection[str]) -> tuple[ServiceState, ...]:
    """The states of these services, in their order; those that were never asked are left out."""
    found = {row.service: _read(row) for row in session.scalars(select(ServiceRow).where(ServiceRow.service.in_(services)))}
    return tuple(found[name] for name in services if name in found)


def _read(row: ServiceRow) -> ServiceState:
    return ServiceState(**{field.name: getattr(row, field.name) for field in fields(ServiceState)})
