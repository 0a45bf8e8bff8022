"""Browsers that signed in with a key, and sign-ins that failed. The clock is an argument."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from forecaster.storage.keys import StoredKey, key_of
from forecaster.storage.models import AccessKeyRow, SignInFailureRow, SignInSessionRow

LASTS = timedelta(days=30)
"""How long a browser stays signed in. Status: assumption."""
FAILURES_COUNT_FOR = timedelta(minutes=15)
FAILURES_PER_ADDRESS = 10
FAILURES_OVERALL = 100
"""So many failed sign-ins within the time above close the door, for one address or for all. Status: assumption."""


def begin_session(session: Session, key_id: str, now: datetime) -> str:
    """Sign a browser in. Returns the token for its cookie; sessions that are over are swept out on the way."""
    session.execute(delete(SignInSessionRow).where(SignInSessionRow.expires_at <= now))
    token = secrets.token_urlsafe(32)
    session.add(SignInSessionRow(token_hash=_hash(token), key_id=key_id, created_at=now, expires_at=now + LASTS))
    return token


def key_of_session(session: Session, token: str, now: datetime) -> StoredKey | None:
    """The key that a browser signed in with; None where the session or the key is over."""
    found = session.execute(
        select(AccessKeyRow, SignInSessionRow.created_at, SignInSessionRow.expires_at)
        .join(SignInSessionRow, SignInSessionRow.key_id == AccessKeyRow.id)
        .where(SignInSessionRow.token_hash == _hash(token))
    ).first()
    if found is None or not found.expires_at > now:
        return None
    key = key_of(found.AccessKeyRow)
    return key if key.usable(now) else None


def end_session(session: Session, token: str) -> None:
    """Sign a browser out: its cookie opens nothing any more, wherever a copy of it is."""
    session.execute(delete(SignInSessionRow).where(SignInSessionRow.token_hash == _hash(token)))


def note_failure(session: Session, address: str, now: datetime) -> None:
    """Count a sign-in that failed; what no longer counts is swept out on the way."""
    since = now - FAILURES_COUNT_FOR
    session.execute(delete(SignInFailureRow).where((SignInFailureRow.failed_at <= since) | (SignInFailureRow.failed_at > now)))
    session.add(SignInFailureRow(address=address, failed_at=now))


def wait_before_sign_in(session: Session, address: str, now: datetime) -> timedelta | None:
    """How long nobody at this address can sign in; None where an attempt is open."""
    counted = (SignInFailureRow.failed_at > now - FAILURES_COUNT_FOR) & (SignInFailureRow.failed_at <= now)
    waits = []
    for condition, limit in ((counted & (SignInFailureRow.address == address), FAILURES_PER_ADDRESS), (counted, FAILURES_OVERALL)):
        if (session.scalar(select(func.count()).select_from(SignInFailureRow).where(condition)) or 0) < limit:
            continue
        # The door opens when so many have passed out of the window that fewer than the limit are left in it.
        newest = select(SignInFailureRow.failed_at).where(condition).order_by(SignInFailureRow.failed_at.desc())
        waits.append(session.scalars(newest.offset(limit - 1).limit(1)).one() + FAILURES_COUNT_FOR - now)
    return max(waits, default=None)


def _hash(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()
