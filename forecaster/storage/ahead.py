"""Rows from a clock that was once ahead: kept, but left out wherever the newest is asked for, or they would stay the newest for long."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import ColumnElement
from sqlalchemy.orm import InstrumentedAttribute

AHEAD = timedelta(hours=1)
"""How far the clocks of two processes or machines may be apart before one's rows count as of a wrong clock. Status: assumption."""


def not_ahead(column: InstrumentedAttribute[datetime], now: datetime) -> ColumnElement[bool]:
    """Rows whose time may be true at ``now``. They are not deleted: the clock that is wrong may be this one."""
    return column <= now + AHEAD
