"""``forecaster validate``: the model run on stations with measured soil, scored beside two simple rivals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from forecaster.commands.validation_weather import MeasuredWeather, station_weather
from forecaster.errors import ConfigurationError, Mistake, WeatherError
from forecaster.physics import soil_heat
from forecaster.settings.configuration import MODEL, SOILS, TURF
from forecaster.settings.mistakes import Missing, MistakeList, nearest
from forecaster.settings.model import ModelFile
from forecaster.settings.reading import EntryType, check, read_toml
from forecaster.settings.soils import SoilsFile, TurfFile
from forecaster.soil import skill
from forecaster.soil.columns import ModelParameters, stack
from forecaster.soil.simulate import simulate
from forecaster.soil.state import first_guess
from forecaster.sources.station_file import StationSeries, joined, our_names, read_station_file

Floats = npt.NDArray[np.float64]

SURFACE, ROOT_ZONE, TEMPERATURE = "surface_water", "root_zone_water", "soil_temperature_5cm"
SEASON, RAIN_INDEX = "seasonal_mean", "antecedent_precipitation"

TURF_ID = "cool-season"
# A probe at 5 cm feels a few centimetres above and below itself: the layer whose middle it lies in. Status: assumption.
SURFACE_DEPTH_M = 0.10
# Grass that nobody mows short: the shallow end of FAO-56 Table 22, 0.5-1.0 m for turf.
ROOT_DEPTH_M = 0.50
SPIN_UP_DAYS = 365
# A depth that is missing more often than this says nothing about the root zone.
MEASURED_SHARE = 0.5
# A latitude can be read off a year of sunshine to within a degree or two, not off a season.
RADIATION_DAYS_AT_LEAST = 300


@dataclass(frozen=True)
class Materials:
    """What the columns are made of, from config/."""

    soil: skill.SoilContents | None
    """Of the chosen class; None: each series gives its own."""
    evaporable_share: float
    column: Mapping[str, float]
    """Numbers of a column that do not depend on its water contents."""
    model: ModelParameters


@dataclass(frozen=True)
class StationResult:
    """One station: its scores and those of the rivals, what its soil was taken to be, and what had to be estimated.

    Scores are None where nothing could be scored, with the reason in ``notes``.
    """

    id: str
    days: int
    humid: bool
    water: Mapping[str, skill.WaterScores | None]
    temperature: skill.TemperatureScores | None
    rivals: Mapping[str, Mapping[str, skill.WaterScores | None]]
    contents: Mapping[str, skill.SoilContents]
    root_zone_depths_cm: tuple[int, ...]
    notes: tuple[str, ...]


def read_mapping(pairs: Sequence[str]) -> dict[str, str]:
    """``NAME=COLUMN`` as given on the command line, by name. Raises ConfigurationError with every mistake."""
    mistakes = MistakeList()
    columns: dict[str, str] = {}
    for pair in pairs:
        name, sign, column = (part.strip() for part in pair.partition("="))
        if not sign or not name or not column:
            mistakes.add("command line", "--map", pair, "NAME=COLUMN, the name being one of " + ", ".join(our_names()))
        elif name in columns:
            mistakes.add("command line", "--map", pair, f"one column for {name}, not two")
        else:
            columns[name] = column
    mistakes.raise_if_any()
    return columns


def read_files(folder: Path, mistakes: MistakeList) -> tuple[SoilsFile | None, TurfFile | None, ModelFile | None]:
    """The three files of a configuration folder that say what columns are made of; None and a mistake noted for what cannot be used."""

    def read(model: type[EntryType], file: str) -> EntryType | None:
        data = read_toml(folder / file, file, mistakes)
        return None if data is None else check(model, data, file, mistakes)

    return read(SoilsFile, SOILS), read(TurfFile, TURF), read(ModelFile, MODEL)


def read_materials(folder: Path, soil_class: str | None) -> Materials:
    """Read soils, turf and model from a configuration folder. Raises ConfigurationError with every mistake, an unknown class among them."""
    mistakes = MistakeList()
    soils, turf, model = read_files(folder, mistakes)
    known = {} if soils is None else {soil.id: soil for soil in soils.soil}
    kinds = {} if turf is None else {kind.id: kind for kind in turf.turf}
    if soil_class is not None and soils is not None and soil_class not in known:
        mistakes.add("command line", "--soil", soil_class, nearest(soil_class, known))
    if turf is not None and TURF_ID not in kinds:
        mistakes.add(TURF, "turf", TURF_ID, "a turf of this id: it stands for the grass of the stations")
    mistakes.raise_if_any()
    if soils is None or model is None:
        raise AssertionError("a file that cannot be used has a mistake noted")
    soil, kind = known.get(soil_class or ""), kinds[TURF_ID]
    told = soils.default.model_dump() | (soil.model_dump(exclude_none=True) if soil else {})
    starts, full, falls, stops = kind.growth_ramp_c
    return Materials(
        soil=skill.SoilContents(soil.field_capacity_m3m3, soil.wilting_point_m3m3, soil.saturation_m3m3) if soil else None,
        evaporable_share=soil.evaporable_share if soil else soils.default.evaporable_share,
        column={
            **{name: told[name] for name in ("drains_per_day", "percolation_limit_mm", "exchange_per_day")},
            "basal_crop_coefficient": kind.basal_crop_coefficient,
            "depletion_fraction": kind.depletion_fraction,
            "ground_cover": kind.ground_cover,
            "turf_height_m": kind.height_m,
            "interception_mm": kind.interception_mm,
            "crown_endurance_days": kind.crown_endurance_sound_days,
            "growth_starts_c": starts,
            "growth_full_c": full,
            "growth_falls_c": falls,
            "growth_stops_c": stops,
        },
        model=ModelParameters(**model.model_dump()),
    )


def read_stations(
    files: Sequence[Path], *, columns: Mapping[str, str], latitude: float | None, elevation_m: float | None, soil_needed: bool = True
) -> list[StationSeries]:
    """Read all files; a station may go on from one to the next, and a place they do not give is taken from the arguments.

    Raises ConfigurationError with the mistakes of every file.
    """
    mistakes = MistakeList()
    stations: dict[str, StationSeries] = {}
    for file in files:
        try:
            found = read_station_file(file, columns=columns, soil_needed=soil_needed)
        except WeatherError as error:
            mistakes.found.append(Mistake(file.name, "(file)", error.message, error.hint))
            continue
        for series in found:
            try:
                stations[series.id] = joined(stations[series.id], series) if series.id in stations else series
            except ValueError as error:
                mistakes.add(file.name, "date", str(error), "each day of a station once")
    placed = []
    for series in stations.values():
        place = replace(
            series,
            latitude=series.latitude if series.latitude is not None else latitude,
            elevation_m=series.elevation_m if series.elevation_m is not None else elevation_m,
        )
        if place.latitude is None and np.isfinite(place.value("shortwave_mj")).sum() < RADIATION_DAYS_AT_LEAST:
            mistakes.add("stations", f"latitude of {place.id}", Missing(), "a column, or --latitude with degrees north")
        placed.append(place)
    if mistakes.found:
        raise ConfigurationError(mistakes.found, hint="Correct the files or the mapping; nothing was done.")
    return placed


def score_station(series: StationSeries, materials: Materials) -> StationResult:
    """Run the model on a station's weather and score it. Of the measured soil it sees the odd months' percentiles, or nothing."""
    weather, notes = station_weather(series)
    month = np.array([day.month for day in series.days])
    day_of_year = np.array([day.timetuple().tm_yday for day in series.days])
    measured_temperature = series.value("soil_temperature_5cm_c")
    unfrozen = np.where(np.isnan(measured_temperature), weather.heat.air_temperature_mean_c, measured_temperature) > 0.0
    fitted, scored = skill.fitted_days(month, unfrozen), skill.scored_days(month, unfrozen)

    spin_up = slice(0, min(SPIN_UP_DAYS, len(series.days)))
    _, warmed_up = soil_heat.simulated_soil_temperature(weather.heat.on(spin_up))
    temperature, _ = soil_heat.simulated_soil_temperature(weather.heat, state=warmed_up)

    measured: dict[str, Floats] = {}
    depths: tuple[int, ...] = ()
    if 5 in series.soil_water_m3m3:
        measured[SURFACE] = series.soil_water_m3m3[5]
    deepest = 100.0 * ROOT_DEPTH_M
    usable = {
        depth: water
        for depth, water in series.soil_water_m3m3.items()
        if depth <= deepest and all(days.any() and np.isfinite(water[days]).mean() >= MEASURED_SHARE for days in (fitted, scored))
    }
    if usable:
        measured[ROOT_ZONE], weights = skill.root_zone_mean(usable, ROOT_DEPTH_M)
        depths = tuple(weights)

    scores: dict[str, skill.WaterScores | None] = {SURFACE: None, ROOT_ZONE: None}
    rivals: dict[str, dict[str, skill.WaterScores | None]] = {SEASON: dict(scores), RAIN_INDEX: dict(scores)}
    contents: dict[str, skill.SoilContents] = {}
    if np.count_nonzero(weather.known) < skill.FITTED_DAYS_AT_LEAST:
        notes.append(f"water not scored: fewer than {skill.FITTED_DAYS_AT_LEAST} days with rain and temperature")
        measured = {}
    for name, water in measured.items():
        found = materials.soil or skill.contents_from_series(water, fitted)
        if found is None:
            notes.append(f"{name} not scored: fewer than {skill.FITTED_DAYS_AT_LEAST} unfrozen days measured in odd months")
            continue
        contents[name] = found
        rivals[SEASON][name] = skill.water_scores(skill.seasonal_mean(water, day_of_year, month, fitted), water, scored)
        index = skill.antecedent_precipitation_water(water, weather.rain_mm, fitted)
        rivals[RAIN_INDEX][name] = skill.water_scores(index, water, scored)
    for name, simulated in simulated_water(contents, weather, temperature, materials).items():
        scores[name] = skill.water_scores(simulated, measured[name], scored)
        if scores[name] is None:
            notes.append(f"{name} not scored: fewer than two unfrozen days measured in even months, March to November")
    surface = series.soil_water_m3m3.get(5, np.full(len(series.days), np.nan))
    return StationResult(
        id=series.id,
        days=len(series.days),
        humid=bool(np.isfinite(surface).any() and np.nanstd(surface) >= skill.HUMID_FROM_M3M3),
        water=scores,
        temperature=skill.temperature_scores(temperature, measured_temperature),
        rivals=rivals,
        contents=contents,
        root_zone_depths_cm=depths,
        notes=tuple(notes),
    )


def simulated_water(
    contents: Mapping[str, skill.SoilContents], weather: MeasuredWeather, soil_temperature_c: Floats, materials: Materials
) -> dict[str, Floats]:
    """Water of the surface layer and of the root zone [m³/m³], each from a column with its own water contents, both without repellency."""
    if not contents:
        return {}
    columns = stack([_column(found, materials) for found in contents.values()])
    first = slice(SPIN_UP_DAYS)
    year = weather.on(first).forcing(soil_temperature_c[first], columns=columns.count)
    started = simulate(columns, first_guess(columns, materials.model), year, materials.model).final
    run = simulate(columns, started, weather.forcing(soil_temperature_c, columns=columns.count), materials.model)
    water = {SURFACE: run.surface_water_m3m3, ROOT_ZONE: columns.field_capacity_m3m3 - run.depletion_mm / (1000.0 * columns.root_depth_m)}
    return {name: water[name][:, number] for number, name in enumerate(contents)}


def _column(contents: skill.SoilContents, materials: Materials) -> dict[str, float]:
    total = 1000.0 * (contents.field_capacity_m3m3 - 0.5 * contents.wilting_point_m3m3) * SURFACE_DEPTH_M  # FAO-56 eq. 73
    return {
        **asdict(contents),
        **materials.column,
        "root_depth_m": ROOT_DEPTH_M,
        "surface_depth_m": SURFACE_DEPTH_M,
        "readily_evaporable_mm": materials.evaporable_share * total,
        "potential_repellency_log10_s": 0.0,
        "critical_water_m3m3": contents.wilting_point_m3m3,
    }
