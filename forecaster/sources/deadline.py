"""Work that is left behind at a deadline, because the time limits of network libraries are per read: a dripping server never meets them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as NotInTime
from typing import TypeVar

Result = TypeVar("Result")


class LeftBehind(Exception):
    """The work was not done by its deadline."""


def done_within(seconds: float, work: Callable[[threading.Event], Result], *, name: str) -> Result:
    """Do the work in a thread of its own and give back its result; its errors are raised here.

    The event is set when nobody waits any more: work that goes on looks at it now and then. Raises: LeftBehind.
    """
    future: Future[Result] = Future()
    abandoned = threading.Event()

    def run() -> None:
        try:
            future.set_result(work(abandoned))
        except BaseException as error:  # noqa: BLE001  (not swallowed: the waiting caller raises it)
            future.set_exception(error)

    threading.Thread(target=run, name=name, daemon=True).start()
    try:
        return future.result(timeout=seconds)
    except NotInTime:
        if future.done():  # the work's own
            raise
        abandoned.set()
    raise LeftBehind
