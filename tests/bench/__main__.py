"""Speed and memory, side by side with a peer in one run: ``python -m tests.bench [--smoke]``.

Not a test: nothing fails on a slow day. ``--smoke`` runs everything small, to see that it runs.
Peer of the water balance: pyfao56, an independent implementation of the FAO-56 dual coefficient method (one field at a time).
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np


def timed(work: Callable[[], object]) -> float:
    """Seconds of wall time."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def simulation(days: int, columns: int) -> float:
    """Seconds of our whole simulation (water, repellency, cover, fruiting)."""
    from forecaster.soil.columns import ModelParameters, stack
    from forecaster.soil.simulate import simulate
    from forecaster.soil.state import first_guess
    from tests.soil.builders import BAND, SOUND, forcing

    rng = np.random.default_rng(1)
    made = stack([SOUND, BAND] * (columns // 2))
    weather = forcing(np.where(rng.random(days) < 0.25, 8.0, 0.0), rng.uniform(1.0, 5.0, days), 16.0, columns=columns)
    model = ModelParameters()
    return timed(lambda: simulate(made, first_guess(made, model), weather, model))


def peer(days: int) -> float:
    """Seconds of the peer's water balance alone, one field."""
    from tests.physics.test_soil_water_pyfao56 import invented_run

    library = invented_run(days)
    return timed(library.run)


def cycle() -> float:
    """Seconds of one cycle of the sample ground, second run: weather, soil, risk, charts, storage."""
    import requests

    from forecaster.delivery.folder import FolderMailer
    from forecaster.pipeline.context import Context, fixed_now
    from forecaster.pipeline.cycle import run_cycles
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
            configuration,
            engine,
            FolderMailer(Path(folder) / "mail"),
            "a@example.org",
            None,
            requests.Session(),
            Service(),
            lambda: now,
            "bench",
        )
        run_cycles(context)
        seconds = timed(lambda: run_cycles(context))
        engine.dispose()
    return seconds


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--smoke", action="store_true")
    smoke = parser.parse_args().smoke
    days = 60 if smoke else 730
    theirs = peer(days)
    print(f"peer pyfao56, water balance only: {days} days x 1 column in {theirs:.3f} s")
    for columns in (2, 20) if smoke else (2, 200, 20_000):
        ours = simulation(days, columns)
        ratio = theirs * columns / ours
        print(f"simulation, whole: {days} days x {columns} columns in {ours:.3f} s: {ratio:.1f} times the peer per column")
    print(f"one cycle of the sample ground, charts included: {cycle():.2f} s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of this process: {peak:.0f} MB")


if __name__ == "__main__":
    main()
