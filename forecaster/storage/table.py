"""What all tables share: names of constraints, and moments that carry their zone."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import JSON, Date, DateTime, Dialect, LargeBinary, MetaData, String, TypeDecorator
from sqlalchemy.orm import DeclarativeBase


class UtcDateTime(TypeDecorator[datetime]):
    """A moment. Takes only times with a zone, gives back UTC; a naive time is a mistake of the caller and is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None or value.utcoffset() is None:
            raise ValueError(f"a time without a zone cannot be stored: {value!r}")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        # SQLite has no zones and gives back what was written, which was UTC.
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Table(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012
        datetime: UtcDateTime,
        date: Date,
        bytes: LargeBinary,
        str: String,
        dict[str, Any]: JSON(none_as_null=True),
        list[str]: JSON(none_as_null=True),
    }
