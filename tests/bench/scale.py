"""Many grounds pulled, checked, stored and joined in one cycle, against a stand-in of the weather service on this machine.

The stand-in is a process of its own, and so is the one that is measured: its peak of memory is nobody else's. The first cycle asks for all
past days, the second, three hours later, for what is missing. Soil, outlooks and charts are not in it.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from math import cos, pi
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from tests.sources.answers import UNITS

GOAL_SECONDS, GOAL_MB, GOAL_GROUNDS = 600.0, 500.0, 2000
NOW = datetime(2026, 9, 12, 5, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]


@lru_cache(maxsize=8)
def hourly(past_days: int, forecast_days: int) -> str:
    """The hourly part of an answer as JSON: invented weather with a day's course and a shower every third day."""
    midnight = NOW.replace(hour=0)
    first, hours = midnight - timedelta(days=past_days), 24 * (past_days + forecast_days)
    course = [cos(2.0 * pi * (hour % 24 - 14) / 24.0) for hour in range(hours)]
    columns: dict[str, list[float]] = {
        "temperature_2m": [round(15.0 + 6.0 * part, 1) for part in course],
        "dew_point_2m": [9.0 for _ in course],
        "relative_humidity_2m": [round(70.0 - 20.0 * part, 0) for part in course],
        "wind_speed_10m": [round(3.0 + part, 1) for part in course],
        "shortwave_radiation": [round(max(0.0, 500.0 * part), 0) for part in course],
        "precipitation": [2.0 if hour % 72 == 30 else 0.0 for hour in range(hours)],
        "soil_temperature_6cm": [round(15.0 + part, 1) for part in course],
    }
    known = {name: columns[name] for name in UNITS if name != "time"}
    return json.dumps({"time": [int(first.timestamp()) + 3600 * hour for hour in range(hours)], **known})


class StandIn(BaseHTTPRequestHandler):
    """A list of answers for a list of places."""

    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        asked = {name: values[0] for name, values in parse_qs(urlsplit(self.path).query).items()}
        series = hourly(int(asked["past_days"]), int(asked["forecast_days"]))
        places = zip(asked["latitude"].split(","), asked["longitude"].split(","), strict=True)
        units = json.dumps(UNITS)
        answers = [
            f'{{"latitude": {latitude}, "longitude": {longitude}, "elevation": 60.0, "hourly_units": {units}, "hourly": {series}}}'
            for latitude, longitude in places
        ]
        body = (answers[0] if len(answers) == 1 else f"[{','.join(answers)}]").encode()
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_args: Any) -> None:
        """Nobody reads it."""


def stand_in() -> None:
    """Answer until the process is ended; tells its port first."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), StandIn)
    print(server.server_address[1], flush=True)
    server.serve_forever()


def two_cycles(count: int) -> dict[str, float]:
    """Pull, check, store and join so many grounds twice. Seconds of each cycle, hours joined for the last ground, peak memory [MB]."""
    from forecaster.ground.ground import WeatherChoice
    from forecaster.pipeline.gather import issues_to_store, joined_weather, read_onsite
    from forecaster.pipeline.pull import pull_weather
    from forecaster.pipeline.summaries import ground_summary
    from forecaster.pipeline.together import with_answers
    from forecaster.settings.environment import read_environment
    from forecaster.startup import make_context
    from forecaster.storage.database import reading, transaction
    from forecaster.storage.grounds import save_ground
    from forecaster.storage.weather import save_issue

    context = make_context(read_environment())
    sample = context.configuration.grounds[0]
    plain = replace(sample, weather=WeatherChoice("open-meteo"), recipients=(), surfaces=sample.surfaces[:1], fixtures=(), onsite=())
    # Half a degree apart: no two share an answer.
    grounds = tuple(
        replace(plain, id=f"ground-{number}", latitude=45.0 + number % 40 / 2.0, longitude=-10.0 + number // 40 / 2.0)
        for number in range(count)
    )
    options = replace(context.configuration.service, members_every_hours=0)
    configuration = replace(context.configuration, grounds=grounds, service=options)
    with transaction(context.engine) as session:
        for ground in grounds:
            save_ground(session, ground_summary(ground), NOW)
    seconds, joined = [], 0
    for now in (NOW, NOW + timedelta(hours=3)):
        cycle = replace(context, configuration=configuration, clock=lambda now=now: now)
        since, start = now - timedelta(days=options.history_days), time.perf_counter()
        for ground, asked in with_answers(grounds, cycle):
            pulled, onsite = pull_weather(ground, cycle, now=now, asked=asked.forecast), read_onsite(ground, now=now)
            if pulled.problem is not None:
                raise RuntimeError(f"{ground.id}: {pulled.problem}")
            with reading(cycle.engine) as session:
                weather = joined_weather(session, ground, pulled, onsite, now=now, since=since, stale_after_hours=options.stale_after_hours)
            with transaction(cycle.engine) as session:
                for issue in issues_to_store(ground, pulled.issues, now=now):
                    save_issue(session, issue)
            assert weather.frame is not None
            joined = len(weather.frame.values)
        seconds.append(time.perf_counter() - start)
    peak = peak_memory_mb()
    return {"first": seconds[0], "second": seconds[1], "hours": joined, "peak_mb": peak}


def peak_memory_mb() -> float:
    """The most memory this program has had resident. Not by getrusage: what it tells goes on from the process that started this one."""
    status = Path("/proc/self/status").read_text()
    return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))) * 1024 / 1e6  # Linux: kilobytes


def measured(count: int) -> dict[str, float]:
    """The same in a process of its own, beside a stand-in in another."""
    clean = {key: value for key, value in os.environ.items() if not key.startswith("FORECASTER_")} | {"PYTHONPATH": str(ROOT)}
    program = [sys.executable, "-m", "tests.bench.scale"]
    with (
        tempfile.TemporaryDirectory() as folder,
        subprocess.Popen([*program, "stand-in"], env=clean, stdout=subprocess.PIPE, text=True) as service,
    ):
        try:
            assert service.stdout is not None
            address = f"http://127.0.0.1:{int(service.stdout.readline())}"
            # With a key, as whoever looks after so many grounds has one: the free service's day is not for that.
            settings = {"DATA": folder, "OPENMETEO_URL": address, "OPENMETEO_ARCHIVE_URL": address, "OPENMETEO_KEY": "a-key-of-nobody"}
            environment = clean | {f"FORECASTER_{key}": value for key, value in settings.items()}
            done = subprocess.run([*program, str(count)], env=environment, stdout=subprocess.PIPE, text=True, check=True)
        finally:
            service.terminate()
    found: dict[str, float] = json.loads(done.stdout)
    return found


def measure(sizes: tuple[int, ...]) -> list[dict[str, Any]]:
    """One row for each number of grounds; only the goal's own number is judged."""
    rows = []
    for count in sizes:
        found = measured(count)
        judged = count >= GOAL_GROUNDS
        took = f"{found['first']:.1f} s, then {found['second']:.1f} s"
        note = f"{took}; peak {found['peak_mb']:.0f} MB; {found['hours']:.0f} hours each"
        rows.append(
            {
                "name": f"{count} grounds pulled, checked, stored and joined: grounds per second, first cycle beside the second",
                "ours": count / found["first"],
                "peer": count / found["second"],
                "ratio": None,
                "goal": f"{GOAL_GROUNDS} in {GOAL_SECONDS:g} s and {GOAL_MB:g} MB" if judged else "shown",
                "met": found["first"] < GOAL_SECONDS and found["peak_mb"] < GOAL_MB if judged else None,
                "note": note,
            }
        )
    return rows


if __name__ == "__main__":
    if sys.argv[1] == "stand-in":
        stand_in()
    else:
        print(json.dumps(two_cycles(int(sys.argv[1]))))
