"""Whole days made into hours, for a program that works on hours: a marked assumption, right for sums and extremes of days only.

The day's rain, radiation, highest and lowest temperature come out again when the hours are put together over the same day. No single hour
does more than look like one: rain of a day says nothing of when it fell, and dew or frost of such a night is a guess.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.physics import humidity, radiation
from forecaster.quantities import Origin
from forecaster.sources.nasa_power import SOURCE, DailySeries
from forecaster.units import MEGAJOULES_PER_WATT_HOUR
from forecaster.weather import frame
from forecaster.weather.frame import ORIGIN_CODES, VARIABLES, HourlyWeather
from forecaster.weather.hourly import hourly_sun

Floats = npt.NDArray[np.float64]

HOURS = 24
WIND_HEIGHT_M = 2.0
# By the sun's time. Status: practice (most published waves put the warmest hour at 14 to 15 h).
WARMEST_HOUR = 15
HOURS_NOTE = (
    "NASA POWER gives whole days, of which hours were made: daily total spread over 24 hours (rain), radiation shared out as the sun "
    "stands, temperature as a wave from the lowest at sunrise to the highest at 15:00 by the sun, dew point and wind the same all day. "
    "Only sums and extremes of days can be relied on."
)


def as_hours(series: DailySeries) -> HourlyWeather:
    """Hours of UTC from whole days, all of origin modelled.

    Rain: a twenty-fourth each. Temperature: half cosine waves between the lowest (at sunrise) and the highest (15:00 by the sun's time) of
    the day and of its neighbours, never beyond the day's own: days cut at midnight UTC may jump there. Radiation: in proportion to that at
    the top of the atmosphere. Dew point: the day's, or from the mean humidity by FAO-56 eq. 19, but never above the temperature; humidity
    follows from both. Wind: the day's at 2 m. The sun's time is taken as UTC and a whole number of hours, so days by it may be off by half
    an hour. ``issued_at`` is the end of the last day with a value, so that a source that lags is seen to age. NaN stays NaN. Status:
    assumption; eq. 19: published.
    """
    offset = int(np.floor(series.place.longitude / 15.0 + 0.5))
    # Hours by which the sun's clock is ahead of the clock that cuts the days.
    ahead = 0 if series.time_standard == "LST" else offset
    begins = datetime.combine(series.days[0], time.min, UTC) - timedelta(hours=offset - ahead)
    index = pd.date_range(begins, periods=HOURS * len(series.days), freq="h")

    air = _temperature(series, ahead)
    dew = np.minimum(_dew_point(series)[:, None], air)
    sun = hourly_sun(index, series.place).extraterrestrial_mj.reshape(-1, HOURS)
    whole = sun.sum(axis=1, keepdims=True)
    share = np.divide(sun, whole, out=np.zeros_like(sun), where=whole > 0.0)  # polar night: nothing to share out
    ones = np.ones(HOURS)
    table = {
        frame.AIR_TEMPERATURE: air,
        frame.DEW_POINT: dew,
        # At most 100 %: saturated air must not pass it by rounding, or it would be taken out as impossible.
        frame.RELATIVE_HUMIDITY: np.minimum(
            100.0 * humidity.saturation_vapour_pressure(dew) / humidity.saturation_vapour_pressure(air), 100.0
        ),
        frame.WIND_SPEED: np.outer(series.wind_speed_2m_ms, ones),
        frame.SHORTWAVE: np.maximum(series.shortwave_mj, 0.0)[:, None] * share / MEGAJOULES_PER_WATT_HOUR,
        frame.PRECIPITATION: np.outer(series.precipitation_mm / HOURS, ones),
    }
    values = pd.DataFrame({name: table[name].ravel() if name in table else np.nan for name in VARIABLES}, index=index)
    present = values.notna().to_numpy()
    known = np.flatnonzero(present.any(axis=1))
    return HourlyWeather(
        values=values,
        origins=pd.DataFrame(np.where(present, ORIGIN_CODES[Origin.MODELLED], 0).astype(np.int8), index=index, columns=list(VARIABLES)),
        source=SOURCE,
        issued_at=(index[known[-1]] + pd.Timedelta(hours=1) if known.size else index[0]).to_pydatetime(),
        wind_height_m=WIND_HEIGHT_M,
        notes=(HOURS_NOTE, _days_note(series, offset), *series.notes),
        rough=np.ones(len(index), dtype=np.bool_),
    )


def _temperature(series: DailySeries, ahead: int) -> Floats:
    """Shape (day, hour of the day): waves through each day's lowest and highest; where a neighbour is missing, as if it were the same."""
    low, high = series.air_temperature_min_c, series.air_temperature_max_c
    known = np.isfinite(low) & np.isfinite(high)
    day_of_year = np.array([day.timetuple().tm_yday for day in series.days])
    half_day = radiation.sunset_hour_angle(series.place.latitude, day_of_year) * 12.0 / np.pi
    # A whole hour, so that the lowest itself is one of the values; before the warmest also where the sun does not rise.
    sunrise = np.clip(np.round(12.0 - half_day), 0, 12).astype(np.int64)
    low_at, high_at = (sunrise - ahead) % HOURS, np.full(len(low), (WARMEST_HOUR - ahead) % HOURS)

    # Extremes in the order in which they stand in the day, and the neighbours' nearest.
    low_first = low_at < high_at
    first, first_at = np.where(low_first, low, high), np.where(low_first, low_at, high_at)
    second, second_at = np.where(low_first, high, low), np.where(low_first, high_at, low_at)
    before, before_at = _of_neighbour(second, second_at, known, step=-1)
    after, after_at = _of_neighbour(first, first_at, known, step=1)
    hour = np.arange(HOURS)[None, :]
    waves = [
        _wave(hour, before_at - HOURS, before, first_at, first),
        _wave(hour, first_at, first, second_at, second),
        _wave(hour, second_at, second, after_at + HOURS, after),
    ]
    air = np.where(hour < first_at[:, None], waves[0], np.where(hour < second_at[:, None], waves[1], waves[2]))
    # A neighbour's extreme must not lead beyond the day's own.
    return np.where(known[:, None], np.clip(air, low[:, None], high[:, None]), np.nan)


def _of_neighbour(
    values: Floats, at: npt.NDArray[np.int64], known: npt.NDArray[np.bool_], *, step: int
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """The value and its hour on the day before (-1) or after (1); the day's own where that day is missing."""
    days = np.arange(len(values))
    other = np.clip(days + step, 0, len(values) - 1)
    chosen = np.where(known[other], other, days)
    return values[chosen], at[chosen]


def _wave(
    hour: npt.NDArray[np.int64], start_at: npt.NDArray[np.int64], start: Floats, end_at: npt.NDArray[np.int64], end: Floats
) -> Floats:
    """Half a cosine from one extreme to the next, shape (day, hour); meant for the hours between them."""
    passed = (hour - start_at[:, None]) / (end_at - start_at)[:, None]
    return start[:, None] + (end - start)[:, None] * (1.0 - np.cos(np.pi * passed)) / 2.0


def _dew_point(series: DailySeries) -> Floats:
    """The day's dew point, or the one at which air would be saturated with the vapour that the mean humidity says (FAO-56 eqs 11, 19)."""
    vapour = humidity.vapour_pressure_from_mean_humidity(
        series.air_temperature_max_c, series.air_temperature_min_c, np.maximum(series.relative_humidity_mean_percent, 1.0)
    )
    power = np.log(vapour / 0.6108)  # eq. 11 solved for the temperature
    return np.where(np.isfinite(series.dew_point_c), series.dew_point_c, 237.3 * power / (17.27 - power))


def _days_note(series: DailySeries, offset: int) -> str:
    if series.time_standard == "UTC":
        return "Its days run from midnight to midnight UTC."
    return f"Its days run from midnight to midnight by the sun's time at the place, taken as UTC{offset:+d} h."
