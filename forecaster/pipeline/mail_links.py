"""How a reader takes an address off: by a link of their own, or by asking whoever runs the program."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from forecaster.storage.links import MAIL_OFF, make_secret, sign


def off_link(session: Session, public_url: str | None, ground_id: str | None, recipient: str, *, now: datetime) -> str | None:
    """The link under which an address is taken off a ground's list; None where nobody could open it, or could listen in,
    and for a message about no ground.

    Needs a session that writes. Only https: RFC 8058 asks for it, and a mail program posts there by itself.
    """
    if ground_id is None or public_url is None or not public_url.startswith("https://"):
        return None
    make_secret(session, MAIL_OFF, now)
    return f"{public_url.rstrip('/')}/mail/off/{sign(session, MAIL_OFF, [ground_id, recipient])}"
