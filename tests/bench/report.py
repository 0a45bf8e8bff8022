"""Speed and memory beside peers, in one run: ``python tests/bench/report.py [--json] [--smoke]``.

Same inputs, warmed up, best of five; prints name, ours, peer, ratio, goal, met. Exit code 1 when a goal is missed. Not a test: a busy
machine misses goals, so nothing waits for them. ``--smoke`` runs everything small, judges nothing, and exits 0: it shows that the report
runs.

Peers: refet and pyet (daily ET0), pyfao56 (the dual coefficient water balance, one field at a time), and the bare one-bucket balance as a
compiled time-major loop. Our daily step is compiled too where the run is long enough (extra ``fast``, part of ``bench``).
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import tempfile
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np

REPOSITORY = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(REPOSITORY))

from forecaster.soil.columns import ColumnParameters, ModelParameters, stack  # noqa: E402
from forecaster.soil.simulate import simulate, simulate_series  # noqa: E402
from forecaster.soil.state import Forcing, first_guess  # noqa: E402
from tests.bench import cycle_memory, et0, load, scale  # noqa: E402
from tests.bench.et0 import best  # noqa: E402
from tests.physics.test_soil_water_pyfao56 import invented_run  # noqa: E402
from tests.soil.builders import BAND, SOUND  # noqa: E402

Row = dict[str, Any]
KEPT = ("green_cover", "available_water_fraction", "flush_hazard_per_day")
MODEL = ModelParameters()
DAYS = 365
EXCHANGING = {"exchange_per_day": 0.2}


def row(name: str, ours: float, peer: float | None, ratio: float | None, goal: str, met: bool | None, note: str = "") -> Row:
    """One line of the report; ``met`` None where nothing was judged."""
    return {"name": name, "ours": ours, "peer": peer, "ratio": ratio, "goal": goal, "met": met, "note": note}


def weather(days: int, columns: int) -> Forcing:
    """Invented weather, different in every column, frozen seed."""
    rng = np.random.default_rng(365)
    shape = (days, columns)
    return Forcing(
        rain_mm=np.where(rng.random(shape) < 0.25, rng.gamma(1.5, 5.0, shape), 0.0),
        irrigation_mm=np.zeros(shape),
        et0_mm=rng.uniform(1.0, 5.0, shape),
        air_temperature_mean_c=rng.uniform(5.0, 25.0, shape),
        air_temperature_min_c=rng.uniform(0.0, 12.0, shape),
        soil_temperature_c=rng.uniform(6.0, 20.0, shape),
        wind_speed_2m_ms=rng.uniform(1.0, 5.0, shape),
        relative_humidity_min_percent=rng.uniform(30.0, 80.0, shape),
        known=np.ones(shape, dtype=bool),
    )


def zones(columns: int) -> ColumnParameters:
    """Sound and band columns by turns."""
    return stack([SOUND | EXCHANGING, BAND | EXCHANGING] * (columns // 2))


# Compiled at every size, also below where the product begins to: warmed up, and the curve compares like with like.
COMPILED = importlib.util.find_spec("numba") is not None


def step_seconds(columns: int, days: int, repeats: int, *, compiled: bool = COMPILED) -> float:
    """Our full daily step: water, snow, repellency, cover, fruiting; three series kept; compiled where ``fast`` is."""
    made, driven = zones(columns), weather(days, columns)
    start = first_guess(made, MODEL)
    return best(lambda: simulate_series(made, start, driven, MODEL, keep=KEPT, compiled=compiled), repeats)


def pyfao56_zone_years(days: int, repeats: int) -> float:
    """Zone-years per second of the library, one field; it is set up anew for every run, which is not timed."""
    import time

    seconds = []
    for _ in range(repeats + 1):
        library = invented_run(days)
        start = time.perf_counter()
        library.run()
        seconds.append(time.perf_counter() - start)
    return days / 365.0 / min(seconds[1:])


def bare_bucket_seconds(columns: int, days: int, repeats: int) -> float | None:
    """The one-bucket dual coefficient balance and nothing else, compiled, time-major, one thread; None without numba."""
    if not COMPILED:
        return None
    from tests.bench.bucket import bare_bucket

    driven = weather(days, columns)
    depletion = np.empty((days, columns))
    return best(lambda: bare_bucket(driven.rain_mm, driven.et0_mm, depletion), repeats)


def against_pyfao56(columns: int, days: int, repeats: int) -> tuple[Row, float]:
    seconds = step_seconds(columns, days, repeats)
    ours = columns * days / 365.0 / seconds
    theirs = pyfao56_zone_years(days, repeats)
    name = f"full daily step, {columns} columns x {days} days, zone-years per second, pyfao56"
    how = "compiled, one thread" if COMPILED else "numpy alone"
    return row(name, ours, theirs, ours / theirs, ">= 20000 x", ours / theirs >= 20_000.0, how), seconds


def numpy_alone(columns: int, days: int, repeats: int, compiled_seconds: float) -> Row:
    """The same step without the extra ``fast``; nothing is judged by it."""
    seconds = step_seconds(columns, days, repeats, compiled=False)
    name = f"full daily step, {columns} columns x {days} days, seconds, numpy alone against compiled"
    return row(name, seconds, compiled_seconds, seconds / compiled_seconds, "shown", None)


def against_bucket(columns: int, days: int, repeats: int, ours: float) -> Row:
    name = f"full daily step, {columns} columns x {days} days, seconds, compiled bare bucket"
    theirs = bare_bucket_seconds(columns, days, repeats)
    if theirs is None:
        return row(name, ours, None, None, "<= 5 x", None, "skipped: numba is not installed (extra bench)")
    return row(name, ours, theirs, ours / theirs, "<= 5 x", ours / theirs <= 5.0, "one thread each")


def one_ground(repeats: int) -> Row:
    """Eight surfaces in two states, spun up 400 days, then 51 members for 16 days."""
    made, spin_up, members = zones(16), weather(400, 16), weather(16, 16 * 51)
    many = zones(16 * 51)

    def run() -> None:
        state = simulate(made, first_guess(made, MODEL), spin_up, MODEL).final
        spread = type(state).joined([state] * 51)
        simulate(many, spread, members, MODEL)

    seconds = best(run, repeats)
    return row("one ground, 8 surfaces x 2 x 51 members x 16 days after 400 days, seconds", seconds, None, None, "< 0.3 s", seconds < 0.3)


def curve(sizes: tuple[int, ...], days: int, repeats: int) -> list[Row]:
    """Time per column-day by the number of columns; judged between the two largest decades."""
    per_day = {size: step_seconds(size, days, repeats) / (size * days) * 1e9 for size in sizes}
    rows = [row(f"full daily step, {size} columns, ns per column-day", found, None, None, "shown", None) for size, found in per_day.items()]
    small, large = (per_day[size] for size in (sizes[-2], sizes[-1]))
    name = f"time per column-day, {sizes[-1]} against {sizes[-2]} columns"
    return [*rows, row(name, large, small, large / small, "within 30 %", abs(large / small - 1.0) <= 0.3)]


def memory(columns: int, days: int) -> Row:
    """Most memory taken beyond the forcing, in arrays of the size of one output: one output is kept, so the rest is state and scratch."""
    made, driven = zones(columns), weather(days, columns)
    start = first_guess(made, MODEL)
    tracemalloc.start()
    kept, final = simulate_series(made, start, driven, MODEL, keep=KEPT[:1])
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    ratio = peak / (columns * days * 8)
    del kept, final
    name = f"peak memory beyond the forcing, {columns} columns x {days} days, one series kept, in output-sized arrays"
    return row(name, ratio, None, None, "<= 3", ratio <= 3.0)


def one_cycle() -> Row:
    """One cycle of the sample ground, second run: weather, soil, risk, charts, storage."""
    import requests

    from forecaster.delivery.folder import FolderMailer
    from forecaster.pipeline.claims import run_cycles
    from forecaster.pipeline.context import Context, fixed_now
    from forecaster.settings.configuration import load_configuration
    from forecaster.settings.shipped import shipped_folder
    from forecaster.sources.openmeteo import Service
    from forecaster.storage.database import migrate, open_database

    with tempfile.TemporaryDirectory() as folder:
        configuration = load_configuration(shipped_folder("config"))
        now = fixed_now(configuration)
        assert now is not None
        engine = open_database(f"sqlite:///{folder}/forecaster.db")
        migrate(engine)
        context = Context(
            configuration=configuration,
            engine=engine,
            mailer=FolderMailer(Path(folder) / "mail"),
            sender="forecaster@example.org",
            public_url=None,
            web_session=requests.Session(),
            open_meteo=Service(),
            contact=None,
            operator_email=None,
            met_norway_url="https://api.met.no",
            nasa_power_url="https://power.larc.nasa.gov",
            clock=lambda: now,
            owner="bench",
            real_clock=lambda: now,
        )
        seconds = best(lambda: run_cycles(context), 1)
        engine.dispose()
    return row("one cycle of the sample ground, charts included, seconds", seconds, None, None, "shown", None)


def measure(*, smoke: bool) -> list[Row]:
    """Every row of the report."""
    repeats, columns, days = (1, 200, 60) if smoke else (5, 10_000, DAYS)
    pyfao56_row, seconds = against_pyfao56(columns, days, repeats)
    return [
        *({"note": "", **found} for found in et0.measure(repeats, 20_000 if smoke else 1_000_000)),
        pyfao56_row,
        against_bucket(columns, days, repeats, seconds),
        numpy_alone(columns, days, repeats, seconds),
        one_ground(repeats),
        *curve((100, 200) if smoke else (100, 1_000, 10_000, 100_000), 60 if smoke else 120, repeats),
        memory(columns if smoke else 100_000, 60 if smoke else DAYS),
        one_cycle(),
        *scale.measure((20,) if smoke else (20, 200, 2000)),
        *load.measure(smoke=smoke),
        cycle_memory.measure(2 if smoke else 20),
    ]


def main() -> int:
    """Measure, print, and say by the exit code whether every goal was met."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="a list of objects instead of a table")
    parser.add_argument("--smoke", action="store_true", help="small and quick: shows that the report runs, judges nothing")
    asked = parser.parse_args()
    rows = measure(smoke=asked.smoke)
    if asked.smoke:
        rows = [found | {"met": None} for found in rows]
    if asked.json:
        print(json.dumps(rows, indent=1))
    else:
        for found in rows:
            told = {True: "met", False: "MISSED", None: "-"}[found["met"]]
            numbers = "  ".join(f"{key} {found[key]:.4g}" for key in ("ours", "peer", "ratio") if found[key] is not None)
            print(f"{found['name']}\n    {numbers}  goal {found['goal']}: {told}{'  (' + found['note'] + ')' if found['note'] else ''}")
    return 1 if any(found["met"] is False for found in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
