"""What is known of a ground's weather: from where, how old, how complete, what was taken out and why, and where two sources differ."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pandas as pd
from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.gather import GatheredWeather, joined_weather, read_onsite
from forecaster.pipeline.pull import Pull
from forecaster.storage.database import reading
from forecaster.weather.daily import Place
from forecaster.weather.frame import AIR_TEMPERATURE, ORIGINS_BY_CODE, PRECIPITATION, SHORTWAVE, VARIABLES, WIND_SPEED, HourlyWeather
from forecaster.weather.hourly import checked_frame
from forecaster.weather.merge import NOBODY, Joined
from forecaster.weather.status import age_in_words

SHOWN_DAYS = 92
IN_WORDS = {
    "air_temperature_c": "air temperature",
    "dew_point_c": "dew point",
    "relative_humidity_percent": "humidity",
    "wind_speed_ms": "wind",
    "shortwave_wm2": "radiation",
    "precipitation_mm": "rain",
    "soil_temperature_c": "soil temperature",
}
COMPARED = (PRECIPITATION, AIR_TEMPERATURE, SHORTWAVE, WIND_SPEED)
OVERLAP_HOURS_AT_LEAST = 48


@dataclass(frozen=True)
class Overlap:
    """How two sources differ on the hours that both know: first minus second, mean [unit of the variable], and both sums of rain [mm]."""

    variable: str
    first: str
    second: str
    hours: int
    mean_difference: float
    sums: tuple[float, float]


def known_weather(ground_id: str, context: Context) -> tuple[Ground, GatheredWeather]:
    """What the database and the ground's own instruments know; no service is asked. Raises: NotFound where it is not configured."""
    ground = context.configuration.ground(ground_id)
    now = context.clock()
    with reading(context.engine) as session:
        since = now - timedelta(days=SHOWN_DAYS)
        stale = context.configuration.service.stale_after_hours
        return ground, joined_weather(session, ground, Pull(), read_onsite(ground, now=now), now=now, since=since, stale_after_hours=stale)


def overlaps(joined: Joined) -> list[Overlap]:
    """Differences between every pair of different sources, on their common hours, two days at least; rain by its sums."""
    found = []
    newest: dict[str, HourlyWeather] = {}
    for rung in joined.rungs:
        newest.setdefault(rung.source.name, rung)
    names = list(newest)
    for number, first in enumerate(names):
        for second in names[number + 1 :]:
            for variable in COMPARED:
                both = pd.concat([newest[first].values[variable], newest[second].values[variable]], axis=1, join="inner").dropna()
                if len(both) >= OVERLAP_HOURS_AT_LEAST:
                    one, two = both.iloc[:, 0].to_numpy(), both.iloc[:, 1].to_numpy()
                    sums = (float(one.sum()), float(two.sum()))
                    found.append(Overlap(variable, first, second, len(both), float(np.mean(one - two)), sums))
    return found


def show_weather(ground: Ground, gathered: GatheredWeather, *, now: datetime, console: Console) -> None:
    """Print it for people."""
    console.print(f"{ground.name}: {gathered.status.text}", highlight=False)
    joined = gathered.joined
    if joined is None:
        console.print("Nothing has been stored yet: run one cycle first.")
        return
    console.print(_sources(joined, now=now))
    console.print(_variables(joined, now=now))
    for told in (*joined.frame.notes, *_taken_out(ground, joined.frame)):
        console.print(f"- {told}", highlight=False)
    for overlap in overlaps(joined):
        console.print(f"- {_difference(overlap)}", highlight=False)


def _sources(joined: Joined, *, now: datetime) -> Table:
    table = Table(title="Sources, most trusted first", title_justify="left", box=SIMPLE)
    for heading in ("source", "issued (UTC)", "age", "first hour", "last hour", "gives hours"):
        table.add_column(heading)
    codes = joined.rung_of.to_numpy()
    for number, rung in enumerate(joined.rungs):
        hours, age = rung.values.index, (now - rung.issued_at).total_seconds() / 3600.0
        ends = (f"{hours[0]:%d %b %H:%M}", f"{hours[-1]:%d %b %H:%M}") if len(hours) else ("-", "-")
        table.add_row(
            rung.source.name,
            f"{rung.issued_at:%d %b %H:%M}",
            age_in_words(max(age, 0.0)),
            *ends,
            str(int((codes == number).any(axis=1).sum())),
        )
    return table


def _variables(joined: Joined, *, now: datetime) -> Table:
    """Past and coming hours apart: what is missing behind is another matter than what is missing ahead."""
    table = Table(title=f"Variables, last {SHOWN_DAYS} days and ahead", title_justify="left", box=SIMPLE)
    for heading in ("variable", "missing, past", "missing, ahead", "known until (UTC)", "from", "origin"):
        table.add_column(heading)
    past = joined.frame.values.index < pd.Timestamp(now)
    for column, name in enumerate(VARIABLES):
        series = joined.frame.values[name]
        known = series.dropna()
        codes = joined.rung_of[name].to_numpy()
        names = dict.fromkeys(joined.rungs[code].source.name for code in np.unique(codes) if code != NOBODY)
        origins = dict.fromkeys(ORIGINS_BY_CODE[int(code)].value for code in np.unique(joined.frame.origins.to_numpy()[:, column]) if code)
        table.add_row(
            IN_WORDS[name],
            _share(series[past]),
            _share(series[~past]),
            f"{known.index[-1]:%d %b %H:%M}" if len(known) else "never",
            ", ".join(names) or "-",
            ", ".join(origins) or "-",
        )
    return table


def _share(series: pd.Series) -> str:
    return f"{series.isna().mean():.0%}" if len(series) else "-"


def _taken_out(ground: Ground, frame: HourlyWeather) -> tuple[str, ...]:
    """What the checks would not let into the model, and by which rule."""
    checked, _ = checked_frame(frame, Place(ground.latitude, ground.longitude, ground.elevation_m))
    return tuple(note for note in checked.notes if note not in frame.notes)


def _difference(overlap: Overlap) -> str:
    if overlap.variable == PRECIPITATION:
        one, two = overlap.sums
        return f"rain on {overlap.hours} common hours: {one:.1f} mm from {overlap.first}, {two:.1f} mm from {overlap.second}"
    what, hours = IN_WORDS[overlap.variable], overlap.hours
    return f"{what}: {overlap.first} is {overlap.mean_difference:+.2f} from {overlap.second}, mean of {hours} common hours"
