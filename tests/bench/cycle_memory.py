"""Resident memory of the cycle process with many grounds, and of the worker that stays when it is gone."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import psutil

from forecaster.settings.shipped import copy_shipped_config

LIMIT_MB = 450.0
MB = 1e6


def measure(grounds: int, *, within_s: float = 900.0) -> dict[str, Any]:
    """Run the worker on so many sample grounds until its first run is over; peak and rest in megabytes."""
    with tempfile.TemporaryDirectory() as name:
        config = Path(name) / "config"
        copy_shipped_config(config)
        first = config / "grounds" / "brackenholt.toml"
        text = first.read_text(encoding="utf-8")
        for number in range(2, grounds + 1):
            (config / "grounds" / f"more-{number}.toml").write_text(text.replace("brackenholt", f"more-{number}"), encoding="utf-8")
        clean = {key: value for key, value in os.environ.items() if not key.startswith("FORECASTER_")}
        settings = {"CONFIG": str(config), "DATA": str(Path(name) / "data"), "FIXED_NOW": "2026-09-12T05:00:00Z"}
        environment = clean | {f"FORECASTER_{key}": value for key, value in settings.items()}
        worker = subprocess.Popen([sys.executable, "-m", "forecaster", "worker"], env=environment)
        peak, seen, gone, until = 0.0, False, False, time.monotonic() + within_s
        try:
            watched = psutil.Process(worker.pid)
            while worker.poll() is None and time.monotonic() < until:
                sizes = []
                for child in watched.children():
                    try:
                        sizes.append(child.memory_info().rss / MB)
                    except psutil.NoSuchProcess:
                        continue
                if seen and not sizes:
                    gone = True
                    break
                seen, peak = seen or bool(sizes), max([peak, *sizes])
                time.sleep(0.05)
            rest = watched.memory_info().rss / MB
        finally:
            worker.terminate()
            worker.wait(timeout=30)
    return {
        "name": f"cycle process with {grounds} grounds, peak resident MB; beside it the worker that stays",
        "ours": peak,
        "peer": rest,
        "ratio": None,
        "goal": f"< {LIMIT_MB:g} MB, gone afterwards",
        "met": gone and peak < LIMIT_MB,
        "note": "",
    }


if __name__ == "__main__":
    print(measure(20))
