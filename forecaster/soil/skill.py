"""How well a simulation does on measured soil: scores, what may be taken from the measurements, and two simple rivals.

Months are kept apart: whatever is fitted is fitted on the odd months, whatever is scored is scored on the even ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Numbers = npt.NDArray[np.int64]

FIRST_MONTH, LAST_MONTH = 3, 11  # scored months
HUMID_FROM_M3M3 = 0.04  # standard deviation of measured water at 5 cm from which a station counts as humid
FITTED_DAYS_AT_LEAST = 30

# Where a soil stands in its own record. Field capacity: what it holds a day or two after rain, so it is passed on about one day in seven in
# a humid climate; wilting point: what roots leave, reached on few days. Status: assumption; 80 to 95 and 0 to 10 score alike.
FIELD_CAPACITY_PERCENTILE = 85.0
WILTING_POINT_PERCENTILE = 5.0
LEAST_AVAILABLE_M3M3 = 0.02
LEAST_ABOVE_CAPACITY_M3M3 = 0.02


@dataclass(frozen=True)
class WaterScores:
    """Agreement of simulated with measured water. ``correlation`` is NaN where one of the two does not vary."""

    correlation: float
    unbiased_rmse: float
    rmse: float
    bias: float
    days: int


@dataclass(frozen=True)
class TemperatureScores:
    """Agreement of simulated with measured temperature [°C]."""

    mae: float
    bias: float
    days: int


@dataclass(frozen=True)
class SoilContents:
    """Water contents of a soil [m³/m³]."""

    field_capacity_m3m3: float
    wilting_point_m3m3: float
    saturation_m3m3: float


def water_scores(simulated: Floats, measured: Floats, scored: Flags) -> WaterScores | None:
    """Scores over the days that are ``scored`` and have both values; None with fewer than two. All arrays have shape (day,).

    bias = mean(simulated − measured); rmse² = unbiased_rmse² + bias². Source: definitions (Entekhabi et al. 2010,
    J. Hydrometeorol. 11:832; memory). Status: published.
    """
    used = scored & np.isfinite(simulated) & np.isfinite(measured)
    if used.sum() < 2:
        return None
    a, b = simulated[used], measured[used]
    error = a - b
    # A series that is held all the time differs by rounding only.
    varies = min(float(np.ptp(a)), float(np.ptp(b))) > 1e-9
    return WaterScores(
        correlation=float(np.corrcoef(a, b)[0, 1]) if varies else float("nan"),
        unbiased_rmse=float(error.std()),
        rmse=float(np.sqrt(np.mean(error**2))),
        bias=float(error.mean()),
        days=int(used.sum()),
    )


def temperature_scores(simulated: Floats, measured: Floats) -> TemperatureScores | None:
    """Mean absolute error and bias over the days that have both values; None without any. Shape (day,)."""
    error = (simulated - measured)[np.isfinite(simulated) & np.isfinite(measured)]
    if not error.size:
        return None
    return TemperatureScores(mae=float(np.abs(error).mean()), bias=float(error.mean()), days=int(error.size))


def fitted_days(month: Numbers, unfrozen: Flags) -> Flags:
    """Days from which parameters may be taken: unfrozen, in odd months."""
    return unfrozen & (month % 2 == 1)


def scored_days(month: Numbers, unfrozen: Flags) -> Flags:
    """Days on which water is scored: unfrozen, in even months, March to November."""
    return unfrozen & (month % 2 == 0) & (month >= FIRST_MONTH) & (month <= LAST_MONTH)


def contents_from_series(measured: Floats, fitted: Flags) -> SoilContents | None:
    """Field capacity, wilting point and saturation from a soil's own record on the ``fitted`` days; None with fewer than 30.

    Saturation is the largest value seen. Status: assumption, see the percentiles' constants.
    """
    known = measured[fitted & np.isfinite(measured)]
    if known.size < FITTED_DAYS_AT_LEAST:
        return None
    capacity, wilting = (float(np.percentile(known, rank)) for rank in (FIELD_CAPACITY_PERCENTILE, WILTING_POINT_PERCENTILE))
    wilting = max(min(wilting, capacity - LEAST_AVAILABLE_M3M3), 0.0)
    capacity = max(capacity, wilting + LEAST_AVAILABLE_M3M3)
    return SoilContents(capacity, wilting, max(float(known.max()), capacity + LEAST_ABOVE_CAPACITY_M3M3))


def root_zone_mean(by_depth_m3m3: dict[int, Floats], root_depth_m: float) -> tuple[Floats, dict[int, float]]:
    """Measured water of the root zone, shape (day,), and the weight of each depth [cm] in it.

    Depths down to the root depth, each standing for the soil half-way to its neighbours; the first reaches to the surface, the last to
    the root depth. A day on which one of them is missing is NaN.
    """
    deepest = 100.0 * root_depth_m
    depths = sorted(depth for depth in by_depth_m3m3 if depth <= deepest)
    if not depths:
        raise ValueError(f"no depth within the root zone of {deepest:g} cm")
    edges = [0.0, *((a + b) / 2.0 for a, b in pairwise(depths)), deepest]
    weights = {depth: (edges[number + 1] - edges[number]) / deepest for number, depth in enumerate(depths)}
    return np.sum([weight * by_depth_m3m3[depth] for depth, weight in weights.items()], axis=0), weights


def seasonal_mean(measured: Floats, day_of_year: Numbers, month: Numbers, fitted: Flags) -> Floats:
    """The first rival, shape (day,): means of the fitted months at their mean day of the year, straight lines between them around the year.

    NaN everywhere without a fitted month.
    """
    used = fitted & np.isfinite(measured)
    months = np.unique(month[used])
    if not months.size:
        return np.full(measured.shape, np.nan)
    middles = np.array([day_of_year[used & (month == m)].mean() for m in months])
    means = np.array([measured[used & (month == m)].mean() for m in months])
    return np.interp(day_of_year, middles, means, period=365.25)


KEPT_PER_DAY = tuple(float(share) for share in np.round(np.arange(0.50, 0.991, 0.01), 2))


def antecedent_precipitation(rain_mm: Floats, kept_per_day: float) -> Floats:
    """A(t) = k A(t − 1) + P(t) [mm], shape (day,), from 0; a missing day counts as dry. Source: Kohler & Linsley 1951 (memory)."""
    index = np.empty(rain_mm.shape)
    held = 0.0
    for day, rain in enumerate(np.where(np.isfinite(rain_mm), rain_mm, 0.0)):
        held = kept_per_day * held + rain
        index[day] = held
    return index


def antecedent_precipitation_water(measured: Floats, rain_mm: Floats, fitted: Flags) -> Floats:
    """The second rival, shape (day,): water as a straight line of the antecedent precipitation index.

    Line and k (0.50 to 0.99) are those with the least squared error on the fitted days. NaN everywhere with fewer than three of them.
    """
    used = fitted & np.isfinite(measured)
    best, result = np.inf, np.full(measured.shape, np.nan)
    if used.sum() < 3:
        return result
    for kept in KEPT_PER_DAY:
        index = antecedent_precipitation(rain_mm, kept)
        design = np.stack([np.ones(index.shape), index], axis=1)
        line, *_ = np.linalg.lstsq(design[used], measured[used], rcond=None)
        simulated = design @ line
        error = float(np.sum((simulated[used] - measured[used]) ** 2))
        if error < best:
            best, result = error, simulated
    return result
