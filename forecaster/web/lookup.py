"""The ground and the surface that an address names."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path

from forecaster.documents import GroundSummary, SurfaceSummary
from forecaster.errors import NotFound
from forecaster.records import ID_PATTERN
from forecaster.web.reading import Store
from forecaster.web.visitor import no_such_ground

GroundId = Annotated[str, Path(description="Stable id of a ground", pattern=ID_PATTERN, max_length=40, examples=["thistlefold"])]
SurfaceId = Annotated[
    str, Path(description="Stable id of a surface of this ground", pattern=ID_PATTERN, max_length=40, examples=["main-pitch"])
]


def ground_or_missing(store: Store, ground_id: str) -> GroundSummary:
    """One ground. Raises NotFound."""
    ground = store.ground(ground_id)
    if ground is None:
        raise no_such_ground(ground_id)
    return ground


def surface_or_missing(ground: GroundSummary, surface_id: str) -> SurfaceSummary:
    """One surface of a ground. Raises NotFound."""
    for surface in ground.surfaces:
        if surface.id == surface_id:
            return surface
    raise NotFound(f"{ground.name} has no surface {surface_id!r}.", hint=f"/api/v1/grounds/{ground.id}/surfaces lists its surfaces.")
