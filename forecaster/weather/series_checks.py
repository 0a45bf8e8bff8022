"""What a series of hours cannot be, declared as data: steps, stuck sensors, a bucket that was knocked, dead or misplaced sun.

Only for instruments: a model has no sensor that sticks, and repeats values for good reasons. Limits are wide on purpose: what is taken out
is a fault, not rare weather. They are run over measured series in the tests, and take nothing out of those.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from forecaster.physics import humidity
from forecaster.weather import frame

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Status = Literal["published", "practice", "assumption"]
Check = Literal["step", "persistence", "clear sky", "humidity against dew point", "tipping bucket", "unit mix-up"]

# A value that jumps and comes back within this time was a spike; one that stays has jumped once.
BACK_WITHIN_HOURS = 3
DAY = 24


@dataclass(frozen=True)
class HourCheck:
    """What is looked for in the hours themselves, before their values. ``told``: what is done about it."""

    check: Literal["doubled hours", "missing hours"]
    told: str
    source: str
    status: Status
    least_hours: int = 1


# Two lines of one time that agree are one; of two that do not, which is right cannot be known, so the first one read stands.
DOUBLED_HOURS = HourCheck(
    "doubled hours",
    "the first line of a time stands, another one that says otherwise is not used",
    "common practice, no source",
    "practice",
)
# A gap is never bridged by the instrument itself: the next source fills it in, or it stays missing. Told from this length on.
MISSING_HOURS = HourCheck("missing hours", "other sources fill in what they know", "own choice", "assumption", least_hours=3)


@dataclass(frozen=True)
class SeriesCheck:
    """One check of hourly series in order of time.

    ``needs``: series it is called with, after ``limit``; ``removes``: the variable whose values it takes out. ``for_hours``: how long a
    state must last, where that matters. ``source`` and ``status``: where limit and duration come from.
    """

    check: Check
    removes: str
    needs: tuple[str, ...]
    limit: float
    unit: str
    told: str
    source: str
    status: Status
    fails: Callable[..., Flags]
    for_hours: int | None = None

    @property
    def limits(self) -> str:
        """Limit and duration in words."""
        lasting = f", {self.for_hours} hours" if self.for_hours is not None else ""
        return f"{self.limit:g} {self.unit}{lasting}"

    def strikes(self, series: dict[str, Floats]) -> Flags:
        """Where the check strikes; NaN never does."""
        arrays = [series[name] for name in self.needs]
        duration = () if self.for_hours is None else (self.for_hours,)
        return self.fails(self.limit, *duration, *arrays)


def jumps(limit: float, values: Floats) -> Flags:
    """Values that changed by more than ``limit`` from one hour to the next: all until they come back, else the first after the jump.

    A change over missing hours is not looked at.
    """
    struck = np.zeros(len(values), dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        steps = np.flatnonzero(np.abs(np.diff(values)) > limit) + 1
    for step in steps.tolist():
        if struck[step - 1]:
            continue  # the way back from a spike
        if step >= 2 and abs(values[step] - values[step - 2]) <= limit / 2.0:
            struck[step - 1] = True  # the value before was the odd one, by a little less than the limit on its own way
            continue
        before = values[step - 1]
        ahead = values[step + 1 : step + 1 + BACK_WITHIN_HOURS]
        back = np.flatnonzero(np.abs(ahead - before) <= limit)
        struck[step : step + 1 + (int(back[0]) if back.size else 0)] = True
    return struck & np.isfinite(values)


def stuck(least: float, hours: int, values: Floats, *, most: float = np.inf) -> Flags:
    """Runs of one and the same value, from ``least`` to ``most``, that last at least so many hours without a gap."""
    looked_at = np.isfinite(values) & (values >= least) & (values <= most)
    with np.errstate(invalid="ignore"):
        same = np.concatenate(([False], (np.diff(values) == 0.0) & looked_at[1:] & looked_at[:-1]))
    return _long_runs(looked_at, same, hours)


def stays_below(limit: float, hours: int, values: Floats) -> Flags:
    """Runs of values at or below a limit that last at least so many hours without a gap."""
    low = np.isfinite(values) & (values <= limit)
    return _long_runs(low, np.concatenate(([False], low[1:] & low[:-1])), hours)


def _long_runs(member: Flags, goes_on: Flags, hours: int) -> Flags:
    """Members of runs of at least so many; a run begins where ``goes_on`` is False."""
    run = np.cumsum(~goes_on)
    length = np.bincount(run[member], minlength=int(run[-1]) + 1 if len(run) else 0)
    return member & (length[run] >= hours) if len(run) else member


def _stuck_below_saturation(least: float, hours: int, values: Floats) -> Flags:
    return stuck(least, hours, values, most=95.0)


def _sun_at_night(limit: float, shortwave: Floats, top: Floats) -> Flags:
    """More than ``limit`` in an hour that lies between two others without any sun."""
    dark = top <= 0.0
    before, after = np.concatenate(([False], dark[:-1])), np.concatenate((dark[1:], [False]))
    return dark & before & after & (shortwave > limit)


def _sums_of_day(values: Floats) -> Floats:
    """Sum of the 24 hours up to each, NaN where one is missing or before there are 24."""
    sums = np.full(len(values), np.nan)
    if len(values) >= DAY:
        sums[DAY - 1 :] = np.lib.stride_tricks.sliding_window_view(values, DAY).sum(axis=1)
    return sums


def _dead_sun(share: float, hours: int, shortwave: Floats, top: Floats) -> Flags:
    """Days on end without light: a window of ``hours`` with less than a share of what the sun sends to the top of the atmosphere."""
    struck = np.zeros(len(shortwave), dtype=np.bool_)
    if len(shortwave) < hours:
        return struck
    seen = np.lib.stride_tricks.sliding_window_view(shortwave, hours).sum(axis=1)
    sent = np.lib.stride_tricks.sliding_window_view(top, hours).sum(axis=1)
    enough = sent > hours / DAY * LIT_DAY_WHM2
    for start in np.flatnonzero(enough & (seen < share * sent)).tolist():
        struck[start : start + hours] = True
    return struck & (top > 0.0) & (shortwave <= share * top)


def _too_bright(share: float, hours: int, shortwave: Floats, clear: Floats) -> Flags:
    """A window of ``hours`` with more than a share of a clear sky's radiation, plus what lets dark winter days be."""
    struck = np.zeros(len(shortwave), dtype=np.bool_)
    above = _sums_of_day(shortwave) > share * _sums_of_day(clear) + BRIGHT_EXTRA_WHM2
    for end in np.flatnonzero(above).tolist():
        struck[end - hours + 1 : end + 1] = True
    return struck & (shortwave > 0.0)


def _does_not_fit(limit: float, dew: Floats, air: Floats, relative: Floats) -> Flags:
    with np.errstate(invalid="ignore", over="ignore"):
        by_dew = 100.0 * humidity.vapour_pressure_from_dew_point(dew) / humidity.saturation_vapour_pressure(air)
        return np.abs(by_dew - relative) > limit


def _burst_in_dry_air(limit: float, rain: Floats, relative: Floats) -> Flags:
    """So much in one hour, between two hours without any, in air that stays dry."""
    before, after = np.concatenate(([np.nan], rain[:-1])), np.concatenate((rain[1:], [np.nan]))
    return (rain >= limit) & (before == 0.0) & (after == 0.0) & (relative < DRY_AIR_PERCENT)


LIT_DAY_WHM2 = 1400.0
"""A day on which the sun sends less than this (5 MJ/m²) to the top of the atmosphere may well look dark. Assumption."""
BRIGHT_EXTRA_WHM2 = 280.0
"""1 MJ/m², as in the check of days."""
DRY_AIR_PERCENT = 50.0
"""Rain wets the air: no hour with a real shower ends as dry. Assumption."""

_WMO = "idea: WMO-No. 8, automatic weather stations; limit for hours"
_QARTOD = "idea: QARTOD rate of change; limit"
_STUCK = "idea: WMO-No. 8 persistence, QARTOD flat line; duration"

INSTRUMENT_CHECKS: tuple[SeriesCheck, ...] = (
    SeriesCheck(
        "unit mix-up", frame.RELATIVE_HUMIDITY, (frame.RELATIVE_HUMIDITY,), 1.5, "%",
        "humidity stays below 1.5 %: a fraction taken for percent", "no air is so dry for a day", "assumption", stays_below, 24,
    ),
    SeriesCheck(
        "step", frame.AIR_TEMPERATURE, (frame.AIR_TEMPERATURE,), 20.0, "°C in an hour",
        "air temperature jumps", _WMO, "assumption", jumps,
    ),
    SeriesCheck("step", frame.DEW_POINT, (frame.DEW_POINT,), 25.0, "°C in an hour", "dew point jumps", _WMO, "assumption", jumps),
    SeriesCheck(
        "step", frame.RELATIVE_HUMIDITY, (frame.RELATIVE_HUMIDITY,), 85.0, "% in an hour", "humidity jumps", _WMO, "assumption", jumps,
    ),
    SeriesCheck("step", frame.WIND_SPEED, (frame.WIND_SPEED,), 30.0, "m/s in an hour", "wind jumps", _WMO, "assumption", jumps),
    SeriesCheck(
        "step", frame.SOIL_TEMPERATURE, (frame.SOIL_TEMPERATURE,), 12.0, "°C in an hour",
        "soil temperature jumps", _QARTOD, "assumption", jumps,
    ),
    SeriesCheck(
        "persistence", frame.AIR_TEMPERATURE, (frame.AIR_TEMPERATURE,), -80.0, "°C or more, one value",
        "air temperature is stuck", _STUCK, "assumption", stuck, 36,
    ),
    SeriesCheck(
        "persistence", frame.DEW_POINT, (frame.DEW_POINT,), -80.0, "°C or more, one value", "dew point is stuck", _STUCK, "assumption",
        stuck, 48,
    ),
    SeriesCheck(
        "persistence", frame.RELATIVE_HUMIDITY, (frame.RELATIVE_HUMIDITY,), 0.0, "to 95 %, one value",
        "humidity is stuck", f"{_STUCK} (saturated air may stay so)", "assumption", _stuck_below_saturation, 36,
    ),
    SeriesCheck(
        "persistence", frame.WIND_SPEED, (frame.WIND_SPEED,), 0.3, "m/s or more, one value", "wind is stuck", _STUCK, "assumption",
        stuck, 24,
    ),
    SeriesCheck(
        "persistence", frame.WIND_SPEED, (frame.WIND_SPEED,), 0.2, "m/s or less", "no wind for a week: the anemometer is stuck",
        "idea: FAO-56 annex 5, wind that stays below 0.5 m/s; a week", "assumption", stays_below, 168,
    ),
    SeriesCheck(
        "persistence", frame.SHORTWAVE, (frame.SHORTWAVE,), 20.0, "W/m² or more, one value",
        "radiation is stuck", _STUCK, "assumption", stuck, 8,
    ),
    SeriesCheck(
        "persistence", frame.SOIL_TEMPERATURE, (frame.SOIL_TEMPERATURE,), 2.0, "°C or more, one value",
        "soil temperature is stuck", f"{_STUCK} (soil at 0 °C may stay so for weeks)", "assumption", stuck, 240,
    ),
    SeriesCheck(
        "persistence", frame.PRECIPITATION, (frame.PRECIPITATION,), 1.0, "mm or more, one amount",
        "the very same rain hour after hour", _STUCK, "assumption", stuck, 8,
    ),
    SeriesCheck(
        "clear sky", frame.SHORTWAVE, (frame.SHORTWAVE, "extraterrestrial_wm2"), 30.0, "W/m²",
        "sun in the middle of the night: is the clock right?", "astronomy; 30 W/m²", "assumption", _sun_at_night,
    ),
    SeriesCheck(
        "clear sky", frame.SHORTWAVE, (frame.SHORTWAVE, "clear_sky_wm2"), 1.25, "times a clear sky's",
        "more radiation than a clear sky gives", "FAO-56 annex 5 and eq. 37; the margin", "assumption", _too_bright, 24,
    ),
    SeriesCheck(
        "clear sky", frame.SHORTWAVE, (frame.SHORTWAVE, "extraterrestrial_wm2"), 0.002, "of the sun's at the top of the atmosphere",
        "no light for days: a dead or covered sensor", "idea: FAO-56 annex 5; share and days", "assumption", _dead_sun, 72,
    ),
    SeriesCheck(
        "humidity against dew point", frame.DEW_POINT, (frame.DEW_POINT, frame.AIR_TEMPERATURE, frame.RELATIVE_HUMIDITY), 40.0,
        "% of humidity apart", "dew point does not fit temperature and humidity", "FAO-56 eqs 11, 14 and 19; 40 %", "assumption",
        _does_not_fit,
    ),
    SeriesCheck(
        "tipping bucket", frame.PRECIPITATION, (frame.PRECIPITATION, frame.RELATIVE_HUMIDITY), 10.0, "mm in one hour in dry air",
        "a burst between dry hours in dry air: a knocked gauge, or a sprinkler", "common practice, no source; 10 mm and 50 %", "assumption",
        _burst_in_dry_air,
    ),
)  # fmt: skip
