"""Where a simulation goes on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from forecaster.physics.soil_heat import SoilHeat
from forecaster.soil.state import SoilState


@dataclass(frozen=True)
class Start:
    """Where a simulation goes on: the states at the end of ``day``, and the first day that was ever simulated towards them.

    ``heat``: of the soil, None where it is not known and is assumed.
    """

    day: date
    state: SoilState
    heat: SoilHeat | None
    simulated_from: date
