"""Invented weather and soil states by hand, so that rules and outlooks are tested without a simulation. Every number here is ours."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.documents import WeatherStatus
from forecaster.ground.ground import Ground, WeatherChoice
from forecaster.ground.ring import Ring
from forecaster.ground.rootzone import RootZone, TurfType
from forecaster.ground.surface import Irrigation, Surface
from forecaster.quantities import Origin, Severity
from forecaster.risk.judgement import SurfaceRun
from forecaster.risk.rule import Condition, Rule, SeverityBand
from forecaster.soil.simulate import Simulation
from forecaster.soil.state import SoilState
from forecaster.weather.daily import DailyWeather
from forecaster.weather.frame import ORIGIN_CODES

TODAY = date(2026, 9, 28)  # a Monday
ISSUED = datetime(2026, 9, 28, 4, 30, tzinfo=UTC)
RULES_FILE = Path(__file__).resolve().parents[2] / "config" / "rules.toml"

FRESH = WeatherStatus(
    state="fresh", text="The weather is 2 hours old.", source="invented", attribution="invented", licence="none", age_hours=2.0, sample=True
)
STALE = FRESH.model_copy(update={"state": "stale", "text": "The weather is 31 hours old.", "age_hours": 31.0})
MISSING = FRESH.model_copy(update={"state": "missing", "text": "No weather has come for 9 days.", "age_hours": 216.0})

COLUMNS = 2
STATES = {
    "depletion_mm": 3.0,
    "available_water_fraction": 0.8,
    "surface_water_m3m3": 0.20,
    "surface_available_fraction": 0.8,
    "stress_coefficient": 1.0,
    "repellency_log10_s": 0.3,
    "green_cover": 0.95,
    "live_crowns": 1.0,
    "drought_days": 0.0,
    "snow_mm": 0.0,
    "intercepted_mm": 0.0,
}
AMOUNTS = {
    "interception_mm": 0.0,
    "infiltration_mm": 0.0,
    "water_lost_mm": 0.0,
    "runoff_mm": 0.0,
    "bypass_mm": 0.0,
    "drainage_mm": 0.0,
    "evaporation_mm": 0.2,
    "transpiration_mm": 1.5,
    "flush_hazard_per_day": 0.0,
}


def series(default: float, values: dict[int, float] | list[float] | None, count: int) -> np.ndarray:
    """A daily series: a default, replaced by day number or altogether."""
    if isinstance(values, list):
        assert len(values) == count
        return np.array(values, dtype=np.float64)
    found = np.full(count, default, dtype=np.float64)
    for day, value in (values or {}).items():
        found[day] = value
    return found


def daily_weather(first: date, count: int, *, today: date = TODAY, missing: tuple[int, ...] = (), **values: Any) -> DailyWeather:
    """Mild dry days, modelled before today and forecast from today on; ``missing`` day numbers have no weather at all."""
    days = tuple(first + timedelta(days=n) for n in range(count))
    defaults = {
        "rain_mm": 0.0,
        "air_temperature_mean_c": 14.0,
        "air_temperature_min_c": 9.0,
        "air_temperature_max_c": 19.0,
        "vapour_pressure_kpa": 1.2,
        "relative_humidity_min_percent": 50.0,
        "wind_speed_2m_ms": 2.0,
        "shortwave_mj": 12.0,
        "soil_temperature_c": 14.0,
        "et0_mm": 2.0,
        "estimated_share": 0.0,
    }
    arrays = {name: series(default, values.get(name), count) for name, default in defaults.items()}
    for array in arrays.values():
        array[list(missing)] = np.nan
    codes = [ORIGIN_CODES[Origin.MODELLED if day < today else Origin.FORECAST] for day in days]
    complete = ~np.isnan(arrays["rain_mm"]) & ~np.isnan(arrays["et0_mm"])
    origins = np.where(complete, codes, ORIGIN_CODES[Origin.MISSING]).astype(np.int8)
    estimated = tuple(values.get("estimated", {}).get(n, ()) for n in range(count))
    return DailyWeather(days=days, complete=complete, origin_code=origins, estimated=estimated, **arrays)


def simulation(count: int, *, sound: dict[str, Any] | None = None, band: dict[str, Any] | None = None) -> Simulation:
    """Healthy turf in both columns (0 sound, 1 band), replaced per column and series name by day number or altogether."""
    found = {}
    for name, default in (STATES | AMOUNTS).items():
        pair = [series(default, (given or {}).get(name), count) for given in (sound, band)]
        found[name] = np.stack(pair, axis=1)
    # The rules do not look at the final state; it only has to be there.
    state = SoilState(**{field.name: np.zeros(COLUMNS) for field in fields(SoilState)})
    return Simulation(final=state, **found)


def ring(kind: int = 1, *, name: str = "r1") -> Ring:
    return Ring(id=name, centre_x_m=10.0, centre_y_m=12.0, diameter_m=6.0, band_width_m=0.3, type=kind, surveyed=date(2026, 6, 1))


def surface(*rings: Ring, name: str = "main", irrigation: Irrigation | None = None) -> Surface:
    soil = RootZone("sandy loam", 0.23, 0.10, 0.40, 0.20, 0.05, 8.0, 0.6, 1.5, 4.0, 0.1585, 0.1585)
    turf = TurfType("rye", "ryegrass", 0.90, 0.40, 0.95, 0.03, (4.0, 14.0, 26.0, 34.0), 60.0, 45.0)
    return Surface(name, {"main": "Main pitch"}.get(name, name.capitalize()), "football", 100.0, 60.0, soil, turf, irrigation, rings)


def ground(*surfaces: Surface, latitude: float = 52.0) -> Ground:
    return Ground("brackenholt", "Brackenholt", latitude, 8.0, 40.0, ZoneInfo("Europe/Berlin"), WeatherChoice("sample"), surfaces, ())


def run(
    *,
    of: Surface | None = None,
    weather: WeatherStatus = FRESH,
    daily: DailyWeather | None = None,
    states: Simulation | None = None,
    latitude: float = 52.0,
    past: int = 80,
) -> SurfaceRun:
    """A run over ``past`` days, today and the 13 days after; day number ``past`` is today."""
    of = of or surface(ring())
    daily = daily or daily_weather(TODAY - timedelta(days=past), past + 14)
    count = len(daily.days)
    return SurfaceRun(
        ground=ground(of, latitude=latitude),
        surface=of,
        daily=daily,
        simulation=states or simulation(count),
        sound=0,
        band=1,
        irrigation_mm=np.zeros(count),
        weather=weather,
        simulated_from=daily.days[0] if daily.days else TODAY,
    )


def rule(**changes: Any) -> Rule:
    """A rule on ring contrast that needs no more than one day in and out."""
    plain: dict[str, Any] = {
        "id": "rings-showing",
        "title": "Rings showing",
        "quantity": "ring_contrast",
        "raise_at": 0.25,
        "clear_at": 0.15,
        "days_in": 1,
        "days_out": 1,
        "severity_bands": (SeverityBand(Severity.MINOR, 0.25), SeverityBand(Severity.SEVERE, 0.5)),
        "reason": "Contrast {ring_contrast:.2f}.",
        "advice": "Walk the rings.",
        "headline_now": "Rings are showing",
        "headline_ahead": "Rings may show {when}",
        "source": "ours",
    }
    return Rule(**(plain | changes))


def shipped_rules() -> tuple[Rule, ...]:
    """config/rules.toml as rules, cautions still as ids; the checks of the loader are tested with the loader."""
    found = []
    for table in tomllib.loads(RULES_FILE.read_text(encoding="utf-8"))["rule"]:
        bands = tuple(SeverityBand(Severity(word), value) for word, value in table.pop("severity").items())
        conditions = tuple(Condition(**condition) for condition in table.pop("condition", ()))
        tuples = {name: tuple(table.pop(name, ())) for name in ("months", "ring_types", "cautions")}
        found.append(Rule(**table, **tuples, severity_bands=bands, conditions=conditions))
    return tuple(found)
