"""A ready answer is rendered once, and never served when what it tells has changed or its minute is over."""

from __future__ import annotations

import gzip
import json
from collections.abc import Hashable
from random import Random

from pydantic import BaseModel
from starlette.requests import Request
from starlette.testclient import TestClient

from forecaster.web.ready import SECONDS, ReadyAnswers
from tests.web import builders


class Answer(BaseModel):
    number: int
    answered_at_utc: str = "now"
    filling: str = ""


class Kitchen:
    """Counts how often it renders."""

    def __init__(self, **options: int) -> None:
        self.time, self.rendered = 0.0, 0
        self.ready = ReadyAnswers(clock=lambda: self.time, **options)

    def serve(self, key: Hashable = "a", mark: Hashable = 1, number: int = 1, filling: str = "", **headers: str) -> object:
        def render() -> Answer:
            self.rendered += 1
            return Answer(number=number, answered_at_utc=str(self.time), filling=filling)

        raw = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
        return self.ready.serve(Request({"type": "http", "headers": raw}), key, mark, render)


def test_it_is_rendered_once_for_a_mark_and_again_for_another() -> None:
    kitchen = Kitchen()
    first = kitchen.serve()
    assert kitchen.serve(number=2).body == first.body  # type: ignore[attr-defined]
    assert kitchen.rendered == 1
    assert json.loads(kitchen.serve(mark=2, number=2).body)["number"] == 2  # type: ignore[attr-defined]
    assert kitchen.rendered == 2


def test_it_is_rendered_again_when_its_time_is_over() -> None:
    kitchen = Kitchen()
    kitchen.serve()
    kitchen.time = SECONDS - 0.1
    kitchen.serve()
    assert kitchen.rendered == 1
    kitchen.time = SECONDS
    kitchen.serve()
    assert kitchen.rendered == 2


def test_zipped_and_plain_say_the_same_and_the_tag_does_not_change_with_the_clock() -> None:
    kitchen = Kitchen()
    plain, zipped = kitchen.serve(), kitchen.serve(accept_encoding="br, gzip")
    assert zipped.headers["content-encoding"] == "gzip"  # type: ignore[attr-defined]
    assert gzip.decompress(zipped.body) == plain.body  # type: ignore[attr-defined]
    kitchen.time = 2 * SECONDS
    later = kitchen.serve(if_none_match=plain.headers["etag"])  # type: ignore[attr-defined]
    assert later.status_code == 304  # type: ignore[attr-defined]


def test_what_was_not_asked_for_longest_goes_first_when_room_runs_out() -> None:
    kitchen = Kitchen(bytes_at_most=1500)
    fillings = {key: "".join(Random(key).choices("0123456789abcdef", k=1200)) for key in "abc"}  # about 700 bytes packed
    for key, filling in fillings.items():
        kitchen.serve(key, filling=filling)
    kitchen.serve("c", filling=fillings["c"])
    assert kitchen.rendered == 3
    kitchen.serve("a", filling=fillings["a"])
    assert kitchen.rendered == 4


def test_the_app_serves_zipped_answers_that_are_whole(client: TestClient) -> None:
    place = "/api/v1/grounds/thistlefold/surfaces/main-pitch/outlook"
    zipped = client.get(place, headers={"Accept-Encoding": "gzip"})
    assert zipped.headers["content-encoding"] == "gzip"
    plain = client.get(place, headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert zipped.json() == plain.json()
    assert plain.json()["answered_at_utc"] == builders.NOW.isoformat().replace("+00:00", "Z")
