"""Access keys. A key is shown once, when it is made; what is kept cannot be turned back into it.

A key carries 256 random bits, so one round of SHA-256 is enough: slow hashes are for passwords that people choose. The name of the row is
part of the key, so that a row is found without comparing secrets, and the secret itself is compared in constant time.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, cast

from sqlalchemy import ColumnElement, CursorResult, and_, delete, or_, select, update
from sqlalchemy.orm import Session

from forecaster.errors import Conflict, NotFound
from forecaster.storage.models import AccessKeyRow as Row
from forecaster.storage.models import SignInSessionRow

PREFIX = "forecaster"
ID_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"  # nothing that reads like something else
ID_LETTERS = 8
SECRET_BYTES = 32
USE_NOTED_EVERY = timedelta(hours=1)
"""How far behind ``last_used_at`` may be: it is not worth a write per request. Status: assumption."""

_NO_HASH = bytes(32)


@dataclass(frozen=True)
class StoredKey:
    """A key as it is kept: everything but the key itself."""

    id: str
    name: str
    may_write: bool
    grounds: frozenset[str] | None
    """Ids of the grounds that it opens; None: all, also those that come later."""
    created_at: datetime
    expires_at: datetime | None
    last_used_at: datetime | None
    revoked_at: datetime | None

    def usable(self, now: datetime) -> bool:
        """Whether it opens anything now."""
        return self.revoked_at is None and (self.expires_at is None or self.expires_at > now)

    def use_worth_noting(self, now: datetime) -> bool:
        """Whether ``last_used_at`` is far enough behind, or a clock that was wrong has put it ahead."""
        return self.last_used_at is None or not timedelta(0) <= now - self.last_used_at < USE_NOTED_EVERY


def add_key(
    session: Session, name: str, *, may_write: bool, grounds: Collection[str] | None, now: datetime, expires_at: datetime | None = None
) -> tuple[StoredKey, str]:
    """Make a key. Returns it as kept, and the key itself, which nothing can show again.

    Raises: Conflict where a key of this name is in use.
    """
    if session.scalar(select(Row.id).where(Row.name == name, Row.revoked_at.is_(None))) is not None:
        raise Conflict(f"there is a key called {name!r} already", hint="Choose another name, or revoke that one first.")
    key_id = "".join(secrets.choice(ID_ALPHABET) for _ in range(ID_LETTERS))
    secret = secrets.token_urlsafe(SECRET_BYTES)
    row = Row(
        id=key_id,
        name=name,
        secret_hash=_hash(secret),
        may_write=may_write,
        grounds=None if grounds is None else sorted(set(grounds)),
        created_at=now,
        expires_at=expires_at,
    )
    session.add(row)
    session.flush()
    return key_of(row), f"{PREFIX}_{key_id}_{secret}"


def find_key(session: Session, text: str, now: datetime) -> StoredKey | None:
    """The usable key that this text is; None where it is none, was revoked or has expired."""
    prefix, _, rest = text.partition("_")
    key_id, _, secret = rest.partition("_")
    row = session.get(Row, key_id) if prefix == PREFIX and len(key_id) == ID_LETTERS else None
    # Compared also where there is no such row, so that the time taken does not tell which names exist.
    same = hmac.compare_digest(_NO_HASH if row is None else row.secret_hash, _hash(secret))
    if row is None or not same:
        return None
    key = key_of(row)
    return key if key.usable(now) else None


def list_keys(session: Session) -> tuple[StoredKey, ...]:
    """All keys, revoked ones too, oldest first."""
    return tuple(key_of(row) for row in session.scalars(select(Row).order_by(Row.created_at, Row.id)))


def has_usable_key(session: Session, now: datetime) -> bool:
    """Whether any key opens anything now."""
    return session.scalar(select(Row.id).where(_usable(now)).limit(1)) is not None


def revoke_key(session: Session, name: str, now: datetime) -> StoredKey:
    """Revoke the key of this name or id and end what was signed in with it. Raises: NotFound where there is none in use."""
    row = session.scalars(select(Row).where(or_(Row.name == name, Row.id == name), Row.revoked_at.is_(None))).first()
    if row is None:
        raise NotFound(f"there is no key called {name!r} in use", hint="The command keys list names them.")
    row.revoked_at = now
    session.execute(delete(SignInSessionRow).where(SignInSessionRow.key_id == row.id))
    session.flush()
    return key_of(row)


def note_key_use(session: Session, key_id: str, now: datetime) -> bool:
    """Note that a key was used. True where it was there."""
    statement = update(Row).where(Row.id == key_id).values(last_used_at=now).execution_options(synchronize_session=False)
    return cast("CursorResult[Any]", session.execute(statement)).rowcount == 1


def _usable(now: datetime) -> ColumnElement[bool]:
    return and_(Row.revoked_at.is_(None), or_(Row.expires_at.is_(None), Row.expires_at > now))


def _hash(secret: str) -> bytes:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).digest()


def key_of(row: Row) -> StoredKey:
    """A row as a value that outlives its session."""
    return StoredKey(
        id=row.id,
        name=row.name,
        may_write=row.may_write,
        grounds=None if row.grounds is None else frozenset(row.grounds),
        created_at=row.created_at,
        expires_at=row.expires_at,
        last_used_at=row.last_used_at,
        revoked_at=row.revoked_at,
    )
