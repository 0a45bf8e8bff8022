"""Keys as the web process uses them, over the database."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime

from sqlalchemy import Engine

from forecaster.errors import ConfigurationError, Mistake, StorageError
from forecaster.settings.environment import LOOPBACK, PREFIX, Environment
from forecaster.settings.mistakes import shown
from forecaster.storage.database import reading, transaction
from forecaster.storage.keys import StoredKey, find_key, has_usable_key, note_key_use
from forecaster.storage.sign_ins import key_of_session

log = logging.getLogger(__name__)


def refuse_without_keys(environment: Environment, engine: Engine, now: datetime) -> None:
    """Refuse to serve where others can reach the service and no key opens it. Raises: ConfigurationError, StorageError."""
    if not environment.keys_needed:
        return
    with reading(engine) as session:
        if has_usable_key(session, now):
            return
    if environment.host not in LOOPBACK:
        name, value = "HOST", environment.host
    elif environment.public_url is not None:
        name, value = "PUBLIC_URL", environment.public_url
    else:
        name, value = "TRUSTED_PROXIES", ", ".join(environment.trusted_proxies)
    allowed = "needs at least one key, because others can reach it; without one, the service is for this machine alone"
    mistake = Mistake("environment", f"{PREFIX}{name}", shown(value), allowed)
    raise ConfigurationError([mistake], hint="Make a key with: forecaster keys add NAME --read-write")


class StoredKeys:
    """Looks keys up anew for every request: one that is revoked opens nothing from that moment on. ``now`` is UTC, never still."""

    def __init__(self, engine: Engine, now: Callable[[], datetime]) -> None:
        self._engine, self._now = engine, now

    def by_text(self, text: str) -> StoredKey | None:
        """The usable key that this text is, or None. Raises: StorageError."""
        with reading(self._engine) as session:
            return find_key(session, text, self._now())

    def by_session(self, token: str) -> StoredKey | None:
        """The usable key that a browser signed in with, or None. Raises: StorageError."""
        with reading(self._engine) as session:
            return key_of_session(session, token, self._now())

    def note_use(self, key: StoredKey) -> None:
        """Note that a key was used, where that is worth a write. Nobody's request fails over it."""
        now = self._now()
        if not key.use_worth_noting(now):
            return
        try:
            with transaction(self._engine) as session:
                note_key_use(session, key.id, now)
        except StorageError as error:
            log.warning("could not note that the key %s was used: %s", key.id, error.message)
