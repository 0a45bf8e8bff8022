"""Why each rule did or did not speak: the newest explanation of each surface."""

from __future__ import annotations

import zlib

from pydantic import ValidationError
from sqlalchemy.orm import Session

from forecaster.documents import Explanation
from forecaster.errors import StorageError
from forecaster.storage.insert import insert_or_replace
from forecaster.storage.models import ExplanationRow


def save_explanation(session: Session, explanation: Explanation) -> None:
    """Keep an explanation in the place of the surface's last one."""
    values = {
        "ground_id": explanation.ground_id,
        "surface_id": explanation.surface_id,
        "issued_at": explanation.issued_at_utc,
        "document": zlib.compress(explanation.model_dump_json().encode()),
    }
    insert_or_replace(session, ExplanationRow, values, key=("ground_id", "surface_id"))


def latest_explanation(session: Session, ground_id: str, surface_id: str) -> Explanation | None:
    """The newest explanation of a surface; None where no cycle has left one.

    Raises: StorageError where it was written by another version of the program.
    """
    row = session.get(ExplanationRow, (ground_id, surface_id))
    if row is None:
        return None
    try:
        return Explanation.model_validate_json(zlib.decompress(row.document))
    except (ValidationError, zlib.error) as error:
        raise StorageError(
            f"the explanation of {ground_id}/{surface_id} is damaged or from another version of the program",
            hint="Run one cycle: it writes the explanation anew.",
        ) from error
