"""Feeds: alerts as Atom and as CAP, work and keep-off times as a calendar. Open to keys that see the ground, and by private addresses.

A private address is for programs that can send no key: the signed word in it reads the feeds of one ground until it is revoked.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime
from typing import Literal

from fastapi import APIRouter, Request, Response
from sqlalchemy import Engine

from forecaster.documents import GroundSummary
from forecaster.errors import NotFound
from forecaster.feeds.atom import render_atom
from forecaster.feeds.calendar import render_calendar
from forecaster.feeds.cap import CONTENT_TYPE
from forecaster.feeds.cap_index import render_cap_index
from forecaster.feeds.events import feed_events
from forecaster.storage.calendar import kept_events
from forecaster.storage.cap_messages import cap_message, listed_cap_messages
from forecaster.storage.cycles import latest_cycle
from forecaster.storage.database import reading
from forecaster.storage.episodes import alerts_of
from forecaster.storage.grounds import get_ground
from forecaster.storage.keep_off import keep_offs
from forecaster.storage.links import feed_purpose, signed_content
from forecaster.web.conditional import unchanged

ALERTS_IN_FEED = 100
KINDS = {
    "alerts.atom": "application/atom+xml",
    "cap.atom": "application/atom+xml",
    "calendar.ics": "text/calendar; charset=utf-8",
}
Kind = Literal["alerts.atom", "cap.atom", "calendar.ics"]


def feed_router(engine: Engine, now: Callable[[], datetime], public_url: str | None) -> APIRouter:
    """The addresses of the feeds. A ground that the visitor may not see is refused before they are reached."""
    router = APIRouter(include_in_schema=False)
    methods = ["GET", "HEAD"]

    @router.api_route("/feeds/{ground}/{kind}", methods=methods)
    def show_feed(request: Request, ground: str, kind: Kind) -> Response:
        return answer(request, ground, kind)

    # The ground is not named "ground" here: the word, not a key, is what gives the right to it.
    @router.api_route("/feeds/private/{place}/{word}/{kind}", methods=methods)
    def show_private_feed(request: Request, place: str, word: str, kind: Kind) -> Response:
        prove(place, word)
        return answer(request, place, kind)

    @router.api_route("/feeds/{ground}/cap/{identifier}.xml", methods=methods)
    def show_message(request: Request, ground: str, identifier: str) -> Response:
        return message(request, ground, identifier)

    @router.api_route("/feeds/private/{place}/{word}/cap/{identifier}.xml", methods=methods)
    def show_private_message(request: Request, place: str, word: str, identifier: str) -> Response:
        prove(place, word)
        return message(request, place, identifier)

    def prove(place: str, word: str) -> None:
        with reading(engine) as session:
            signed = signed_content(session, feed_purpose(place), word)
        if signed != [place]:
            raise NotFound("This address opens no feed.", hint="It may have been revoked: ask whoever runs this program for a new one.")

    def message(request: Request, ground_id: str, identifier: str) -> Response:
        with reading(engine) as session:
            get_ground(session, ground_id)
            found = cap_message(session, ground_id, identifier)
        return served(request, found.body, CONTENT_TYPE)

    def answer(request: Request, ground_id: str, kind: Kind) -> Response:
        moment = now()
        with reading(engine) as session:
            ground = get_ground(session, ground_id)
            if kind == "calendar.ics":
                events = feed_events(ground, kept_events(session, ground_id), keep_offs(session, ground_id, moment))
                body = render_calendar(events, name=_title(ground))
            else:
                cycle = latest_cycle(session, ground_id, now=moment, among=("ok", "degraded"))
                alerts = alerts_of(session, ground_id)[:ALERTS_IN_FEED]
                judged = cycle.finished_at if cycle else max((alert.raised_at_utc for alert in alerts), default=moment)
                address = None if public_url is None else f"{public_url}{request.url.path}"
                if kind == "cap.atom":
                    body = render_cap_index(ground, listed_cap_messages(session, ground_id, moment), updated_at=judged, self_url=address)
                else:
                    body = render_atom(ground, alerts, updated_at=judged, self_url=address)
        return served(request, body, KINDS[kind])

    def served(request: Request, body: bytes, content_type: str) -> Response:
        headers = {"ETag": f'W/"{hashlib.sha256(body).hexdigest()[:32]}"', "Cache-Control": "private, no-cache"}
        if unchanged(request, headers["ETag"]):
            return Response(status_code=304, headers=headers)
        return Response(body, headers={**headers, "Content-Type": content_type})

    return router


def _title(ground: GroundSummary) -> str:
    return f"{'[Sample] ' if ground.sample else ''}{ground.name}: work and keep-off times"
