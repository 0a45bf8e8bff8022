"""Hours of a station or a frame: where the sun stands, what they cannot be, and their reference evapotranspiration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics import evapotranspiration, radiation
from forecaster.physics.evapotranspiration import FAO56, Variant
from forecaster.quantities import Origin
from forecaster.units import MEGAJOULES_PER_WATT_HOUR
from forecaster.weather import procedures
from forecaster.weather.frame import AIR_TEMPERATURE, ORIGIN_CODES, SHORTWAVE, VARIABLES, WIND_SPEED, HourlyWeather, TakenOut
from forecaster.weather.place import Place
from forecaster.weather.procedures import Circumstances
from forecaster.weather.quality import HOURLY_CHECKS, STATION_HOUR_RANGES, TAKEN_OUT, Checked, check
from forecaster.weather.series_checks import INSTRUMENT_CHECKS
from forecaster.weather.station_days import Evaporation

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# A day needs this many hours of temperature before its lowest one counts as the day's. Status: assumption, as in daily.
TEMPERATURE_HOURS_AT_LEAST = 20


@dataclass(frozen=True)
class HourlySun:
    """Where the sun stands in the middle of each hour; shape (hour,)."""

    day_of_year: npt.NDArray[Any]
    angle_rad: Floats
    sunset_angle_rad: Floats
    extraterrestrial_mj: Floats


def hourly_sun(index: pd.DatetimeIndex, place: Place) -> HourlySun:
    """The sun of UTC hours labelled by their start. Source: FAO-56 eqs 25-33. Status: published."""
    day_of_year = index.day_of_year.to_numpy()
    angle = radiation.solar_time_angle(index.hour.to_numpy() + 0.5, place.longitude, 0.0, day_of_year)
    return HourlySun(
        day_of_year=day_of_year,
        angle_rad=angle,
        sunset_angle_rad=radiation.sunset_hour_angle(place.latitude, day_of_year),
        extraterrestrial_mj=radiation.extraterrestrial_radiation_hourly(place.latitude, day_of_year, angle),
    )


def checked_hours(series: Mapping[str, Floats], sun: HourlySun) -> Checked:
    """Hourly series with impossible values taken out; see quality."""
    constant = radiation.SOLAR_CONSTANT_MJ_PER_MIN * 60.0 / MEGAJOULES_PER_WATT_HOUR
    compared = {
        "extraterrestrial_wm2": sun.extraterrestrial_mj / MEGAJOULES_PER_WATT_HOUR,
        "solar_constant_wm2": constant * radiation.inverse_relative_distance(sun.day_of_year),
    }
    return check({**series, **compared}, STATION_HOUR_RANGES, HOURLY_CHECKS)


def checked_frame(frame: HourlyWeather, place: Place) -> tuple[HourlyWeather, tuple[tuple[str, Flags], ...]]:
    """The frame without impossible values, its notes saying which rule struck how often; and where each struck, shape (hour,).

    What was taken out of its sources before they were joined counts too.
    """
    index = pd.DatetimeIndex(frame.values.index)
    checked = checked_hours({name: frame.values[name].to_numpy(dtype=np.float64) for name in VARIABLES}, hourly_sun(index, place))
    values = pd.DataFrame({name: checked.values[name] for name in VARIABLES}, index=index, columns=list(VARIABLES))
    origins = frame.origins.where(values.notna(), 0).astype(np.int8)
    counts = ((told, int(where.sum())) for told, where in checked.removed)
    notes = tuple(f"{count} {'hour' if count == 1 else 'hours'}: {told}." for told, count in counts)
    before = {taken.told: np.asarray(index.isin(taken.hours)) for taken in frame.taken_out}
    return replace(frame, values=values, origins=origins, notes=(*frame.notes, *notes)), (*before.items(), *checked.removed)


def checked_source(frame: HourlyWeather, place: Place) -> HourlyWeather:
    """The frame of one source without values that cannot be, for others to fill in; ``taken_out`` keeps what stood there, and why.

    Everything is checked for what no weather can be; what was observed is also checked as an instrument's series
    (``series_checks.INSTRUMENT_CHECKS``), on its own, without what is forecast beside it.
    """
    index = pd.DatetimeIndex(frame.values.index)
    sun = hourly_sun(index, place)
    before = {name: frame.values[name].to_numpy(dtype=np.float64) for name in VARIABLES}
    checked = checked_hours(before, sun)
    values = {name: checked.values[name].copy() for name in VARIABLES}
    found = [
        _taken(name, told, index, before[name], where & ~np.isnan(before[name]), more.check, more.limits, more.basis)
        for (told, where), more in zip(checked.removed, checked.struck, strict=True)
        for name in more.removes
    ]
    observed = frame.origins.to_numpy() == ORIGIN_CODES[Origin.OBSERVED]
    if observed.any():
        measured = {name: np.where(observed[:, column], values[name], np.nan) for column, name in enumerate(VARIABLES)}
        top = sun.extraterrestrial_mj / MEGAJOULES_PER_WATT_HOUR
        measured |= {"extraterrestrial_wm2": top, "clear_sky_wm2": radiation.clear_sky_radiation(top, place.elevation_m)}
        for check_ in INSTRUMENT_CHECKS:
            where = check_.strikes(measured)
            if where.any():
                told, name = f"{check_.told}{TAKEN_OUT}", check_.removes
                basis = f"{check_.source} ({check_.status})"
                found.append(_taken(name, told, index, before[name], where, check_.check, check_.limits, basis))
                measured[name][where] = np.nan
                values[name][where] = np.nan
    table = pd.DataFrame(values, index=index, columns=list(VARIABLES))
    origins = frame.origins.where(table.notna(), 0).astype(np.int8)
    return replace(frame, values=table, origins=origins, taken_out=(*frame.taken_out, *(taken for taken in found if len(taken.hours))))


def _taken(name: str, told: str, index: pd.DatetimeIndex, before: Floats, where: Flags, check: str, limits: str, basis: str) -> TakenOut:
    return TakenOut(name, told, index[where], before[where], check, limits, basis)


def evaporation_of_hours(
    series: Mapping[str, Floats],
    index: pd.DatetimeIndex,
    *,
    place: Place,
    wind_height_m: float,
    variant: Variant = FAO56,
    circumstances: Circumstances = Circumstances(),  # noqa: B008 - frozen
) -> Evaporation:
    """ET0 of consecutive UTC hours, impossible values taken out and missing ones filled by FAO-56 chapters 3 and 4.

    ``series``: names of ``quality.STATION_HOUR_RANGES``, shape (hour,), NaN = missing; air temperature is needed. A missing humidity or
    radiation comes from the temperatures of the day by the sun's time, radiation shared out as the sun stands. Rs/Rso of the night is
    that of the late afternoon before it. Raises ValueError for a wind height outside 0.5 to 200 m. Source: FAO-56 eqs 28-33, 45, 46, 53
    and ch. 3-4. Status: published; sharing out: assumption.
    """
    sun = hourly_sun(index, place)
    checked = checked_hours(series, sun)
    known = dict(checked.values)
    if SHORTWAVE in known:
        known["shortwave_mj"] = known[SHORTWAVE] * MEGAJOULES_PER_WATT_HOUR
    if WIND_SPEED in known:
        known["wind_speed_2m_ms"] = evapotranspiration.wind_speed_at_2m(known[WIND_SPEED], wind_height_m)
    known |= _of_the_day(known[AIR_TEMPERATURE], index, place, circumstances) | {"extraterrestrial_mj": sun.extraterrestrial_mj}
    resolved = procedures.resolve(procedures.HOURLY, known, circumstances, (len(index),))
    shortwave = resolved.values[procedures.SHORTWAVE_AMOUNT]
    ratio, assumed = radiation.cloud_ratio_of_hours(
        shortwave,
        radiation.clear_sky_radiation(sun.extraterrestrial_mj, place.elevation_m),
        sun.angle_rad,
        sun.sunset_angle_rad,
        limits=replace(variant.limits, without_sun=circumstances.night_cloud_ratio),
    )
    hour = evapotranspiration.WeatherHour(
        air_temperature_c=known[AIR_TEMPERATURE],
        vapour_pressure_kpa=resolved.values[procedures.VAPOUR_PRESSURE],
        wind_speed_2m_ms=resolved.values[procedures.WIND_2M],
        shortwave_mj=shortwave,
        cloud_ratio=ratio,
        extraterrestrial_mj=sun.extraterrestrial_mj,
        elevation_m=place.elevation_m,
    )
    et0 = evapotranspiration.reference_evapotranspiration_of_hour(hour, variant=variant)
    return Evaporation(
        et0_mm=et0,
        vapour_pressure_kpa=resolved.values[procedures.VAPOUR_PRESSURE],
        shortwave_mj=shortwave,
        wind_speed_2m_ms=resolved.values[procedures.WIND_2M],
        resolved=resolved,
        removed=checked.removed,
        assumed=((procedures.NIGHT_CLOUD_ASSUMED, assumed & np.isfinite(et0)),),
    )


def _of_the_day(air_temperature_c: Floats, index: pd.DatetimeIndex, place: Place, circumstances: Circumstances) -> dict[str, Floats]:
    """What the procedures need of the day (by the sun's time) to which each hour belongs, shape (hour,)."""
    by_sun = pd.DatetimeIndex(index + pd.Timedelta(hours=place.longitude / 15.0))
    number, first = np.unique(by_sun.normalize().asi8, return_index=True)
    day = np.searchsorted(number, by_sun.normalize().asi8)
    groups = pd.Series(air_temperature_c).groupby(day)
    enough = (groups.count() >= TEMPERATURE_HOURS_AT_LEAST).to_numpy()
    cold, warm = np.where(enough, groups.min(), np.nan), np.where(enough, groups.max(), np.nan)
    top = radiation.extraterrestrial_radiation(place.latitude, by_sun.day_of_year.to_numpy()[first])
    series = {
        "air_temperature_min_c": cold,
        "air_temperature_max_c": warm,
        "extraterrestrial_mj": top,
        "clear_sky_mj": radiation.clear_sky_radiation(top, place.elevation_m),
    }
    shortwave = procedures.resolve(procedures.DAILY, series, circumstances, cold.shape).values[procedures.SHORTWAVE_AMOUNT]
    return {
        "air_temperature_min_c": cold[day],
        "shortwave_of_day_mj": shortwave[day],
        "extraterrestrial_of_day_mj": top[day],
    }
