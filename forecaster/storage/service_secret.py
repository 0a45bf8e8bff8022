"""Secrets that the processes of a service share: made once, kept in the database, told to nobody."""

from __future__ import annotations

import secrets
from datetime import datetime

from sqlalchemy import Engine, select

from forecaster.storage.database import reading, transaction
from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import ServiceSecretRow

SECRET_BYTES = 32


def service_secret(engine: Engine, name: str, now: datetime) -> bytes:
    """The secret of this name, the same for every process and after every start; made where there is none yet.

    Raises: StorageError.
    """
    wanted = select(ServiceSecretRow.value).where(ServiceSecretRow.name == name)
    with reading(engine) as session:
        found = session.scalar(wanted)
    if found is not None:
        return found
    with transaction(engine) as session:
        values = {"name": name, "value": secrets.token_bytes(SECRET_BYTES), "created_at": now}
        insert_or_ignore(session, ServiceSecretRow, values, key=("name",))  # another process may have been first
        return session.scalars(wanted).one()
