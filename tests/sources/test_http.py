"""Deadlines, sizes and attempts against real servers on the loopback, because the library's time limits are per read."""

from __future__ import annotations

import gzip
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import requests
import responses

from forecaster.errors import WeatherMalformed, WeatherRefused, WeatherUnavailable
from forecaster.sources.http import Patience, Query, fetch_json

Speak = Callable[[socket.socket, threading.Event], None]


@contextmanager
def server(speak: Speak) -> Iterator[tuple[str, list[float]]]:
    """A server that reads a request and lets ``speak`` answer it; yields its address and the times at which it was asked."""
    over, asked, talkers = threading.Event(), [], []
    listener = socket.create_server(("127.0.0.1", 0))
    listener.settimeout(0.05)

    def talk(connection: socket.socket) -> None:
        with connection:
            connection.settimeout(2)
            request = b""
            while b"\r\n\r\n" not in request and (more := connection.recv(4096)):
                request += more
            try:
                speak(connection, over)
            except (BrokenPipeError, ConnectionResetError):
                return  # the client went away, as it should

    def listen() -> None:
        while not over.is_set():
            try:
                connection, _ = listener.accept()
            except TimeoutError:
                continue
            asked.append(time.monotonic())
            talkers.append(threading.Thread(target=talk, args=(connection,)))
            talkers[-1].start()

    thread = threading.Thread(target=listen)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}/v1/forecast", asked
    finally:
        over.set()
        for waiting in (thread, *talkers):
            waiting.join(5)
        listener.close()


def drip(connection: socket.socket, over: threading.Event, text: bytes) -> None:
    for byte in text:
        if over.wait(0.05):
            return
        connection.sendall(bytes([byte]))


def fetch(url: str, patience: Patience) -> object:
    with requests.Session() as session:
        return fetch_json(session, Query(source="Test weather", url=url, params={}), patience=patience)


def never(seconds: float) -> None:
    """In place of sleeping."""


# ---------------------------------------------------------------- the clock on the wall


@pytest.mark.parametrize("where", ["body", "header", "silence"])
def test_a_server_that_drips_is_left_at_the_deadline(where: str) -> None:
    head = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n"

    def speak(connection: socket.socket, over: threading.Event) -> None:
        if where == "silence":
            over.wait(5)
        elif where == "header":
            drip(connection, over, head)
        else:
            connection.sendall(head)
            drip(connection, over, b"[" + b" " * 99)

    with server(speak) as (url, asked):
        started = time.monotonic()
        with pytest.raises(WeatherUnavailable, match="within 1 second"):
            fetch(url, Patience(deadline_seconds=0.8, read_seconds=5.0, sleep=never))
        took = time.monotonic() - started
    assert 0.7 < took < 2.0
    assert len(asked) == 1  # the deadline is for all attempts together


def test_a_server_that_is_silent_for_too_long_is_asked_again() -> None:
    def speak(connection: socket.socket, over: threading.Event) -> None:
        over.wait(3)

    with server(speak) as (url, asked), pytest.raises(WeatherUnavailable, match="did not answer in time"):
        fetch(url, Patience(deadline_seconds=5.0, read_seconds=0.15, sleep=never))
    assert len(asked) == 3


def test_a_slow_answer_within_the_deadline_is_taken() -> None:
    def speak(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 7\r\n\r\n")
        drip(connection, over, b'{"a":1}')

    with server(speak) as (url, _):
        assert fetch(url, Patience(deadline_seconds=5.0)) == {"a": 1}


# ---------------------------------------------------------------- bodies


def test_a_body_that_ends_early_is_tried_again_and_then_unavailable() -> None:
    def speak(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(b'HTTP/1.1 200 OK\r\nContent-Length: 500\r\n\r\n{"latitude": 52.5}')

    with server(speak) as (url, asked), pytest.raises(WeatherUnavailable, match="broke off its answer"):
        fetch(url, Patience(deadline_seconds=5.0, sleep=never))
    assert len(asked) == 3


def test_a_chunked_body_that_ends_early_is_tried_again_and_the_second_may_be_whole() -> None:
    answers = [b'5\r\n{"a":', b'7\r\n{"a":1}\r\n0\r\n\r\n']

    def speak(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n" + answers.pop(0))

    with server(speak) as (url, asked):
        assert fetch(url, Patience(deadline_seconds=5.0, sleep=never)) == {"a": 1}
    assert len(asked) == 2


def test_a_packed_body_is_unpacked() -> None:
    packed = gzip.compress(json.dumps({"hours": list(range(50_000))}).encode())

    def speak(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(f"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: {len(packed)}\r\n\r\n".encode() + packed)

    with server(speak) as (url, _):
        assert fetch(url, Patience(deadline_seconds=5.0)) == {"hours": list(range(50_000))}


@pytest.mark.parametrize("packing", ["plain", "gzip"])
def test_a_body_without_end_is_cut_at_the_size_limit(packing: str) -> None:
    body = b" " * 2_000_000
    sent = gzip.compress(body) if packing == "gzip" else body  # packed it is 2 kB: the limit is on what it unpacks to

    def speak(connection: socket.socket, over: threading.Event) -> None:
        encoding = b"Content-Encoding: gzip\r\n" if packing == "gzip" else b""
        connection.sendall(b"HTTP/1.1 200 OK\r\n" + encoding + b"\r\n" + sent)

    with server(speak) as (url, asked), pytest.raises(WeatherMalformed, match="more than 1 MB") as caught:
        fetch(url, Patience(deadline_seconds=5.0, size_limit=1_000_000))
    assert caught.value.source == "Test weather"
    assert len(asked) == 1


# ---------------------------------------------------------------- connections and pauses


def test_a_closed_door_is_unavailable_and_the_address_is_not_repeated() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(WeatherUnavailable, match="could not be reached") as caught:
        fetch(f"http://127.0.0.1:{port}/?apikey=s3cret", Patience(deadline_seconds=5.0, sleep=never))
    assert "s3cret" not in repr(caught.value)
    assert caught.value.__context__ is None


@pytest.mark.parametrize("url", ["not an address", "ftp://weather.example/", "http://"])
def test_an_address_that_cannot_be_used_is_refused_at_once(url: str) -> None:
    with pytest.raises(WeatherRefused, match="address that cannot be used"):
        fetch(url, Patience(deadline_seconds=5.0, sleep=never))


@responses.activate
def test_pauses_are_drawn_between_nothing_and_a_limit_that_doubles() -> None:
    responses.get("https://weather.example/", status=503)
    pauses: list[float] = []
    with pytest.raises(WeatherUnavailable, match="out of order"):
        fetch("https://weather.example/", Patience(longest_pause_seconds=2.0, draw=lambda: 0.75, sleep=pauses.append))
    assert pauses == [1.5, 3.0]


@responses.activate
def test_no_pause_reaches_past_the_deadline() -> None:
    responses.get("https://weather.example/", status=503)
    pauses: list[float] = []
    with pytest.raises(WeatherUnavailable, match="out of order"):
        fetch("https://weather.example/", Patience(deadline_seconds=2.0, longest_pause_seconds=2.5, draw=lambda: 1.0, sleep=pauses.append))
    assert pauses == []
    assert len(responses.calls) == 1


@responses.activate
def test_a_reason_is_shortened_to_one_line() -> None:
    responses.get("https://weather.example/", status=400, json={"reason": "first\n\x1b[31msecond " + "x" * 500})
    with pytest.raises(WeatherRefused) as caught:
        fetch("https://weather.example/", Patience())
    assert caught.value.message.isprintable()
    assert len(caught.value.message) < 300
