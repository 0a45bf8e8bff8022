"""Insert where the row may already be there, in the words that SQLite and PostgreSQL share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from forecaster.storage.models import Table


def insert_or_ignore(session: Session, table: type[Table], values: Mapping[str, Any], *, key: tuple[str, ...]) -> bool:
    """Insert one row unless a row with the same ``key`` columns is there. True when it was inserted."""
    statement = _insert(session, table).values(dict(values)).on_conflict_do_nothing(index_elements=key)
    # Not by the row count, which PostgreSQL's driver does not give for every insert.
    return session.execute(statement.returning(*(getattr(table, name) for name in key))).first() is not None


def insert_or_replace(session: Session, table: type[Table], values: Mapping[str, Any], *, key: tuple[str, ...]) -> None:
    """Insert one row, or give the row with the same ``key`` columns these values."""
    statement = _insert(session, table).values(dict(values))
    changed = {name: statement.excluded[name] for name in values if name not in key}
    session.execute(statement.on_conflict_do_update(index_elements=key, set_=changed))


def _insert(session: Session, table: type[Table]) -> Any:  # the two dialects' statements have no common type
    # Only the dialect in use is loaded: the other one takes megabytes of every process.
    if session.get_bind().dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert as insert_there

        return insert_there(table)
    from sqlalchemy.dialects.sqlite import insert

    return insert(table)
