"""What the web process must know of the configuration: it reads no files, so whoever reads them writes it here."""

from __future__ import annotations

from datetime import datetime
from typing import TypeVar

from pydantic import ValidationError
from sqlalchemy.orm import Session

from forecaster.documents import Document
from forecaster.errors import StorageError
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import ServiceDocumentRow

RULES, BOOKING = "rules", "booking limits"
Kind = TypeVar("Kind", bound=Document)


def save_service_document(session: Session, name: str, document: Document, updated_at: datetime) -> None:
    """Keep a document under a name; it takes the place of the one before."""
    values = {"name": name, "document": document.model_dump(mode="json"), "updated_at": updated_at}
    insert_or_replace(session, ServiceDocumentRow, values, key=("name",))


def service_document(session: Session, name: str, kind: type[Kind]) -> tuple[Kind, datetime] | None:
    """The document of a name and when it was written; None before the first time.

    Raises: StorageError where another version of the program wrote it.
    """
    row = session.get(ServiceDocumentRow, name)
    if row is None:
        return None
    try:
        return kind.model_validate(row.document), row.updated_at
    except ValidationError as error:
        raise StorageError(f"the {name} are damaged or from another version of the program", hint="Start the service again.") from error
