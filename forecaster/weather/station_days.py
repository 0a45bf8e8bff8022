"""Reference evapotranspiration of days from whatever a station gives: checks, missing-data procedures, Penman-Monteith."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from forecaster.physics import evapotranspiration, humidity, radiation
from forecaster.physics.evapotranspiration import FAO56, Variant
from forecaster.weather import procedures
from forecaster.weather.place import Place
from forecaster.weather.procedures import Circumstances, Resolved
from forecaster.weather.quality import DAILY_CHECKS, DAILY_RANGES, check

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Whole = npt.NDArray[Any]  # integers


@dataclass(frozen=True)
class Evaporation:
    """ET0 of days or hours with what it was worked out from; arrays of one shape, NaN where temperature is missing."""

    et0_mm: Floats
    """As the equation gives it: a little below 0 where dew forms."""
    vapour_pressure_kpa: Floats
    shortwave_mj: Floats
    wind_speed_2m_ms: Floats
    resolved: Resolved
    removed: tuple[tuple[str, Flags], ...]
    """Rule that took a value out, and where."""
    assumed: tuple[tuple[str, Flags], ...] = ()
    """Anything else that was assumed, and where."""

    def notes(self) -> list[tuple[str, Flags]]:
        """What to tell, and where: values taken out first, then what was estimated."""
        return [*self.removed, *self.resolved.notes(), *self.assumed]


def evaporation_of_days(
    series: Mapping[str, Floats],
    *,
    day_of_year: Whole,
    place: Place,
    wind_height_m: float,
    variant: Variant = FAO56,
    circumstances: Circumstances = Circumstances(),  # noqa: B008 - frozen
    hargreaves: bool = False,
) -> Evaporation:
    """ET0 of days from the series at hand, impossible values taken out and missing ones filled by FAO-56 chapters 3 and 4.

    ``series``: names of ``quality.DAILY_RANGES``, shape (day,), NaN = missing; highest and lowest temperature are needed. ``hargreaves``:
    where humidity, radiation and wind are all estimated, take eq. 52 in place of Penman-Monteith, which FAO-56 prefers. Raises ValueError
    for a wind height outside 0.5 to 200 m. Source: FAO-56 ch. 3-4. Status: published; the checks: see quality.
    """
    top = radiation.extraterrestrial_radiation(place.latitude, day_of_year)
    sun = {
        "extraterrestrial_mj": top,
        "clear_sky_mj": radiation.clear_sky_radiation(top, place.elevation_m),
        "daylight_h": radiation.daylight_hours(place.latitude, day_of_year),
    }
    checked = check({**series, **sun}, DAILY_RANGES, DAILY_CHECKS)
    known = checked.values | {"pressure_kpa": np.asarray(humidity.atmospheric_pressure(place.elevation_m))}
    for name in ("wind_speed", "nearby_wind_speed"):
        if f"{name}_ms" in known:
            known[f"{name}_2m_ms"] = evapotranspiration.wind_speed_at_2m(known[f"{name}_ms"], wind_height_m)
    resolved = procedures.resolve(procedures.DAILY, known, circumstances, np.shape(day_of_year))
    warm, cold = known["air_temperature_max_c"], known["air_temperature_min_c"]
    et0 = evapotranspiration.reference_evapotranspiration(
        evapotranspiration.WeatherDay(
            air_temperature_max_c=warm,
            air_temperature_min_c=cold,
            vapour_pressure_kpa=resolved.values[procedures.VAPOUR_PRESSURE],
            wind_speed_2m_ms=resolved.values[procedures.WIND_2M],
            shortwave_mj=resolved.values[procedures.SHORTWAVE_AMOUNT],
            day_of_year=day_of_year,
            latitude_deg=place.latitude,
            elevation_m=place.elevation_m,
        ),
        variant=variant,
    )
    assumed: tuple[tuple[str, Flags], ...] = ()
    if hargreaves:
        alone = np.logical_and.reduce([resolved.estimated(quantity) for quantity in resolved.values])
        et0 = np.where(alone, evapotranspiration.hargreaves_evapotranspiration(warm, cold, top), et0)
        assumed = ((procedures.HARGREAVES, alone),)
    return Evaporation(
        et0_mm=et0,
        vapour_pressure_kpa=resolved.values[procedures.VAPOUR_PRESSURE],
        shortwave_mj=resolved.values[procedures.SHORTWAVE_AMOUNT],
        wind_speed_2m_ms=resolved.values[procedures.WIND_2M],
        resolved=resolved,
        removed=checked.removed,
        assumed=assumed,
    )
