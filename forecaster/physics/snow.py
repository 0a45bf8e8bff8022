"""Snow: rain or snow by the day's air temperature, a pack that melts by degree-days.

Status: practice (degree-day melt is common in hydrology; factors of 2 to 6 mm per °C and day are quoted, memory); the numbers are
assumptions in config/.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.physics.limits import larger, smaller, unit_ramp

Floats = npt.NDArray[np.float64]


class SnowRates(NamedTuple):
    """``snow_below_c``:

    all snow at or below this daily mean; ``rain_above_c``: all rain from this on; melt in mm per °C above 0 and day.
    """

    snow_below_c: float
    rain_above_c: float
    melt_mm_per_c_day: float


def snow_day(pack_mm: Floats, rain_mm: Floats, air_temperature_mean_c: Floats, rates: SnowRates) -> tuple[Floats, Floats]:
    """Advance the pack by one day: returns the pack [mm water] and the liquid water of the day (rain and melt) [mm]; broadcasts.

    pack before + precipitation = pack after + liquid, exactly to rounding. NaN in, NaN out.
    """
    liquid = rain_mm * unit_ramp(air_temperature_mean_c, rates.snow_below_c, rates.rain_above_c)
    lying = pack_mm + (rain_mm - liquid)
    melt = smaller(larger(air_temperature_mean_c, 0.0) * rates.melt_mm_per_c_day, lying)
    return lying - melt, liquid + melt
