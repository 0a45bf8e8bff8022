"""A weather service on the loopback that speaks as a test tells it: word for word, over a real connection."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs, urlsplit

Speak = Callable[[str, dict[str, str]], bytes | Iterator[bytes]]
"""From the path and the parameters of a question to the bytes of the answer, its head included; pieces come one each 50 ms."""


@dataclass
class FaultyServer:
    """``speak`` may be changed at any time; ``asked``: the paths of all questions so far."""

    address: str
    speak: Speak
    asked: list[str] = field(default_factory=list)


def spoken(
    status: str, body: bytes, *, kind: str = "application/json", length: int | None = None, headers: dict[str, str] | None = None
) -> bytes:
    """An answer in full. ``length``: said to be so long, whatever it is."""
    head = [
        f"HTTP/1.1 {status}",
        f"Content-Type: {kind}",
        f"Content-Length: {len(body) if length is None else length}",
        "Connection: close",
    ]
    head += [f"{name}: {value}" for name, value in (headers or {}).items()]
    return "\r\n".join(head).encode() + b"\r\n\r\n" + body


def as_json(content: Any, status: str = "200 OK", headers: dict[str, str] | None = None) -> bytes:
    return spoken(status, json.dumps(content).encode(), headers=headers)


@contextmanager
def faulty_server(speak: Speak) -> Iterator[FaultyServer]:
    """Serve until the end of the test; whoever is still being answered then is cut off."""
    over, talkers = threading.Event(), list[threading.Thread]()
    listener = socket.create_server(("127.0.0.1", 0))
    listener.settimeout(0.05)
    made = FaultyServer(f"http://127.0.0.1:{listener.getsockname()[1]}", speak)

    def talk(connection: socket.socket) -> None:
        with connection:
            connection.settimeout(2)
            request = b""
            try:
                while b"\r\n\r\n" not in request and (more := connection.recv(65536)):
                    request += more
                address = urlsplit(request.split(b" ")[1].decode())
                made.asked.append(address.path)
                answer = made.speak(address.path, {name: values[0] for name, values in parse_qs(address.query).items()})
                if isinstance(answer, bytes):
                    connection.sendall(answer)
                    return
                for piece in answer:
                    if over.wait(0.05):
                        return
                    connection.sendall(piece)
            except (BrokenPipeError, ConnectionResetError, TimeoutError):
                return  # the client went away, as it should

    def listen() -> None:
        while not over.is_set():
            try:
                connection, _ = listener.accept()
            except TimeoutError:
                continue
            talkers.append(threading.Thread(target=talk, args=(connection,)))
            talkers[-1].start()

    thread = threading.Thread(target=listen)
    thread.start()
    try:
        yield made
    finally:
        over.set()
        for waiting in (thread, *talkers):
            waiting.join(5)
        listener.close()
