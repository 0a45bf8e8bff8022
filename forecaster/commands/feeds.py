"""``forecaster feed-address``: the private addresses of a ground's feeds, for programs that can send no key."""

from __future__ import annotations

from forecaster.errors import NotFound
from forecaster.pipeline.context import Context
from forecaster.storage.database import transaction
from forecaster.storage.links import drop_secret, feed_purpose, make_secret, sign

FEEDS = ("calendar.ics", "alerts.atom", "cap.atom")


def feed_addresses(context: Context, ground_id: str, base: str) -> list[str]:
    """The private addresses of a ground, the same until they are revoked. Raises: NotFound."""
    _check(context, ground_id)
    purpose = feed_purpose(ground_id)
    with transaction(context.engine) as session:
        make_secret(session, purpose, context.real_clock())
        word = sign(session, purpose, [ground_id])
    return [f"{base}/feeds/private/{ground_id}/{word}/{feed}" for feed in FEEDS]


def revoke_addresses(context: Context, ground_id: str) -> bool:
    """Let none of the addresses handed out so far open anything. False where there were none. Raises: NotFound."""
    _check(context, ground_id)
    with transaction(context.engine) as session:
        return drop_secret(session, feed_purpose(ground_id))


def _check(context: Context, ground_id: str) -> None:
    known = [ground.id for ground in context.configuration.grounds]
    if ground_id not in known:
        raise NotFound(f"there is no ground {ground_id!r}", hint=f"Configured are: {', '.join(known)}.")
