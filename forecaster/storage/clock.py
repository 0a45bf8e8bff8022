"""Whether the clock can be believed, by what was stored before.

A machine without a battery clock starts in the past; one that was set wrongly runs ahead for a while. Messages carry days: sent under a
wrong clock they tell of the wrong day and take its key. Which of two clocks is wrong cannot be known at once, so messages wait; a clock
that has run for a day by itself is believed.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from forecaster.storage.ahead import AHEAD
from forecaster.storage.models import CycleRow, MessageRow, ToldRow

EARLIEST = datetime(2026, 1, 1, tzinfo=UTC)
"""Older than this program: no clock that runs it can rightly show an earlier time."""
BELIEVED_AFTER = timedelta(days=1)
"""So long cycles must have run under a clock that is behind the stored ones before it is believed against them. Status: assumption."""
AHEAD_ERROR = "written under a clock that was ahead"


def doubt_of_clock(session: Session, now: datetime) -> str | None:
    """Why the clock is not believed, in a sentence; None where it is."""
    if now < EARLIEST:
        return f"The clock shows {now:%d %B %Y}, which cannot be. No message is sent until it is right."
    newest = session.execute(select(CycleRow.id, CycleRow.finished_at).order_by(CycleRow.finished_at.desc()).limit(1)).first()
    if newest is None or newest.finished_at <= now + AHEAD:
        return None
    since = session.scalar(select(func.min(CycleRow.finished_at)).where(CycleRow.id > newest.id))
    if since is not None and now - since >= BELIEVED_AFTER:
        return None
    return (
        f"The clock shows {now:%d %B %Y %H:%M} UTC, but a run of {newest.finished_at:%d %B %Y %H:%M} UTC is stored: "
        "one of the two is wrong. No message is sent until they agree, for a day at most."
    )


def free_days_ahead(session: Session, now: datetime) -> int:
    """Take back what was written of days to come, now that the clock is believed: those days get their own messages. Returns how many.

    Kept and shown, under a key that no day takes. Call it only where ``doubt_of_clock`` has none.
    """
    ahead = MessageRow.created_at > now + AHEAD
    session.execute(
        update(MessageRow).where(ahead, MessageRow.status == "waiting").values(status="expired", last_error=AHEAD_ERROR),
        execution_options={"synchronize_session": False},
    )
    taken = session.execute(select(MessageRow.id, MessageRow.key).where(ahead, ~MessageRow.key.startswith("ahead/"))).all()
    for row in taken:
        session.execute(update(MessageRow).where(MessageRow.id == row.id).values(key=f"ahead/{row.id}/{row.key}"))
    session.execute(delete(ToldRow).where(ToldRow.told_at > now + AHEAD))
    return len(taken)
