"""The invented weather that ships with the program, with the moment at which it stands still."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd

from forecaster.errors import WeatherMalformed, WeatherUnavailable
from forecaster.quantities import Origin
from forecaster.sources.csv_file import read_weather_csv
from forecaster.weather.frame import HourlyWeather, WeatherSource
from forecaster.weather.members import MemberWeather

MANIFEST = "sample.toml"


@dataclass(frozen=True)
class SamplePlace:
    """The invented place the sample weather belongs to."""

    latitude: float
    longitude: float
    elevation_m: float
    time_zone: str
    wind_height_m: float


@dataclass(frozen=True)
class Sample:
    """Sample weather and its own ``now``, in UTC; ``statement`` is what people must be told about it."""

    weather: HourlyWeather
    now: datetime
    place: SamplePlace
    statement: str


def load_sample(folder: Path) -> Sample:
    """Read the sample in ``folder``: its history as observed, its forecast as forecast, in one frame issued at the sample's now.

    Raises: WeatherUnavailable when a file is not there; WeatherMalformed when manifest, history and forecast do not fit together.
    """
    manifest = _read_manifest(folder / MANIFEST)
    try:
        now = manifest["now"].astimezone(UTC)
        place = SamplePlace(**manifest["place"])
        statement = str(manifest["statement"])
        paths = (folder / manifest["history"], folder / manifest["forecast"])
        source = WeatherSource(name=manifest["name"], attribution=manifest["attribution"], licence=manifest["licence"], sample=True)
    except (KeyError, TypeError, AttributeError) as error:
        raise WeatherMalformed(f"{MANIFEST} lacks or misstates a key: {error}", source="sample weather", hint=_HINT) from error
    history, forecast = (
        read_weather_csv(path, source=source, wind_height_m=place.wind_height_m, now=now, past=Origin.OBSERVED) for path in paths
    )
    if history.values.index[-1] + pd.Timedelta(hours=1) != forecast.values.index[0] or forecast.values.index[0] != pd.Timestamp(now):
        raise WeatherMalformed("the sample's history must end, and its forecast begin, at its now", source=source.name, hint=_HINT)
    weather = HourlyWeather(
        values=pd.concat([history.values, forecast.values]),
        origins=pd.concat([history.origins, forecast.origins]),
        source=source,
        issued_at=now,
        wind_height_m=place.wind_height_m,
        notes=(statement,),
    )
    return Sample(weather=weather, now=now, place=place, statement=statement)


def load_sample_members(folder: Path) -> MemberWeather:
    """Read the sample's members, issued at its now; member 0 is its forecast. Raises: as ``load_sample``."""
    manifest = _read_manifest(folder / MANIFEST)
    try:
        path, now = folder / manifest["members"], manifest["now"].astimezone(UTC)
        source = WeatherSource(name=manifest["name"], attribution=manifest["attribution"], licence=manifest["licence"], sample=True)
        table = pd.read_csv(path, index_col=["member", "time_utc"])
        hours = pd.DatetimeIndex(pd.to_datetime(table.index.unique(level="time_utc"), utc=True))
        count = table.index.unique(level="member").size
        return MemberWeather(
            values={str(name): table[name].to_numpy(dtype=np.float32).reshape(count, len(hours)) for name in table.columns},
            hours=hours,
            step_hours=np.ones(len(hours), dtype=np.int8),
            source=source,
            issued_at=now,
            model="invented",
            wind_height_m=float(manifest["place"]["wind_height_m"]),
            notes=(str(manifest["statement"]),),
        )
    except OSError as error:
        raise WeatherUnavailable(f"{path} cannot be read: {error.strerror}", source="sample weather", hint=_HINT) from error
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise WeatherMalformed(f"the sample's members lack or misstate something: {error}", source="sample weather", hint=_HINT) from error


_HINT = "The sample weather ships with the program: restore its folder, or write it again with make_sample.py."


def _read_manifest(path: Path) -> dict:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise WeatherUnavailable(f"{path} cannot be read: {error.strerror}", source="sample weather", hint=_HINT) from error
    except ValueError as error:
        raise WeatherMalformed(f"{path.name} is not TOML: {error}", source="sample weather", hint=_HINT) from error
