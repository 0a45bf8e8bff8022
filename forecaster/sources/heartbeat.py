"""A sign of life to an address outside: whoever watches it learns that this machine, its network or this program has stopped.

Promise: never an error, and never longer than BEAT_SECONDS per read; a beat that fails is told in the log alone, without the address,
which is a secret of whoever watches.
"""

from __future__ import annotations

import logging

import requests

log = logging.getLogger(__name__)

BEAT_SECONDS = 5.0


def beat(session: requests.Session, address: str) -> bool:
    """Ask for the address once. True where the answer was a good one."""
    try:
        with session.get(address, timeout=BEAT_SECONDS, stream=True, allow_redirects=False) as answer:
            if answer.ok:
                return True
            log.warning("the heartbeat was answered with status %s", answer.status_code)
    except requests.RequestException as error:
        log.warning("the heartbeat did not arrive: %s", type(error).__name__)
    return False
