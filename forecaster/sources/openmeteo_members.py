"""Open-Meteo's ensembles: all members of one model's newest run."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd
import requests

from forecaster.errors import WeatherRefused
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import VARIABLE_MAP as FORECAST_VARIABLES
from forecaster.sources.openmeteo_answer import SECONDS_PER_HOUR, Floats, Stamps, block, check_present, malformed, read_columns, shifted
from forecaster.sources.openmeteo_limits import call_weight
from forecaster.sources.openmeteo_service import SOURCE, Place, Service, Spot, ask, cell_of, hourly_params
from forecaster.weather.members import MemberWeather

ENSEMBLE_PATH = "/v1/ensemble"
# Ensembles have no soil temperature that would be comparable with the forecast's. The rest must be there: a member is one story.
VARIABLE_MAP = {name: variable for name, variable in FORECAST_VARIABLES.items() if name != "soil_temperature_6cm"}
WIND_HEIGHT_M = 10.0


@dataclass(frozen=True)
class EnsembleModel:
    """A model as the provider documents it: stories with the control run, days, the step [h] and the width of a cell [°] it resolves."""

    members: int
    days: int
    step_hours: int
    cell_degrees: float


# Source: the provider's documentation of ensemble models; cells from memory, none wider than it is (25 to 40 km; 2 km). Left out: models
# without humidity, and those under a share-alike licence.
MODELS: dict[str, EnsembleModel] = {
    "ecmwf_ifs025_ensemble": EnsembleModel(51, 15, 3, 0.25),
    "ncep_gefs025": EnsembleModel(31, 10, 3, 0.25),
    "gem_global_ensemble": EnsembleModel(21, 16, 3, 0.25),
    "bom_access_global_ensemble": EnsembleModel(18, 10, 3, 0.25),
    "icon_global_eps": EnsembleModel(40, 7, 1, 0.25),
    "icon_d2_eps": EnsembleModel(20, 2, 1, 0.02),
}
# Temperature is moved to the ground's height by 0.65 °C in 100 m: 50 m are within 0.33 °C. Status: assumption.
_CELL_METRES = 50.0
# Fewer stories than this share of the documented ones say too little about how sure a forecast is. Status: assumption.
_LEAST_MEMBER_SHARE = 0.5


def member_cell(place: Place, *, model: str) -> tuple[int, int, int]:
    """Places of one cell have the same members: the same point of the model's grid, and nearly the same height."""
    return cell_of(place, degrees=MODELS[model].cell_degrees, metres=_CELL_METRES)


def fetch_members(
    place: Place,
    *,
    session: requests.Session,
    now: datetime,
    service: Service | None = None,
    model: str = "ecmwf_ifs025_ensemble",
    patience: Patience | None = None,
) -> MemberWeather:
    """Fetch all members of a model's newest run, from the start of the UTC day of ``now`` to as far as the model goes.

    The control run is row 0. Hours as in ``fetch_forecast``. Hours after the model's end are cut off; other nulls are NaN. The
    answer does not say when the model ran: ``issued_at`` is ``now``, and two frames may be of one run.

    Raises: WeatherRefused for a model not in ``MODELS``; WeatherMalformed also where half of the members are missing or some have a
    variable that others lack; else as ``fetch_forecast``; StorageError where the budget cannot be read.
    """
    if model not in MODELS:
        raise WeatherRefused(
            f"{model!r} is not an ensemble that is known here", source=SOURCE.name, hint=f"Use one of: {', '.join(MODELS)}."
        )
    service, known = service or Service(), MODELS[model]
    service = replace(service, budget=service.ensemble_budget or service.budget)
    params = hourly_params([Spot.of(place)], VARIABLE_MAP) | {"models": model, "forecast_days": str(known.days)}
    url = service.ensemble_url.rstrip("/") + ENSEMBLE_PATH
    weight = call_weight(len(VARIABLE_MAP), days=known.days, members=known.members)
    answer = ask(session, url, params, service=service, weight=weight, patience=patience)
    return read_members(answer, latitude=place.latitude, longitude=place.longitude, model=model, now=now)


def read_members(answer: Any, *, latitude: float, longitude: float, model: str, now: datetime) -> MemberWeather:
    """Check a parsed answer and turn it into members. Raises: WeatherMalformed, which says what is wrong and where."""
    found = _found(answer, model)
    numbers = sorted(found["temperature_2m"])
    columns = {key: VARIABLE_MAP[name] for name, keys in found.items() for key in keys.values()}
    stamps, flat = read_columns(answer, columns, latitude=latitude, longitude=longitude)
    grids = {name: np.stack([flat[keys[number]] for number in numbers]) for name, keys in found.items()}
    stamps, grids = _without_tail(stamps, grids)
    check_present({name: grid.ravel() for name, grid in grids.items()}, VARIABLE_MAP)
    hours = pd.to_datetime(np.concatenate(([stamps[0] - SECONDS_PER_HOUR], stamps)), unit="s", utc=True)
    step = MODELS[model].step_hours
    notes: tuple[str, ...] = ("Open-Meteo does not say when its models ran; the age counts from the time of asking.",)
    if len(numbers) < MODELS[model].members:
        notes += (f"{len(numbers)} of {MODELS[model].members} members of {model} were there.",)
    return MemberWeather(
        values={VARIABLE_MAP[name].ours: shifted(grid.astype(np.float32), VARIABLE_MAP[name]) for name, grid in grids.items()},
        hours=hours,
        step_hours=np.full(len(hours), step, dtype=np.int8),
        source=SOURCE,
        issued_at=now.astimezone(UTC),
        model=model,
        wind_height_m=WIND_HEIGHT_M,
        notes=notes,
    )


def member_keys(keys: Iterable[str], *, model: str) -> dict[str, dict[int, str]]:
    """Which key of an answer holds which member: provider's variable → member number (0 is the control run) → key.

    The provider puts the model's name behind every key where an answer holds several models, and leaves it out where it holds one.
    Other models' keys, the time and unknown variables are left out.
    """
    models = "|".join(map(re.escape, sorted(MODELS, key=len, reverse=True)))
    pattern = re.compile(rf"^(?P<name>.+?)(?:_member(?P<number>\d{{2}}))?(?:_(?P<model>{models}))?$")
    found: dict[str, dict[int, str]] = {}
    for key in keys:
        match = pattern.match(key)
        if match and match["name"] in VARIABLE_MAP and match["model"] in (None, model):
            found.setdefault(match["name"], {})[int(match["number"] or 0)] = key
    return found


def _found(answer: Any, model: str) -> dict[str, dict[int, str]]:
    hourly = block(answer, "hourly") if isinstance(answer, Mapping) else {}
    found = member_keys(hourly, model=model)
    missing = [name for name in VARIABLE_MAP if name not in found]
    if missing:
        raise malformed(f"sent no {', '.join(missing)} of {model}")
    first, *others = found
    for name in others:
        if found[name].keys() != found[first].keys():
            raise malformed(f"sent {len(found[first])} members of {first} and {len(found[name])} of {name}, or other ones")
    if len(found[first]) < _LEAST_MEMBER_SHARE * MODELS[model].members:
        raise malformed(f"sent {len(found[first])} of {MODELS[model].members} members of {model}")
    return found


def _without_tail(stamps: Stamps, grids: Mapping[str, Floats]) -> tuple[Stamps, dict[str, Floats]]:
    """Without the hours in which some variable is no longer told by any member: a model may end before the days asked for.

    The shortest variable counts: rain has been seen to go on as 0 after the model's end.
    """
    told = [np.flatnonzero(np.isfinite(grid).any(axis=0)) for grid in grids.values()]
    kept = min(int(hours[-1]) + 1 if hours.size else len(stamps) for hours in told)  # one of nulls alone is refused afterwards
    return stamps[:kept], {name: grid[:, :kept] for name, grid in grids.items()}
