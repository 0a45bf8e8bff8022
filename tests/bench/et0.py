"""Daily ET0 by the million station-days beside two libraries: refet in this process, pyet with an interpreter of its own.

pyet pins pandas below 3, so it cannot live beside this program: make it an environment (``pip install pyet``) and name its interpreter in
``FORECASTER_BENCH_PYET``. There, ours and pyet run in one process on the same numbers; without it its row says that it was skipped.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from forecaster.physics import humidity, radiation
from forecaster.physics.evapotranspiration import ASCE_SHORT, FAO56, WeatherDay, reference_evapotranspiration

REPOSITORY = Path(__file__).resolve().parents[2]
PYET_INTERPRETER = "FORECASTER_BENCH_PYET"
GOAL_REFET, GOAL_PYET = 1.0, 2.0
AGREEMENT_REFET_MM, AGREEMENT_PYET_MM = 1e-5, 1e-6
REFET, PYET = "daily ET0, refet", "daily ET0, pyet"


def best(work: Callable[[], object], repeats: int) -> float:
    """Shortest wall time [s] of some runs after one to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def station_days(size: int, *, stations: int | None = None) -> WeatherDay:
    """Valid weather, frozen seed: each day at a place of its own, or one place for all where ``stations`` is 1."""
    rng = np.random.default_rng(20150701)
    one = stations == 1
    latitude = 45.0 if one else rng.uniform(-60, 60, size)
    elevation = 300.0 if one else rng.uniform(0, 2500, size)
    day = rng.integers(1, 367, size)
    cold = rng.uniform(-5, 25, size)
    rso = radiation.clear_sky_radiation(radiation.extraterrestrial_radiation(latitude, day), elevation)
    return WeatherDay(
        air_temperature_max_c=cold + rng.uniform(1, 20, size),
        air_temperature_min_c=cold,
        vapour_pressure_kpa=humidity.saturation_vapour_pressure(cold) * rng.uniform(0.3, 1.0, size),
        wind_speed_2m_ms=rng.uniform(0.5, 8.0, size),
        shortwave_mj=rso * rng.uniform(0.35, 1.0, size),
        day_of_year=day,
        latitude_deg=latitude,
        elevation_m=elevation,
    )


def row(name: str, ours: float | None, peer: float | None, goal: float, *, note: str = "") -> dict[str, Any]:
    """One line of the report: seconds of both, how many times faster we are, and what was asked for."""
    ratio = None if ours is None or peer is None else peer / ours
    found = {"name": name, "ours": ours, "peer": peer, "ratio": ratio, "goal": goal, "met": None if ratio is None else ratio >= goal}
    return found | ({"note": note} if note else {})


def measure(repeats: int, size: int) -> list[dict[str, Any]]:
    """Measure ``size`` station-days; goals: as fast as refet, twice as fast as pyet. ``met`` is None where the peer is not there."""
    return [_refet_row(repeats, size), _pyet_row(repeats, size)]


def _refet_row(repeats: int, size: int) -> dict[str, Any]:
    import refet

    d = station_days(size)

    def peer() -> Any:
        return refet.Daily(
            tmin=d.air_temperature_min_c, tmax=d.air_temperature_max_c, ea=d.vapour_pressure_kpa, rs=d.shortwave_mj,
            uz=d.wind_speed_2m_ms, zw=2.0, elev=d.elevation_m, lat=d.latitude_deg, doy=d.day_of_year, method="asce",
        ).eto()  # fmt: skip

    # At 2 m refet's logarithm gives 1.00002, not 1.
    at_2m = 4.87 / np.log(67.8 * 2.0 - 5.42)
    same = WeatherDay(**{**vars(d), "wind_speed_2m_ms": d.wind_speed_2m_ms * at_2m})
    apart = float(np.abs(reference_evapotranspiration(same, variant=ASCE_SHORT) - peer()).max())
    if apart > AGREEMENT_REFET_MM:
        raise AssertionError(f"refet gives another number, by {apart:g} mm: nothing to compare")
    return row(REFET, best(lambda: reference_evapotranspiration(d, variant=ASCE_SHORT), repeats), best(peer, repeats), GOAL_REFET)


def _pyet_row(repeats: int, size: int) -> dict[str, Any]:
    interpreter = os.environ.get(PYET_INTERPRETER)
    if not interpreter:
        return row(PYET, None, None, GOAL_PYET, note=f"skipped: {PYET_INTERPRETER} names no interpreter that has pyet")
    command = [interpreter, "-m", "tests.bench.et0", str(repeats), str(size)]
    environment = os.environ | {"PYTHONPATH": str(REPOSITORY)}
    done = subprocess.run(command, capture_output=True, text=True, cwd=REPOSITORY, env=environment, check=False)
    if done.returncode:
        return row(PYET, None, None, GOAL_PYET, note=f"skipped: {interpreter} failed: {done.stderr.strip().splitlines()[-1:]}")
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _against_pyet(repeats: int, size: int) -> dict[str, Any]:
    """In the interpreter that has pyet: one place (it takes no more), a pandas series by day, radiation and humidity given."""
    import pandas as pd
    import pyet

    d = station_days(size, stations=1)
    # pyet reads the day of the year off the index; pandas' dates end in 2262, so long series count by the hour.
    index = pd.date_range("1900-01-01", periods=size, freq="h")
    d = WeatherDay(**{**vars(d), "day_of_year": index.dayofyear.to_numpy()})
    top = radiation.extraterrestrial_radiation(45.0, d.day_of_year)
    rs = np.minimum(d.shortwave_mj, radiation.clear_sky_radiation(top, 300.0))
    d = WeatherDay(**{**vars(d), "shortwave_mj": np.maximum(rs, 0.35 * radiation.clear_sky_radiation(top, 300.0))})
    warm, cold = np.asarray(d.air_temperature_max_c), np.asarray(d.air_temperature_min_c)
    series = {
        name: pd.Series(values, index=index)
        for name, values in (("t", (warm + cold) / 2), ("warm", warm), ("cold", cold), ("ea", d.vapour_pressure_kpa),
                             ("u", d.wind_speed_2m_ms), ("rs", d.shortwave_mj))
    }  # fmt: skip

    def peer() -> Any:
        return pyet.pm_fao56(
            series["t"], series["u"], rs=series["rs"], elevation=300.0, lat=np.radians(45.0), tmax=series["warm"], tmin=series["cold"],
            ea=series["ea"], clip_zero=False,
        )  # fmt: skip

    apart = float(np.abs(reference_evapotranspiration(d, variant=FAO56) - peer().to_numpy()).max())
    if apart > AGREEMENT_PYET_MM:
        raise AssertionError(f"pyet gives another number, by {apart:g} mm: nothing to compare")
    whole = best(peer, 1)
    # Nine tenths of that go into writing each date out to read its day of the year. We are given that number; give it to pyet too.
    ready = pd.Series(np.asarray(d.day_of_year), index=index)
    pyet.meteo_utils.day_of_year = lambda _: ready
    ours, theirs = best(lambda: reference_evapotranspiration(d, variant=FAO56), repeats), best(peer, repeats)
    return row(PYET, ours, theirs, GOAL_PYET, note=f"pyet given the days of the year ready-made; {whole:.2f} s as it comes")


if __name__ == "__main__":
    print(json.dumps(_against_pyet(int(sys.argv[1]), int(sys.argv[2]))))
