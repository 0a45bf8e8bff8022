"""Keys as the web process uses them, over the database."""

from __future__ import annotations

import ipaddress
import logging
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Engine

from forecaster.errors import ConfigurationError, Mistake, StorageError
from forecaster.settings.environment import LOOPBACK, PREFIX, Environment
from forecaster.settings.mistakes import shown
from forecaster.storage.database import reading, transaction
from forecaster.storage.keys import StoredKey, find_key, has_usable_key, note_key_use
from forecaster.storage.sign_ins import begin_session, end_session, key_of_session, note_failure, wait_before_sign_in

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


@dataclass(frozen=True)
class SignedIn:
    """A sign-in that succeeded; ``token`` is for the browser's cookie alone."""

    token: str = field(repr=False)


@dataclass(frozen=True)
class Wait:
    """Nobody at this address can sign in for so long."""

    seconds: int


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

    def sign_in(self, text: str, address: str) -> SignedIn | Wait | None:
        """Sign a browser in with a key; None where it is none. ``address``: from where, for counting failures. Raises: StorageError."""
        now, party = self._now(), _party(address)
        with transaction(self._engine) as session:
            wait = wait_before_sign_in(session, party, now)
            if wait is not None:
                return Wait(max(1, math.ceil(wait.total_seconds())))
            key = find_key(session, text, now)
            if key is None:
                note_failure(session, party, now)
                return None
            note_key_use(session, key.id, now)
            return SignedIn(begin_session(session, key.id, now))

    def sign_out(self, token: str) -> None:
        """End a browser's session. Raises: StorageError."""
        with transaction(self._engine) as session:
            end_session(session, token)

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


def _party(address: str) -> str:
    """Whose failures are counted together: an IPv4 address, or the network of 64 bits that one IPv6 subscriber has."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    return str(found.ipv4_mapped or ipaddress.ip_network((int(found) >> 64 << 64, 64)))
