"""What weather cannot be: ranges of single values and checks of one against another, declared once for everyone who takes weather in.

A value that fails is taken out (NaN), so that the missing-data procedures apply, and the rule that took it out is told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.physics import humidity
from forecaster.weather import frame

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# What a rule's words end with when it took a value out.
TAKEN_OUT = ": taken out"
RANGE_BASIS = "plausible limits of WMO-No. 8, automatic weather stations (published)"


@dataclass(frozen=True)
class Plausible:
    """Limits beyond which a number is a fault and not weather, both included."""

    called: str
    lowest: float
    highest: float
    unit: str

    def __str__(self) -> str:
        return f"{self.lowest:g} to {self.highest:g} {self.unit}"


# Source: WMO guidelines on quality control of automatic weather stations (Zahumensky 2004, taken into WMO-No. 8/488), plausible
# limits; read second-hand. Status: published. Two differ on purpose:
# - radiation may be a little negative: pyranometers cool at night and models round; it is set to 0 afterwards (practice);
# - rain is per hour here. The most ever measured in an hour is 305 mm (Holt, Missouri, 1947; memory).
HOURLY_RANGES: dict[str, Plausible] = {
    frame.AIR_TEMPERATURE: Plausible("air temperature", -80.0, 60.0, "°C"),
    frame.DEW_POINT: Plausible("dew point", -80.0, 35.0, "°C"),
    frame.RELATIVE_HUMIDITY: Plausible("relative humidity", 0.0, 100.0, "%"),
    frame.WIND_SPEED: Plausible("wind speed", 0.0, 75.0, "m/s"),
    frame.SHORTWAVE: Plausible("radiation", -10.0, 1600.0, "W/m²"),
    frame.PRECIPITATION: Plausible("rain", 0.0, 305.0, "mm"),
    frame.SOIL_TEMPERATURE: Plausible("soil temperature", -50.0, 50.0, "°C"),
}
_AIR, _DEW = HOURLY_RANGES[frame.AIR_TEMPERATURE], HOURLY_RANGES[frame.DEW_POINT]
_HUMIDITY, _WIND = HOURLY_RANGES[frame.RELATIVE_HUMIDITY], HOURLY_RANGES[frame.WIND_SPEED]
# Saturated air of 35 °C has 5.6 kPa; no day brings more than 50 MJ/m² even to the top of the atmosphere (FAO-56 annex 2: 45-49, memory).
_VAPOUR = Plausible("vapour pressure", 0.0, 6.0, "kPa")
_AMOUNT = Plausible("radiation", -1.0, 50.0, "MJ/m²/d")
_SUNSHINE = Plausible("sunshine", 0.0, 24.0, "h")
DAILY_RANGES: dict[str, Plausible] = {
    "air_temperature_min_c": Plausible("lowest air temperature", _AIR.lowest, _AIR.highest, "°C"),
    "air_temperature_max_c": Plausible("highest air temperature", _AIR.lowest, _AIR.highest, "°C"),
    "vapour_pressure_kpa": _VAPOUR,
    "dew_point_c": _DEW,
    "dry_bulb_c": Plausible("dry bulb", _AIR.lowest, _AIR.highest, "°C"),
    "wet_bulb_c": Plausible("wet bulb", _AIR.lowest, _AIR.highest, "°C"),
    "relative_humidity_max_percent": Plausible("highest relative humidity", 0.0, 100.0, "%"),
    "relative_humidity_min_percent": Plausible("lowest relative humidity", 0.0, 100.0, "%"),
    "relative_humidity_mean_percent": _HUMIDITY,
    "wind_speed_ms": _WIND,
    "nearby_wind_speed_ms": Plausible("nearby wind speed", _WIND.lowest, _WIND.highest, "m/s"),
    "shortwave_mj": _AMOUNT,
    "nearby_shortwave_mj": Plausible("nearby radiation", _AMOUNT.lowest, _AMOUNT.highest, "MJ/m²/d"),
    "sunshine_h": _SUNSHINE,
    "nearby_sunshine_h": Plausible("nearby sunshine", 0.0, 24.0, "h"),
}
# What a local day can come to after everything was filled and worked out; the simulation takes nothing beyond it. Most rain in a day:
# 1825 mm (Réunion 1966; memory). Evapotranspiration: well above what the hottest dry wind asks for. Status: own limits.
DAY_RANGES: dict[str, Plausible] = {
    "rain_mm": Plausible("rain of the day", 0.0, 2000.0, "mm"),
    "et0_mm": Plausible("evapotranspiration", 0.0, 25.0, "mm"),
    "air_temperature_mean_c": _AIR,
    "air_temperature_min_c": Plausible("lowest air temperature", -90.0, _AIR.highest, "°C"),
    "soil_temperature_c": Plausible("soil temperature", -60.0, 60.0, "°C"),
    "wind_speed_2m_ms": Plausible("wind at 2 m", _WIND.lowest, _WIND.highest, "m/s"),
    "relative_humidity_min_percent": Plausible("lowest relative humidity", 0.0, 105.0, "%"),
}
STATION_HOUR_RANGES: dict[str, Plausible] = HOURLY_RANGES | {"vapour_pressure_kpa": _VAPOUR}

# Two thermometers of 0.3-0.5 °C each may disagree by this much in saturated air. Status: assumption.
DEW_POINT_ABOVE_AIR_C = 0.5
# A day's radiation may pass eq. 37's clear sky in clean mountain air and by reflection from clouds and snow; 1.11 was the most in
# 8 years of AgriMet Fallon and AZMET Maricopa and 12 stations of the US Climate Reference Network. The second number lets dark winter
# days near the polar circle be. Status: assumption.
CLEAR_SKY_SHARE, CLEAR_SKY_EXTRA_MJ = 1.25, 1.0


@dataclass(frozen=True)
class CrossCheck:
    """One value that contradicts another."""

    needs: tuple[str, ...]
    removes: tuple[str, ...]
    told: str
    source: str
    fails: Callable[..., Flags]
    """Called with the series named in ``needs``; NaN must compare as not failing."""
    check: str = "contradiction"


HOURLY_CHECKS: tuple[CrossCheck, ...] = (
    CrossCheck(
        (frame.DEW_POINT, frame.AIR_TEMPERATURE), (frame.DEW_POINT,), "dew point above the air temperature",
        "definition; 0.5 °C: assumption",
        lambda dew, air: dew > air + DEW_POINT_ABOVE_AIR_C,
        "humidity against dew point",
    ),
    # Long & Dutton 2002, physically possible limit of the baseline surface radiation network: 1.5 Sa μ^1.2 + 100 W/m² (memory).
    CrossCheck(
        (frame.SHORTWAVE, "extraterrestrial_wm2", "solar_constant_wm2"), (frame.SHORTWAVE,),
        "more radiation than the sun can give at that hour",
        "BSRN, physically possible limits",
        lambda rs, top, sun: rs > 1.5 * sun * (top / sun) ** 1.2 + 100.0,
        "clear sky",
    ),
)  # fmt: skip
_TEMPERATURES = ("air_temperature_max_c", "air_temperature_min_c")
SHORTWAVE_OF_DAY = CrossCheck(
    ("shortwave_mj", "clear_sky_mj"), ("shortwave_mj",), "more radiation than a clear sky gives",
    "FAO-56 eq. 37 with a margin (assumption)",
    lambda rs, clear: rs > CLEAR_SKY_SHARE * clear + CLEAR_SKY_EXTRA_MJ,
)  # fmt: skip
DAILY_CHECKS: tuple[CrossCheck, ...] = (
    CrossCheck(_TEMPERATURES, _TEMPERATURES, "lowest temperature above the highest", "definition", lambda warm, cold: cold > warm),
    CrossCheck(
        ("dew_point_c", "air_temperature_max_c"), ("dew_point_c",), "dew point above the air temperature", "definition; 0.5 °C: assumption",
        lambda dew, warm: dew > warm + DEW_POINT_ABOVE_AIR_C,
    ),
    CrossCheck(
        ("vapour_pressure_kpa", "air_temperature_max_c"), ("vapour_pressure_kpa",), "vapour pressure above saturation", "definition",
        lambda ea, warm: ea > humidity.saturation_vapour_pressure(warm + DEW_POINT_ABOVE_AIR_C),
    ),
    CrossCheck(
        ("wet_bulb_c", "dry_bulb_c"), ("wet_bulb_c",), "wet bulb above the dry bulb", "definition; 0.5 °C: assumption",
        lambda wet, dry: wet > dry + DEW_POINT_ABOVE_AIR_C,
    ),
    CrossCheck(
        ("relative_humidity_min_percent", "relative_humidity_max_percent"),
        ("relative_humidity_min_percent", "relative_humidity_max_percent"), "lowest relative humidity above the highest", "definition",
        lambda low, high: low > high,
    ),
    CrossCheck(
        ("sunshine_h", "daylight_h"), ("sunshine_h",), "more sunshine than daylight", "FAO-56 eq. 34; half an hour: assumption",
        lambda hours, daylight: hours > daylight + 0.5,
    ),
    SHORTWAVE_OF_DAY,
    CrossCheck(
        ("nearby_shortwave_mj", "clear_sky_mj"), ("nearby_shortwave_mj",),
        "nearby: more radiation than a clear sky gives", SHORTWAVE_OF_DAY.source,
        SHORTWAVE_OF_DAY.fails,
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Struck:
    """Of a rule that struck: which series it took values out of, its kind, its limits and where they come from."""

    removes: tuple[str, ...]
    check: str
    limits: str
    basis: str


@dataclass(frozen=True)
class Checked:
    """Series with every impossible value taken out, and which rule took out what; arrays of one shape."""

    values: dict[str, Floats]
    removed: tuple[tuple[str, Flags], ...]
    """Rule in words, and where it struck."""
    struck: tuple[Struck, ...] = ()
    """More about each of ``removed``, in the same order."""


def check(series: Mapping[str, Floats], ranges: Mapping[str, Plausible], checks: tuple[CrossCheck, ...]) -> Checked:
    """Take impossible values out: first beyond the ranges, then what contradicts another value.

    ``series``: named arrays that broadcast against each other; names without a range (the sun's, say) are only compared with. Infinite
    values count as outside; radiation a little below 0 becomes 0. NaN stays NaN and is no fault.
    """
    values = {name: np.array(array, dtype=np.float64) for name, array in series.items()}
    removed: list[tuple[str, Flags]] = []
    struck: list[Struck] = []
    for name, allowed in ranges.items():
        if name not in values:
            continue
        bad = (values[name] < allowed.lowest) | (values[name] > allowed.highest)
        if bad.any():
            removed.append((f"{allowed.called} not within {allowed}{TAKEN_OUT}", bad))
            struck.append(Struck((name,), "range", str(allowed), RANGE_BASIS))
            values[name][bad] = np.nan
        if "shortwave" in name:
            np.maximum(values[name], 0.0, out=values[name])
    for rule in checks:
        if not all(name in values for name in rule.needs):
            continue
        bad = np.asarray(rule.fails(*(values[name] for name in rule.needs)))
        if bad.any():
            removed.append((f"{rule.told}{TAKEN_OUT}", bad))
            struck.append(Struck(rule.removes, rule.check, rule.told, rule.source))
            for name in rule.removes:
                values[name][bad] = np.nan
    return Checked(values, tuple(removed), tuple(struck))
