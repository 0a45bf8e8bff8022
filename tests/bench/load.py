"""Requests on outlooks and alerts while cycles run, over loopback: the web process as it is served, twenty grounds, an open loop.

Requests are sent when they are due, not when the one before was answered, and are timed from when they were due: waiting in a queue counts.
"""

from __future__ import annotations

import asyncio
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import psutil

from forecaster.processes import FEW_ARENAS

REPOSITORY = Path(__file__).resolve().parents[2]
GROUNDS = 20
PER_SECOND = 300
CONNECTIONS = 24
SURFACES = ("main-pitch", "lower-pitch", "outfield", "bowling-green")

CYCLES = """
import os
os.nice(10)  # as the process does that ``serve`` starts for what is due
from forecaster.settings.environment import read_environment
from forecaster.startup import make_context
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.cycle import register_grounds
context = make_context(read_environment())
register_grounds(context)
while True:
    run_cycles(context)
    print("cycle", flush=True)
"""


def write_grounds(folder: Path) -> list[str]:
    """A configuration with twenty invented grounds, all like the shipped one."""
    shutil.copytree(REPOSITORY / "config", folder)
    shipped = folder / "grounds" / "brackenholt.toml"
    text = shipped.read_text(encoding="utf-8")
    shipped.unlink()
    names = [f"ground-{number}" for number in range(GROUNDS)]
    for name in names:
        (folder / "grounds" / f"{name}.toml").write_text(text.replace('id = "brackenholt"', f'id = "{name}"'), encoding="utf-8")
    return names


def addresses(names: list[str]) -> list[str]:
    """Outlooks and alerts by turns, of every ground and surface."""
    outlooks = [f"/api/v1/grounds/{name}/surfaces/{surface}/outlook" for name in names for surface in SURFACES]
    alerts = [f"/api/v1/grounds/{name}/alerts" for name in names]
    return [address for number, outlook in enumerate(outlooks) for address in (outlook, alerts[number % len(alerts)])]


async def ask(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, address: str) -> int:
    """One request on a connection that stays open; the status."""
    writer.write(f"GET {address} HTTP/1.1\r\nHost: localhost\r\nAccept-Encoding: gzip\r\n\r\n".encode())
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").lower()
    length = int(head.split("content-length:")[1].split("\r\n")[0])
    await reader.readexactly(length)
    return int(head.split(" ", 2)[1])


async def load(port: int, wanted: list[str], seconds: float) -> tuple[list[float], int, float]:
    """Latencies [s] from when each request was due, how many were not answered with 200, and the seconds that it all took."""
    total = int(PER_SECOND * seconds)
    queue: asyncio.Queue[tuple[float, str] | None] = asyncio.Queue()
    latencies: list[float] = []
    wrong = 0

    async def worker() -> None:
        nonlocal wrong
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        while (item := await queue.get()) is not None:
            due, address = item
            status = await ask(reader, writer, address)
            latencies.append(time.perf_counter() - due)
            wrong += status != 200
        writer.close()

    workers = [asyncio.create_task(worker()) for _ in range(CONNECTIONS)]
    began = time.perf_counter() + 0.1
    for number in range(total):
        due = began + number / PER_SECOND
        await asyncio.sleep(max(0.0, due - time.perf_counter()))
        queue.put_nowait((due, wanted[number % len(wanted)]))
    for _ in workers:
        queue.put_nowait(None)
    await asyncio.gather(*workers)
    return latencies, wrong, time.perf_counter() - began


def wait_for(port: int, process: subprocess.Popen[bytes], seconds: float = 60.0) -> None:
    """Until the port answers."""
    until = time.monotonic() + seconds
    while time.monotonic() < until and process.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise RuntimeError("the web process did not start")


def measure(*, smoke: bool) -> list[dict[str, Any]]:
    """Two lines of the report: speed under load, and memory of the web process."""
    with tempfile.TemporaryDirectory() as folder, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        names = write_grounds(Path(folder) / "config")
        environment = os.environ | {
            "PYTHONPATH": str(REPOSITORY),
            "FORECASTER_CONFIG": str(Path(folder) / "config"),
            "FORECASTER_DATA": str(Path(folder) / "var"),
            "FORECASTER_PORT": str(port),
        }
        clock = subprocess.run([sys.executable, "-m", "forecaster", "clock"], env=environment, capture_output=True, text=True, check=True)
        environment["FORECASTER_FIXED_NOW"] = clock.stdout.strip()
        cycles = subprocess.Popen([sys.executable, "-c", CYCLES], env=environment, stdout=subprocess.PIPE)
        web = None
        try:
            assert cycles.stdout is not None
            if not cycles.stdout.readline():
                raise RuntimeError("the process with the cycles ended")
            web = subprocess.Popen([sys.executable, "-m", "forecaster", "web"], env=FEW_ARENAS | environment)  # as ``serve`` starts it
            wait_for(port, web)
            seconds = 2.0 if smoke else 20.0
            wanted = addresses(names)
            asyncio.run(load(port, wanted, 1.0 if smoke else 3.0))  # every answer rendered once
            latencies, wrong, took = asyncio.run(load(port, wanted, seconds))
            if cycles.poll() is not None:
                raise RuntimeError("the process with the cycles ended")
            resident = psutil.Process(web.pid).memory_info().rss / 1e6
        finally:
            for process in (cycles, web):
                if process is not None:
                    process.terminate()
                    process.wait(30)
    latencies.sort()
    p50, p99 = (latencies[int(share * (len(latencies) - 1))] * 1000.0 for share in (0.5, 0.99))
    rate = len(latencies) / took
    note = f"{rate:.0f} requests/s of {PER_SECOND} asked for, median {p50:.1f} ms, {wrong} not answered"
    held = p99 < 50.0 and wrong == 0 and rate > 0.97 * PER_SECOND
    row = {"peer": None, "ratio": None}
    return [
        {"name": "p99 on outlook and alerts while cycles run, ms", "ours": p99, "goal": "< 50 ms", "met": held, "note": note, **row},
        {
            "name": f"web process under that load, {GROUNDS} grounds, MB resident",
            "ours": resident,
            "goal": "< 100 MB",
            "met": resident < 100.0,
            "note": "",
            **row,
        },
    ]


if __name__ == "__main__":
    for line in measure(smoke="--smoke" in sys.argv):
        print(line)
