"""From a station file to the weather that the model takes, with what is missing estimated and said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from forecaster.physics import humidity, radiation, soil_heat
from forecaster.physics.evapotranspiration import WeatherDay
from forecaster.soil.state import Forcing
from forecaster.sources.station_file import StationSeries
from forecaster.weather.place import Place
from forecaster.weather.quality import DAY_RANGES, check
from forecaster.weather.station_days import evaporation_of_days

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.int64]
AnyNumber = TypeVar("AnyNumber", bound=np.generic)


@dataclass(frozen=True)
class MeasuredWeather:
    """Weather of a station's days as the model takes it; arrays of shape (day,). ``known``: rain and ET0 are there."""

    rain_mm: Floats
    relative_humidity_min_percent: Floats
    air_temperature_min_c: Floats
    heat: soil_heat.HeatWeather
    known: Flags

    def on(self, days: Whole | slice) -> MeasuredWeather:
        """The weather of some of the days, in the order given."""
        return MeasuredWeather(
            self.rain_mm[days],
            self.relative_humidity_min_percent[days],
            self.air_temperature_min_c[days],
            self.heat.on(days),
            self.known[days],
        )

    def forcing(self, soil_temperature_c: Floats, *, columns: int) -> Forcing:
        """What drives this many columns, all in the same weather, without watering. A day without soil temperature is not known."""

        def spread(values: npt.NDArray[AnyNumber]) -> npt.NDArray[AnyNumber]:
            return np.repeat(values[:, None], columns, axis=1)

        return Forcing(
            rain_mm=spread(self.rain_mm),
            irrigation_mm=spread(np.zeros(len(self.rain_mm))),
            et0_mm=spread(self.heat.et0_mm),
            air_temperature_mean_c=spread(self.heat.air_temperature_mean_c),
            air_temperature_min_c=spread(self.air_temperature_min_c),
            soil_temperature_c=spread(soil_temperature_c),
            wind_speed_2m_ms=spread(self.heat.wind_speed_2m_ms),
            relative_humidity_min_percent=spread(self.relative_humidity_min_percent),
            known=spread(self.known & np.isfinite(soil_temperature_c)),
        )


def station_weather(series: StationSeries) -> tuple[MeasuredWeather, list[str]]:
    """Weather of the days with FAO-56's procedures for what is missing (chapters 3 and 4), and in words what was estimated."""
    notes: list[str] = []
    warmest, coldest = series.value("air_temperature_max_c"), series.value("air_temperature_min_c")
    middle = (warmest + coldest) / 2.0
    total = np.count_nonzero(np.isfinite(middle))

    def tell(told: str, where: Flags) -> None:
        if count := np.count_nonzero(where):
            notes.append(told if count >= total else f"{told} ({count} days)")

    measured_mean = series.value("air_temperature_mean_c")
    tell("mean air temperature from its extremes", np.isnan(measured_mean) & np.isfinite(middle))
    mean = np.where(np.isnan(measured_mean), middle, measured_mean)
    day_of_year = np.array([day.timetuple().tm_yday for day in series.days])
    latitude, elevation = series.latitude, series.elevation_m
    if latitude is None:
        latitude = latitude_from_radiation(series.value("shortwave_mj"), day_of_year, np.array([day.month for day in series.days]))
        notes.append(f"latitude read off the measured radiation: {latitude:g}")
    if elevation is None:
        elevation = 0.0
        notes.append("elevation taken as 0 m")
    dry = series.value("relative_humidity_min_percent")
    evaporation = evaporation_of_days(
        {
            "air_temperature_max_c": warmest,
            "air_temperature_min_c": coldest,
            "relative_humidity_max_percent": series.value("relative_humidity_max_percent"),
            "relative_humidity_min_percent": dry,
            "shortwave_mj": series.value("shortwave_mj"),
            "wind_speed_ms": series.value("wind_speed_2m_ms"),
        },
        day_of_year=day_of_year,
        place=Place(latitude, 0.0, elevation),
        wind_height_m=2.0,
    )
    for told, where in evaporation.notes():
        tell(told, where)
    pressure, wind = evaporation.vapour_pressure_kpa, evaporation.wind_speed_2m_ms
    driest = np.where(np.isnan(dry), np.clip(100.0 * pressure / humidity.saturation_vapour_pressure(warmest), 0.0, 100.0), dry)
    rain = series.value("precipitation_mm")
    day = WeatherDay(warmest, coldest, pressure, wind, evaporation.shortwave_mj, day_of_year, latitude, elevation)
    heat = soil_heat.heat_weather(day, air_temperature_mean_c=mean, water_mm=rain)
    possible = check({"et0_mm": heat.et0_mm, "rain_mm": rain}, DAY_RANGES, ())
    for told, where in possible.removed:
        tell(f"{told}, soil water held", where)
    unknown = np.isnan(rain) | np.isnan(heat.et0_mm) | np.isnan(mean)
    if unknown.any():
        held = np.count_nonzero(unknown)
        notes.append(f"soil water held on {held} days without rain or temperature (for soil temperature they count as dry)")
    known = ~unknown & np.logical_and.reduce([np.isfinite(values) for values in possible.values.values()])
    return MeasuredWeather(rain, driest, coldest, heat, known), notes


def latitude_from_radiation(shortwave_mj: Floats, day_of_year: Whole, month: Whole) -> float:
    """Latitude [degrees north] at which clear days are equally clear all year; arrays of shape (day,).

    Within 2° at eleven of thirteen stations of the US Climate Reference Network, 4° and 10° off under cloudy winters; it enters the
    longwave term of ET0 alone. Status: assumption, for files that do not say where they are.
    """
    used = np.isfinite(shortwave_mj)
    best, found = np.inf, 0.0
    for latitude in np.arange(-65.0, 65.5, 0.5):
        share = shortwave_mj[used] / np.maximum(radiation.extraterrestrial_radiation(latitude, day_of_year[used].astype(np.float64)), 0.1)
        clear = np.array([np.percentile(share[month[used] == m], 90) for m in np.unique(month[used])])
        spread = float(clear.std() / clear.mean())
        if spread < best:
            best, found = spread, float(latitude)
    return found
