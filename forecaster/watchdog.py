"""What systemd is told: that the service is up, that it is alive, that it ends (sd_notify: one datagram to the socket it names)."""

from __future__ import annotations

import os
import socket
from time import monotonic

_last_alive = float("-inf")


def tell_systemd(state: str) -> bool:
    """Send a state such as "READY=1". False where nobody asked to be told, or the datagram could not be sent: that stops nothing."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return False
    name = "\0" + address[1:] if address.startswith("@") else address  # an abstract socket begins with a null byte
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
            line.settimeout(1.0)
            line.sendto(state.encode(), name)
    except OSError:
        return False
    return True


def tell_alive() -> None:
    """Say that the worker ticks, at most a few times in the span after which systemd takes it for dead."""
    global _last_alive
    try:
        every_s = int(os.environ.get("WATCHDOG_USEC", "")) / 1e6 / 4.0
    except ValueError:
        return
    if monotonic() - _last_alive >= every_s and tell_systemd("WATCHDOG=1"):
        _last_alive = monotonic()
