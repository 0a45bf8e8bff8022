"""Links that carry their own permission: signed by this program, so that nobody can make one up."""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import Any, cast

from itsdangerous import BadSignature, URLSafeSerializer
from sqlalchemy import CursorResult, delete, select
from sqlalchemy.orm import Session

from forecaster.storage.insert import insert_or_ignore
from forecaster.storage.models import ServiceSecretRow
from forecaster.storage.service_secret import SECRET_BYTES

MAIL_OFF = "mail-off"


def make_secret(session: Session, purpose: str, now: datetime) -> None:
    """Make the secret of a purpose where there is none yet; needs a session that writes."""
    values = {"name": purpose, "value": secrets.token_bytes(SECRET_BYTES), "created_at": now}
    insert_or_ignore(session, ServiceSecretRow, values, key=("name",))


def feed_purpose(ground_id: str) -> str:
    """The purpose that the private feed addresses of a ground are signed for: each ground has a secret of its own."""
    return f"feed/{ground_id}"


def drop_secret(session: Session, purpose: str) -> bool:
    """Forget the secret of a purpose: nothing signed with it is believed any more. False where there was none."""
    gone = session.execute(delete(ServiceSecretRow).where(ServiceSecretRow.name == purpose))
    return cast("CursorResult[Any]", gone).rowcount == 1


def sign(session: Session, purpose: str, content: list[Any]) -> str:
    """Content as one signed word for a web address; the same content gives the same word. Raises KeyError before ``make_secret``."""
    secret = _secret(session, purpose)
    if secret is None:
        raise KeyError(f"no secret for {purpose}")
    return str(URLSafeSerializer(secret, salt=purpose).dumps(content))


def signed_content(session: Session, purpose: str, word: str) -> list[Any] | None:
    """What a signed word says; None where this program did not sign it for this purpose."""
    secret = _secret(session, purpose)
    if secret is None:
        return None
    try:
        content = URLSafeSerializer(secret, salt=purpose).loads(word)
    except BadSignature:
        return None
    return content if isinstance(content, list) else None


def _secret(session: Session, purpose: str) -> bytes | None:
    return session.scalar(select(ServiceSecretRow.value).where(ServiceSecretRow.name == purpose))
