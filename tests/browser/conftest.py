"""A real browser on a real server, both on loopback."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Browser, sync_playwright

from forecaster.charts.render import render_svg
from forecaster.charts.surface import chart_set
from forecaster.web.app import create_app
from tests.web import builders

START_SECONDS = 20.0
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
# No sandbox: CI runs as root, where Chromium refuses to start with one. The rest keeps it from calling home.
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="session")
def chromium() -> str:
    found = next((path for name in CHROMIUM_NAMES if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium found")
    return str(Path(found))


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def address(chromium: str) -> Iterator[str]:
    store = builders.MemoryStore()
    for outlook in store.outlook_list:
        charts = {name: render_svg(spec) for name, spec in chart_set(outlook).items()}
        store.chart_map[outlook.ground_id, outlook.surface_id] = charts
    with served(create_app(store, now=lambda: builders.NOW)) as found:
        yield found


@contextmanager
def served(app: FastAPI) -> Iterator[str]:
    """An application on loopback, and its address."""
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning", lifespan="off"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + START_SECONDS
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    assert server.started
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=START_SECONDS)
