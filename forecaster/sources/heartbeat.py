"""A sign of life to an address outside: whoever watches it learns that this machine, its network or this program has stopped.

Promise: never an error, and never longer than BEAT_SECONDS by the clock on the wall; a beat that fails is told in the log alone, without
the address, which is a secret of whoever watches.
"""

from __future__ import annotations

import logging

import requests

from forecaster.sources.deadline import LeftBehind, done_within

log = logging.getLogger(__name__)

BEAT_SECONDS = 5.0


def beat(session: requests.Session, address: str, *, seconds: float = BEAT_SECONDS) -> bool:
    """Ask for the address once. True where the answer was a good one."""

    def asked(_abandoned: object) -> int:
        with session.get(address, timeout=seconds, stream=True, allow_redirects=False) as answer:
            return answer.status_code

    try:
        status = done_within(seconds, asked, name="heartbeat")
    except LeftBehind:
        log.warning("the heartbeat was not answered within %g s", seconds)
        return False
    except requests.RequestException as error:
        log.warning("the heartbeat did not arrive: %s", type(error).__name__)
        return False
    if status >= 400:
        log.warning("the heartbeat was answered with status %s", status)
    return status < 400
