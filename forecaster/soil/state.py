"""What drives the columns, and the state they are in at the end of a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from forecaster.physics import fruiting, repellency
from forecaster.soil.columns import ColumnParameters, ModelParameters
from forecaster.weather.quality import DAY_RANGES, Plausible

Floats = npt.NDArray[np.float64]

# Wider than any weather: what lies outside is a fault upstream. Daily weather keeps to these very ranges, so that no ground fails by them.
POSSIBLE = DAY_RANGES | {
    "irrigation_mm": Plausible("watering", 0.0, 500.0, "mm"),
    "rain_over_capacity_mm": Plausible("rain over capacity", DAY_RANGES["rain_mm"].lowest, DAY_RANGES["rain_mm"].highest, "mm"),
}


@dataclass(frozen=True)
class Forcing:
    """What drives the columns; every array has shape (day, column). Numbers are finite and possible on days that are ``known``.

    ``rain_over_capacity_mm``: the part of the day's rain that fell faster than the soil takes it in, None where rain is known by the day
    only.
    Raises ValueError naming the quantity, its unit and its range.
    """

    rain_mm: Floats
    irrigation_mm: Floats
    et0_mm: Floats
    air_temperature_mean_c: Floats
    air_temperature_min_c: Floats
    soil_temperature_c: Floats
    wind_speed_2m_ms: Floats
    relative_humidity_min_percent: Floats
    known: npt.NDArray[np.bool_]
    rain_over_capacity_mm: Floats | None = None

    def __post_init__(self) -> None:
        given = {f.name: getattr(self, f.name) for f in fields(self) if getattr(self, f.name) is not None}
        shapes = {array.shape for array in given.values()}
        if len(shapes) != 1 or len(next(iter(shapes))) != 2:
            raise ValueError(f"forcing needs one shape (day, column), got {sorted(map(str, shapes))}")
        everything = bool(self.known.all())
        for name, allowed in POSSIBLE.items():
            if name not in given:
                continue
            numbers = given[name] if everything else given[name][self.known]
            if not numbers.size:
                continue
            least, most = float(numbers.min()), float(numbers.max())  # NaN makes both NaN
            if np.isnan(least):
                raise ValueError(f"{name} is missing on a day that is said to be known")
            if least < allowed.lowest or most > allowed.highest:
                wrong = least if least < allowed.lowest else most
                raise ValueError(f"{name} is {wrong:g} {allowed.unit} on a known day; possible is {allowed}")

    def part(self, columns: slice) -> Forcing:
        """Some of the columns; checked already."""
        made = object.__new__(Forcing)
        for f in fields(self):
            array = getattr(self, f.name)
            object.__setattr__(made, f.name, None if array is None else array[:, columns])
        return made


@dataclass(frozen=True)
class SoilState:
    """State of every column at the end of a local day, with the memory that fruiting needs.

    Shapes: (column,); for ``coming_hazard`` and the ``recent_*`` arrays (day, column), oldest first, as in ``fruiting.FruitingMemory``.
    ``days_since_wetting`` and ``wetting_interval_days`` [d]: how often the surface is wetted (Kc,max).
    """

    exposed_depletion_mm: Floats
    surface_depletion_mm: Floats
    lower_depletion_mm: Floats
    snow_mm: Floats
    intercepted_mm: Floats
    days_since_wetting: Floats
    wetting_interval_days: Floats
    repellency_log10_s: Floats
    green_cover: Floats
    live_crowns: Floats
    drought_days: Floats
    coming_hazard: Floats
    recent_wetness: Floats
    recent_water_in_mm: Floats
    recent_drought: npt.NDArray[np.uint8]
    recent_soil_temperature_c: Floats
    cold_nights: Floats

    def fruiting(self) -> fruiting.FruitingMemory:
        """The part that fruiting remembers."""
        return fruiting.FruitingMemory(**{f.name: getattr(self, f.name) for f in fields(fruiting.FruitingMemory)})

    def part(self, columns: slice) -> SoilState:
        """Some of the columns."""
        return SoilState(**{f.name: getattr(self, f.name)[..., columns] for f in fields(self)})

    @staticmethod
    def joined(states: Sequence[SoilState]) -> SoilState:
        """The columns of several states, one after the other."""
        return SoilState(**{f.name: np.concatenate([getattr(s, f.name) for s in states], axis=-1) for f in fields(SoilState)})


def first_guess(columns: ColumnParameters, model: ModelParameters) -> SoilState:
    """A state to start from where nothing is known: soil at field capacity, repellency in equilibrium with it, turf whole, no snow.

    Status: assumption. How long it shows depends on soil and season (soil.spin_up; ``forecaster spin-up`` prints the days): weeks in a
    growing season, months over a winter; a band locked dry, and crowns lost before, for years.
    """
    none = np.zeros(columns.count)
    whole = np.ones(columns.count)
    remembered = fruiting.nothing_remembered(columns.count)
    return SoilState(
        exposed_depletion_mm=none,
        surface_depletion_mm=none,
        lower_depletion_mm=none,
        snow_mm=none,
        intercepted_mm=none,
        days_since_wetting=np.full(columns.count, 99.0),
        wetting_interval_days=np.full(columns.count, 99.0),
        repellency_log10_s=repellency.equilibrium_repellency(
            columns.field_capacity_m3m3,
            potential_log10_s=columns.potential_repellency_log10_s,
            critical_water_m3m3=columns.critical_water_m3m3,
            steepness=model.repellency_steepness,
        ),
        green_cover=whole,
        live_crowns=whole,
        drought_days=none,
        **{f.name: getattr(remembered, f.name) for f in fields(fruiting.FruitingMemory)},
    )
