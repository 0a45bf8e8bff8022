"""An orderly stop within ten seconds: a cycle under way is broken off, its lease given back; a message under way gets some seconds more."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

PATIENCE_SECONDS = 5.0
"""A message that is being handed over when the stop comes may take so long. Then it is broken off, and counts as perhaps arrived."""
STOP_SECONDS = 9.5
"""After this a process that was told to stop is killed by the one that started it; what it held runs out by itself."""


class Stopped(BaseException):
    """Raised in the main thread, where it may be broken off. No ``Exception``: a handler of ordinary errors must not swallow it."""


class Stop:
    """What SIGTERM does to this process, from entering it in the main thread until leaving it."""

    def __init__(self) -> None:
        self._asked = threading.Event()
        self._breakable = self._patient = False
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Stop:
        self._before[signal.SIGTERM] = signal.signal(signal.SIGTERM, self._on_stop)
        if hasattr(signal, "SIGALRM"):
            self._before[signal.SIGALRM] = signal.signal(signal.SIGALRM, self._on_end_of_patience)
        return self

    def __exit__(self, *_error: object) -> None:
        if hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_REAL, 0.0)
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def asked(self) -> bool:
        """Whether the process was told to stop: nothing new is begun then."""
        return self._asked.is_set()

    @contextmanager
    def breakable(self, *, patient: bool = False) -> Iterator[None]:
        """Work that a stop breaks off by raising Stopped: at once, or, where it is ``patient``, when PATIENCE_SECONDS have passed."""
        self._patient = patient
        self._breakable = True
        try:
            if self.asked() and not patient:
                raise Stopped
            yield
        finally:
            self._breakable = False

    def _on_stop(self, _signal: int, _frame: FrameType | None) -> None:
        first = not self.asked()
        self._asked.set()
        if self._breakable and not self._patient:
            self._break_off()
        elif first and hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_REAL, PATIENCE_SECONDS)

    def _on_end_of_patience(self, _signal: int, _frame: FrameType | None) -> None:
        if self._breakable:
            self._break_off()

    def _break_off(self) -> None:
        self._breakable = False  # once: giving back what is held must not be broken off too
        raise Stopped


def stop_with_parent() -> None:
    """Stop this process when the one that started it is gone: its end of the standard input closes then, however it ended."""

    def wait() -> None:
        # Not by sys.stdin: a thread that waits in its buffer makes the interpreter abort at its own end.
        while os.read(0, 1):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=wait, name="parent", daemon=True).start()
