"""Two processes side by side: the web process answers, the cycle process computes. When one ends, so does the other."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from contextlib import closing
from types import FrameType
from typing import IO

from forecaster.errors import ConfigurationError, Mistake
from forecaster.settings.environment import Environment, environment_with
from forecaster.stopping import STOP_SECONDS
from forecaster.watchdog import tell_systemd

READY_SECONDS = 60.0
FEW_ARENAS = {"MALLOC_ARENA_MAX": "2"}
"""For glibc: each thread of the web process would else take memory of its own and keep it, 2 to 3 MB in all. Others ignore it."""
LOOK_SECONDS = 0.2
UNSPECIFIED = {"0.0.0.0": "127.0.0.1", "::": "::1"}
"""Addresses that stand for all of this machine, and one under which it can be asked."""


def checked_clock() -> str | None:
    """Check the configuration in a process of its own, so that this one stays small for as long as the service runs.

    Returns the moment at which invented weather stands still ("" for real grounds), or None where the configuration has mistakes; the
    other process has then listed them.
    """
    checked = subprocess.run(_command("clock"), stdout=subprocess.PIPE, text=True, check=False)
    return checked.stdout.strip() if checked.returncode == 0 else None


def serve_both(environment: Environment, *, say: Callable[[str], None], opening: str) -> int:
    """Start both processes, say the address once pages stand behind it, and wait. Returns the exit code of the service.

    Promise: neither process outlives the other or this one's orderly end. Raises: ConfigurationError where the address cannot be served.
    """
    _refuse_address_that_cannot_be_served(environment)
    processes: dict[str, subprocess.Popen[bytes]] = {}
    told_to_stop = False

    def stop(signum: int, _frame: FrameType | None) -> None:
        nonlocal told_to_stop
        told_to_stop = True
        for process in processes.values():
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)

    # Before the first process starts; also a terminal that is closed, which would else leave two processes with nobody to stop them.
    for number in [getattr(signal, name) for name in ("SIGTERM", "SIGINT", "SIGHUP") if hasattr(signal, name)]:
        if signal.getsignal(number) is not signal.SIG_IGN:  # nohup
            signal.signal(number, stop)
    reachable = UNSPECIFIED.get(environment.host, environment.host)
    address = f"http://{f'[{reachable}]' if ':' in reachable else reachable}:{environment.port}/"
    try:
        for name, command in (("cycle", "worker"), ("web", "web")):
            if not told_to_stop:
                processes[name] = _start(command)
        if _wait_until_ready(processes, address, stopping=lambda: told_to_stop):
            if opening:
                say(opening)
            say(f"Pages:    {address}")
            say(f"API:      {address}api/v1/")
            if environment.keys_needed:
                elsewhere = environment.public_url or ("other machines" if environment.host in UNSPECIFIED else environment.host)
                say(f"Keys:     needed, it can be reached from {elsewhere}. Whoever listens in reads them where there is no https.")
            if environment.mail_folder is not None:
                say(f"Mails:    {environment.mail_folder}")
            say("Stop with Ctrl-C.")
            tell_systemd("READY=1")
        while not told_to_stop and all(process.poll() is None for process in processes.values()):
            time.sleep(LOOK_SECONDS)
    finally:
        tell_systemd("STOPPING=1")
        stop(signal.SIGTERM, None)
        codes = {name: _end(process) for name, process in processes.items()}
    wanted = (0, -signal.SIGTERM, -signal.SIGINT)
    failed = [f"the {name} process ended with code {code}" for name, code in codes.items() if code not in wanted]
    for line in failed:
        say(f"forecaster: {line}.")
    return 1 if failed else 0


def _refuse_address_that_cannot_be_served(environment: Environment) -> None:
    family = socket.AF_INET6 if ":" in environment.host else socket.AF_INET
    with closing(socket.socket(family, socket.SOCK_STREAM)) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((environment.host, environment.port))
        except OSError as error:
            allowed = f"a free port ({error.strerror}); another service is running on this one, or choose another with --port"
            raise ConfigurationError([Mistake("environment", "FORECASTER_PORT", str(environment.port), allowed)]) from error


def _start(command: str) -> subprocess.Popen[bytes]:
    # A session of its own: Ctrl-C reaches this process alone, which then stops both in order.
    environment = environment_with(FEW_ARENAS) if command == "web" else None
    return subprocess.Popen(_command(command), env=environment, start_new_session=True)


def _command(name: str) -> list[str]:
    return [sys.executable, "-m", "forecaster", name]


def _wait_until_ready(processes: dict[str, subprocess.Popen[bytes]], address: str, *, stopping: Callable[[], bool]) -> bool:
    """Wait for the first cycle of every ground, a minute at most; False where a process ended or the service was told to stop."""

    def goes_on() -> bool:
        return not stopping() and all(process.poll() is None for process in processes.values())

    until = time.monotonic() + READY_SECONDS
    while time.monotonic() < until and goes_on() and not _every_ground_has_run(address):
        time.sleep(LOOK_SECONDS)
    return goes_on()


def _every_ground_has_run(address: str) -> bool:
    """Whether the readiness check, which needs no key, counts a good cycle for every ground. Old weather may still make it say 503."""
    try:
        with urllib.request.urlopen(f"{address}api/v1/ready", timeout=2.0) as answer:
            found = json.load(answer)
    except urllib.error.HTTPError as error:
        with error:
            found = _document(error)
    except (OSError, ValueError):
        return False
    return isinstance(found, dict) and found.get("grounds", 0) > 0 and found.get("grounds_without_good_cycle") == 0


def _document(answer: IO[bytes]) -> object:
    """The body of an answer; None where it is not JSON, as with another program at this address."""
    try:
        return json.load(answer)
    except (OSError, ValueError):
        return None


def _end(process: subprocess.Popen[bytes]) -> int:
    try:
        return process.wait(timeout=STOP_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        return process.wait()
