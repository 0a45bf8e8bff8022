"""Open-Meteo's archive: years of one consistent reanalysis, to start a simulation from and to compare seasons with.

Asked for by name: the archive's own choice joins two models and would change the climate on the way.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import requests

from forecaster.errors import WeatherRefused, WeatherUnavailable
from forecaster.quantities import Origin
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import VARIABLE_MAP as FORECAST_VARIABLES
from forecaster.sources.openmeteo_answer import (
    SECONDS_PER_HOUR,
    Floats,
    Stamps,
    check_present,
    malformed,
    moment,
    onto_hour_starts,
    read_columns,
)
from forecaster.sources.openmeteo_limits import call_weight
from forecaster.sources.openmeteo_service import SOURCE, Place, Service, Spot, ask, hourly_params
from forecaster.weather.frame import ORIGIN_CODES, HourlyWeather

ARCHIVE_PATH = "/v1/archive"
# ERA5-Land temperature, humidity and soil, ERA5 wind, radiation and rain; one method all the way. Source: the provider's documentation.
MODEL = "era5_seamless"
FIRST_DAY = date(1950, 1, 1)
"""The provider's documentation: ERA5-Land, and with it the joined series, begins here."""
# The soil temperature is the mean of a layer, not the value at a depth: the frame then says no depth, and merging leaves it alone
# beside a series at 6 cm.
VARIABLE_MAP = {
    **{name: variable for name, variable in FORECAST_VARIABLES.items() if name != "soil_temperature_6cm"},
    "soil_temperature_0_to_7cm": FORECAST_VARIABLES["soil_temperature_6cm"],
}
WIND_HEIGHT_M = 10.0
# The provider advises back-filling in pieces; one of these weighs 18. Status: practice.
_LONGEST_PIECE = timedelta(days=365)
# The reanalysis is 5 days behind; an answer that ends much earlier is a fault and not its delay. Status: assumption.
_LONGEST_DELAY = timedelta(days=10)


def fetch_archive(
    place: Place,
    *,
    session: requests.Session,
    start: date,
    end: date,
    now: datetime,
    service: Service | None = None,
    patience: Patience | None = None,
) -> HourlyWeather:
    """Fetch the reanalysis of a place from ``start`` to ``end``, whole UTC days, both included; days after that of ``now`` are left out.

    One request a year, one at a time. Every value counts as modelled. Null becomes NaN; the newest days, which are not out yet, are
    cut off and a note says where the weather ends. Hours as in ``fetch_forecast``: the frame begins one hour before ``start`` with
    rain and radiation alone. ``issued_at`` is ``now``. The patience is per request: for decades without
    a key give it minutes, so that a used-up minute of the budget is waited for.

    Raises: WeatherRefused for days the archive does not hold, WeatherUnavailable where none of them is out yet; else as
    ``fetch_forecast``; StorageError where the budget cannot be read.
    """
    service = service or Service()
    end = min(end, now.astimezone(UTC).date())
    if not FIRST_DAY <= start <= end:
        raise WeatherRefused(
            f"the archive of {SOURCE.name} holds {FIRST_DAY} to {now.astimezone(UTC):%Y-%m-%d}, not {start} to {end}",
            source=SOURCE.name,
            hint="Ask for days within these.",
        )
    pieces = [_fetch_piece(place, first, last, session=session, service=service, patience=patience) for first, last in _pieces(start, end)]
    stamps = np.concatenate([piece[0] for piece in pieces])
    columns = {name: np.concatenate([piece[1][name] for piece in pieces]) for name in VARIABLE_MAP}
    return _frame(stamps, columns, now=now)


def _pieces(start: date, end: date) -> Iterator[tuple[date, date]]:
    while start <= end:
        last = min(end, start + _LONGEST_PIECE - timedelta(days=1))
        yield start, last
        start = last + timedelta(days=1)


def _fetch_piece(
    place: Place, first: date, last: date, *, session: requests.Session, service: Service, patience: Patience | None
) -> tuple[Stamps, dict[str, Floats]]:
    days = (last - first).days + 1
    params = hourly_params([Spot.of(place)], VARIABLE_MAP)
    params |= {"models": MODEL, "start_date": first.isoformat(), "end_date": last.isoformat()}
    url = service.archive_url.rstrip("/") + ARCHIVE_PATH
    answer = ask(session, url, params, service=service, weight=call_weight(len(VARIABLE_MAP), days=days), patience=patience)
    stamps, columns = read_columns(answer, VARIABLE_MAP, latitude=place.latitude, longitude=place.longitude)
    midnight = int(datetime(first.year, first.month, first.day, tzinfo=UTC).timestamp())
    if stamps[0] != midnight or len(stamps) != 24 * days:
        raise malformed(f"sent {moment(stamps[0])} to {moment(stamps[-1])} where {first} to {last} was asked")
    return stamps, columns


def _frame(stamps: Stamps, columns: dict[str, Floats], *, now: datetime) -> HourlyWeather:
    told = np.flatnonzero(np.logical_or.reduce([np.isfinite(values) for values in columns.values()]))
    kept = int(told[-1]) + 1 if told.size else 0
    asked_until = min(int(stamps[-1]), int(now.timestamp()))
    ends = int(stamps[kept - 1]) if kept else int(stamps[0]) - SECONDS_PER_HOUR
    if asked_until - ends > _LONGEST_DELAY.total_seconds():
        raise malformed(f"sent nothing after {moment(ends)} where values up to {moment(asked_until)} were asked")
    if not kept:
        raise WeatherUnavailable(
            f"the archive of {SOURCE.name} has nothing after {moment(ends)} yet", source=SOURCE.name, hint="It is about 5 days behind."
        )
    notes: tuple[str, ...] = (f"Reanalysis ({MODEL}): a model's picture of the past, no measurement at the place.",)
    missing = (asked_until - ends) // SECONDS_PER_HOUR
    if missing:
        notes += (f"The archive ends at {moment(ends)}, {missing} hours before the end that was asked for: it is about 5 days behind.",)
    columns = {name: values[:kept] for name, values in columns.items()}
    check_present(columns, VARIABLE_MAP)
    values = onto_hour_starts(stamps[:kept], columns, VARIABLE_MAP)
    codes = np.where(values.isna().to_numpy(), ORIGIN_CODES[Origin.MISSING], ORIGIN_CODES[Origin.MODELLED]).astype(np.int8)
    return HourlyWeather(
        values=values,
        origins=pd.DataFrame(codes, index=values.index, columns=values.columns),
        source=SOURCE,
        issued_at=now.astimezone(UTC),
        wind_height_m=WIND_HEIGHT_M,
        soil_temperature_depth_cm=None,
        notes=notes,
    )
