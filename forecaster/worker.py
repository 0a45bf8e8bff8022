"""The resident worker: looks every minute whether anything is due, and has it done by a process that ends, so that its memory returns.

It holds no state and stays small: what is due stands in the task table and in the outbox, so a restart, a missed hour or a clock change
needs no luck. On SQLite there is one worker to a database; on PostgreSQL any number, which share the work by leases.
"""

from __future__ import annotations

import logging
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import FrameType

from apscheduler.events import EVENT_JOB_ERROR, EVENT_SCHEDULER_STARTED, JobExecutionEvent
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.interval import IntervalTrigger
from filelock import FileLock, Timeout
from sqlalchemy import Engine, make_url

from forecaster.errors import StorageError
from forecaster.stopping import STOP_SECONDS
from forecaster.storage.clock import doubt_of_clock
from forecaster.storage.database import reading
from forecaster.storage.messages import anything_to_send
from forecaster.storage.tasks import any_free_task
from forecaster.watchdog import tell_alive

log = logging.getLogger(__name__)

TICK_SECONDS = 60
LOOK_SECONDS = 0.2
LONGEST_RUN = timedelta(hours=3)
"""A process that works for longer hangs; it is killed, and what it held runs out. Status: assumption, for thousands of grounds."""
CHILD_STOPS_WITHIN = STOP_SECONDS - 1.5
"""The worker's own stop must be over before the process that started it loses patience."""


class Worker:
    """Ticks and has done what is due. ``clock`` gives tz-aware UTC, or a moment that stands still; ``command`` starts the process.

    ``watched``: the configuration folder; a change in it is work too, and taken up at the next tick.
    """

    def __init__(self, engine: Engine, clock: Callable[[], datetime], command: list[str], *, watched: Path) -> None:
        self._engine, self._clock, self._command, self._watched = engine, clock, command, watched
        self._seen = stamps(watched)
        self._told_to_stop = threading.Event()

    def keep_working(self) -> int:
        """Do what is due now, then look at every tick, until the process is told to stop. Returns an exit code.

        The first run must go well: else its exit code is returned at once. Later failures are logged and tried again at the next tick.
        """
        scheduler = BlockingScheduler(timezone=UTC)

        def stop(_signal: int, _frame: FrameType | None) -> None:
            self._told_to_stop.set()
            if scheduler.running:
                scheduler.shutdown(wait=False)  # the interpreter waits for the tick that runs before it ends

        signal.signal(signal.SIGTERM, stop)
        code = self._work()
        if self._told_to_stop.is_set() or code != 0:
            return 0 if self._told_to_stop.is_set() else code
        scheduler.add_listener(_tell, EVENT_JOB_ERROR)
        # Told to stop just before it started, it was not running yet and could not be shut down.
        scheduler.add_listener(lambda _event: self._told_to_stop.is_set() and scheduler.shutdown(wait=False), EVENT_SCHEDULER_STARTED)
        first = datetime.now(UTC) + timedelta(seconds=TICK_SECONDS)
        trigger = IntervalTrigger(seconds=TICK_SECONDS, start_date=first, timezone=UTC)
        scheduler.add_job(self.tick, trigger, coalesce=True, max_instances=1, misfire_grace_time=None)
        scheduler.start()
        return 0

    def tick(self) -> bool:
        """Have done what is due, if anything is. Returns whether there was something."""
        tell_alive()
        before, self._seen = self._seen, stamps(self._watched)
        if before == self._seen and not something_is_due(self._engine, self._clock()):
            return False
        code = self._work()
        if code != 0 and not self._told_to_stop.is_set():
            log.error("what was due ended with code %s; it is tried again", code)
        return True

    def _work(self) -> int:
        # A session of its own: Ctrl-C reaches one process alone, which then stops the others in order.
        with subprocess.Popen(self._command, stdin=subprocess.PIPE, start_new_session=True) as child:
            until = time.monotonic() + LONGEST_RUN.total_seconds()
            while child.poll() is None:
                tell_alive()
                if self._told_to_stop.wait(LOOK_SECONDS):
                    child.terminate()
                    return _end(child, CHILD_STOPS_WITHIN)
                if time.monotonic() > until:
                    log.error("what was due is not done after %s; it is broken off and tried again", LONGEST_RUN)
                    child.terminate()
                    return _end(child, CHILD_STOPS_WITHIN)
            return child.returncode


def stamps(folder: Path) -> dict[str, tuple[int, int]]:
    """By file of a configuration folder: when it was changed, and its size. A file that vanishes meanwhile counts as changed next time."""
    found = {}
    for file in folder.rglob("*.toml"):
        with suppress(OSError):
            state = file.stat()
            found[str(file)] = (state.st_mtime_ns, state.st_size)
    return found


def something_is_due(engine: Engine, now: datetime) -> bool:
    """Whether there is work for a process. Raises: StorageError."""
    with reading(engine) as session:
        return any_free_task(session, now, real_now=datetime.now(UTC)) or (
            anything_to_send(session, now) and doubt_of_clock(session, now) is None
        )


@contextmanager
def only_worker(database_url: str) -> Iterator[None]:
    """Be the one worker of an SQLite database; on PostgreSQL there may be many. The lock ends with the process, however that ends.

    Raises: StorageError where another process is the worker.
    """
    path = worker_lock(database_url)
    if path is None:
        yield
        return
    lock = FileLock(path)
    try:
        lock.acquire(blocking=False)
    except Timeout as error:
        raise StorageError(
            f"another service works with the database {make_url(database_url).database}",
            hint="One service is enough. Stop the other one first, or give this one a data folder of its own.",
        ) from error
    except OSError as error:
        raise StorageError(
            f"cannot write {path}: {error.strerror}", hint="Let the user that runs the forecaster write to this folder."
        ) from error
    with lock:
        yield


def worker_lock(database_url: str) -> str | None:
    """The file that the worker of an SQLite database keeps locked; None for other databases."""
    url = make_url(database_url)
    return f"{url.database}.worker" if url.get_backend_name() == "sqlite" and url.database else None


def work_command() -> list[str]:
    """The command that does what is due and ends."""
    return [sys.executable, "-m", "forecaster", "work"]


def _end(child: subprocess.Popen[bytes], within_s: float) -> int:
    try:
        return child.wait(timeout=within_s)
    except subprocess.TimeoutExpired:
        child.kill()
        return child.wait()


def _tell(event: JobExecutionEvent) -> None:
    log.error("a tick failed: %s", event.exception)
