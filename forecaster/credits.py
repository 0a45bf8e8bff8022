"""Whose weather is shown, and which of the services behind it are not well: parts of the stored documents."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict


class Part(BaseModel):
    """Part of a stored document: unknown keys are refused, as there."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ServiceNote(Part):
    """A weather service that is not well, or not for much longer. ``text`` is the one sentence that is shown."""

    service: str
    name: str
    state: Literal["open", "half-open", "shut out", "terms", "limit", "deprecated"]
    """``open``: left alone for now; ``half-open``: about to be asked again; the rest: see ``text``."""
    text: str
    last_error: str | None = None
    since_utc: datetime | None = None
    asked_again_utc: datetime | None = None
    answered_at_utc: datetime | None = None
    """When it last gave what was asked for."""


class Credit(Part):
    """Whose data are shown, as their licence wants it said."""

    name: str
    attribution: str
    licence: str
    link: str | None = None
