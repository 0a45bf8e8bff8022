"""A surveyed ring."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal


@dataclass(frozen=True)
class Ring:
    """One ring: centre in the surface's local metres, outer visible diameter, width of the affected band.

    Type 1: wilted or dead band; type 2: greener band; type 3: fruit bodies only.
    """

    id: str
    centre_x_m: float
    centre_y_m: float
    diameter_m: float
    band_width_m: float
    type: Literal[1, 2, 3]
    surveyed: date
