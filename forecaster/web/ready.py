"""Answers that are asked for all the time, rendered once: served as bytes until what they tell changes, or a minute has gone by.

What is stored is asked about in every request (by a mark that is cheap to read), so an answer is never older than what it tells; its ages
and ``answered_at_utc`` are those of the minute.
"""

from __future__ import annotations

import gzip
import json
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from time import monotonic

from fastapi import Request, Response
from pydantic import BaseModel

from forecaster.web.conditional import tag_of, unchanged

BYTES_AT_MOST = 6 * 1024 * 1024
"""Of ready answers in one process. An outlook takes about 23 kB packed, so this is some 250 surfaces; where
more are asked for in turn, each is rendered every time."""
SECONDS = 60.0
GZIP_LEVEL = 6


@dataclass(frozen=True)
class Ready:
    """One answer, ready to be sent."""

    mark: Hashable
    until: float
    tag: str
    zipped: bytes

    @property
    def plain(self) -> bytes:
        """Unpacked anew for the few who cannot take it packed."""
        return gzip.decompress(self.zipped)


def to_the_minute(moment: datetime) -> datetime:
    """A moment as ready answers tell it."""
    return moment.replace(second=0, microsecond=0)


class ReadyAnswers:
    """The ready answers of one process, those that were asked for last."""

    def __init__(self, *, bytes_at_most: int = BYTES_AT_MOST, clock: Callable[[], float] = monotonic) -> None:
        self._kept: OrderedDict[Hashable, Ready] = OrderedDict()
        self._size, self._at_most, self._clock, self._lock, self._rendering = 0, bytes_at_most, clock, Lock(), Lock()

    def serve(self, request: Request, key: Hashable, mark: Hashable, render: Callable[[], BaseModel]) -> Response:
        """The answer under a key, rendered anew where ``mark`` is another than it was rendered for; 304 where the client holds it."""
        found = self._kept.get(key)
        if found is None or found.mark != mark or found.until <= self._clock():
            # One at a time: what rendering takes for a moment is many times what is kept, and memory once taken is seldom given back.
            with self._rendering:
                found = self._kept.get(key)
                if found is None or found.mark != mark or found.until <= self._clock():
                    found = self._keep(key, self._rendered(mark, render()))
        headers = {"ETag": found.tag, "Cache-Control": "no-cache", "Vary": "Accept-Encoding"}
        if unchanged(request, found.tag):
            return Response(status_code=304, headers=headers)
        if "gzip" in request.headers.get("accept-encoding", ""):
            return Response(found.zipped, media_type="application/json", headers=headers | {"Content-Encoding": "gzip"})
        return Response(found.plain, media_type="application/json", headers=headers)

    def _rendered(self, mark: Hashable, answer: BaseModel) -> Ready:
        body = answer.model_dump(mode="json")
        plain = json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        return Ready(mark, self._clock() + SECONDS, tag_of(body), gzip.compress(plain, GZIP_LEVEL, mtime=0))

    def _keep(self, key: Hashable, ready: Ready) -> Ready:
        with self._lock:
            before = self._kept.pop(key, None)
            self._kept[key] = ready
            self._size += len(ready.zipped) - (0 if before is None else len(before.zipped))
            while self._size > self._at_most and len(self._kept) > 1:
                _, dropped = self._kept.popitem(last=False)
                self._size -= len(dropped.zipped)
        return ready
