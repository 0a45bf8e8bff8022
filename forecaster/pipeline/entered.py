"""A ground with what people entered: rings that they surveyed and fixtures that they booked, beside those of the configuration."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy.orm import Session

from forecaster.ground.fixture import Fixture
from forecaster.ground.ground import Ground
from forecaster.ground.ring import Ring
from forecaster.records import FixtureEntry, RingEntry
from forecaster.storage.records import RecordQuery, list_records


def with_entered(session: Session, ground: Ground) -> Ground:
    """The ground with entered rings and fixtures. Those of a surface that is gone are left out."""
    names = {surface.id for surface in ground.surfaces}
    rings: dict[str, list[Ring]] = {name: [] for name in names}
    for record in list_records(session, ground.id, "ring", RecordQuery()):
        if record.surface_id in names:
            rings[record.surface_id].append(_ring(record.id, record.document))
    fixtures = [
        _fixture(record.id, record.document)
        for record in list_records(session, ground.id, "fixture", RecordQuery())
        if record.surface_id in names
    ]
    surfaces = tuple(replace(s, rings=(*s.rings, *reversed(rings[s.id]))) for s in ground.surfaces)
    return replace(ground, surfaces=surfaces, fixtures=(*ground.fixtures, *reversed(fixtures)))


def _ring(identity: str, document: Any) -> Ring:
    entry = RingEntry.model_validate(document, strict=False)
    return Ring(
        id=identity,
        centre_x_m=entry.centre_x_m,
        centre_y_m=entry.centre_y_m,
        diameter_m=entry.diameter_m,
        band_width_m=entry.band_width_m,
        type=entry.type,
        surveyed=entry.surveyed,
    )


def _fixture(identity: str, document: Any) -> Fixture:
    entry = FixtureEntry.model_validate(document, strict=False)
    return Fixture(identity, entry.surface_id, entry.title, entry.starts_at_utc, entry.ends_at_utc, "entered")
