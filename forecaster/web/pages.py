"""The pages: rendered on the server, readable without script."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from fastapi.templating import Jinja2Templates
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

import forecaster
from forecaster.documents import GroundSummary, WeatherStatus
from forecaster.errors import ForecasterError, NotFound
from forecaster.web import views, wording
from forecaster.web.ages import ground_weather, local_day, weather_at
from forecaster.web.calendar_words import calendar_sentences
from forecaster.web.forms import form_token
from forecaster.web.mail import mail_sentences, off_sentences
from forecaster.web.member_table import member_view
from forecaster.web.problems import Problem
from forecaster.web.reading import Store
from forecaster.web.standing import grounds_worst_first, outlooks_of, standing_of, surfaces_worst_first
from forecaster.web.visitor import no_such_ground, visible_grounds, visitor_of
from forecaster.web.weather_words import weather_view
from forecaster.web.wet_days import wet_days

FOLDER = Path(__file__).parent
CHART_NAMES = ("water_phone", "water_wide", "ring_phone", "ring_wide")
# So many are read before they are put in order: the worst must not be cut off because it is old.
ALERTS_READ = 200


class Pages:
    """Renders pages over a store."""

    def __init__(
        self, store: Store, now: Callable[[], datetime], *, limit_hours: float, wrong: Callable[[], Sequence[str]] = tuple
    ) -> None:
        """``wrong``: says what is wrong with the program or its machine, for the head of every page."""
        self.store, self.now, self.limit_hours, self._wrong = store, now, limit_hours, wrong
        self._sample_seen = False
        environment = Environment(
            loader=FileSystemLoader(FOLDER / "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
        )
        environment.filters |= {
            "day": wording.day_words,
            "date": wording.date_words,
            "opening": views.opening,
            "number": wording.number_words,
        }
        environment.globals |= {
            "time_words": wording.time_words,
            "weather_words": wording.weather_words,
            "mark_of": views.mark_of,
            "nothing_against_it": wording.NOTHING_AGAINST_IT,
            "version": forecaster.__version__,
            "form_token_of": form_token,
        }
        self._templates = Jinja2Templates(env=environment)

    def grounds(self, request: Request) -> HTMLResponse:
        """All grounds, worst first."""
        standings = grounds_worst_first(self.store, visible_grounds(request, self.store), self.now(), limit_hours=self.limit_hours)
        return self._render(request, "grounds.html", standings=standings, sample=any(s.sample for s in standings))

    def ground(self, request: Request, ground_id: str) -> HTMLResponse:
        """All surfaces of a ground, worst first. Raises NotFound."""
        ground = self._ground(ground_id)
        outlooks = outlooks_of(self.store, ground)
        moment = self.now()
        standings = surfaces_worst_first(ground, outlooks)
        weather = ground_weather(ground, outlooks, moment, limit_hours=self.limit_hours)
        return self._render(
            request,
            "ground.html",
            ground=ground,
            cards=views.cards_of(ground, standings, outlooks, moment),
            glance=views.glance_of(standings),
            alerts=views.open_alerts(ground, self.store.alerts(ground.id, include_ended=False, limit=ALERTS_READ), outlooks, moment),
            weather=weather,
            made=max((o.issued_at_utc for o in outlooks.values()), default=None),
            today=max((o.today for o in outlooks.values()), default=None),
            cycle=self.store.last_cycle(ground.id),
            mail=self._mail(ground, moment),
            calendar=calendar_sentences(ground.calendar, moment),
            known=weather_view(self.store.weather_report(ground.id), moment, ground.time_zone),
            sample=ground.sample or weather.sample,
        )

    def surface(self, request: Request, ground_id: str, surface_id: str) -> HTMLResponse:
        """One surface with its signals, charts and numbers. Raises NotFound."""
        ground = self._ground(ground_id)
        surface = next((s for s in ground.surfaces if s.id == surface_id), None)
        if surface is None:
            raise NotFound(f"{ground.name} has no surface called {surface_id!r}.", hint="The page of the ground lists its surfaces.")
        outlook = self.store.outlook(ground.id, surface.id)
        moment = self.now()
        standing = standing_of(surface, outlook)
        weather = weather_at(outlook, moment, limit_hours=self.limit_hours)
        return self._render(
            request,
            "surface.html",
            ground=ground,
            surface=surface,
            standing=standing,
            mark=views.mark_of(standing.severity, standing.known),
            outlook=outlook,
            strip=None if outlook is None else views.strip_of(outlook),
            charts=self._charts(ground.id, surface.id),
            tables={} if outlook is None else {"water": views.water_table(outlook), "ring": views.ring_table(outlook)},
            coming=None if outlook is None else views.coming_table(outlook),
            members=None if outlook is None else member_view(outlook),
            wet_days=() if outlook is None else wet_days(outlook),
            fixture=views.next_fixture(ground, surface.id, moment),
            weather=weather,
            made=None if outlook is None else outlook.issued_at_utc,
            sample=ground.sample or weather.sample,
        )

    def problem(self, request: Request, document: Problem) -> HTMLResponse:
        """An error as a page. It also says so when what is shown elsewhere is sample weather."""
        return self._render(request, "problem.html", problem=document, sample=self._sees_sample(request), status=document.status)

    def plain(self, request: Request, template: str, *, sample: bool, status: int = 200, **context: object) -> HTMLResponse:
        """A page of no ground."""
        return self._render(request, template, sample=sample, status=status, **context)

    def _mail(self, ground: GroundSummary, now: datetime) -> tuple[str, ...]:
        """What has not arrived of today's and yesterday's mails, in sentences; older ones are for the health page."""
        today = local_day(ground, now)
        mail = self.store.mail(ground.id, since=today - timedelta(days=1))
        return (*mail_sentences(mail.problems, today), *off_sentences(mail.off))

    def _ground(self, ground_id: str) -> GroundSummary:
        ground = self.store.ground(ground_id)
        if ground is None:
            raise no_such_ground(ground_id)
        return ground

    def _charts(self, ground_id: str, surface_id: str) -> dict[str, Markup]:
        # The cycle renders these itself from its own numbers, with every text escaped; nothing in them comes from a visitor.
        stored = self.store.charts(ground_id, surface_id)
        return {name: Markup(stored[name]) for name in CHART_NAMES if name in stored}

    def _sees_sample(self, request: Request) -> bool:
        """Whether any ground that the visitor sees is invented; what was last known of all grounds where the store fails."""
        sees_all = visitor_of(request).grounds is None
        try:
            seen = any(ground.sample for ground in visible_grounds(request, self.store))
        except ForecasterError:
            # The store itself may be what failed; this page must still be shown, and it shows no weather.
            return sees_all and self._sample_seen
        self._sample_seen = seen if sees_all else self._sample_seen
        return seen

    def show(self, request: Request, template: str, *, ground: GroundSummary | None, **context: Any) -> HTMLResponse:
        """A page of one ground without its weather. None: one that is no longer looked after."""
        return self._render(request, template, ground=ground, sample=ground is not None and ground.sample, **context)

    def _told_wrong(self) -> Sequence[str]:
        try:
            return self._wrong()
        except ForecasterError:
            # The database itself may be what failed; the page that says so must still be shown.
            return ()

    def _render(self, request: Request, template: str, *, sample: bool, status: int = 200, **context: object) -> HTMLResponse:
        weather = context.pop("weather", None)
        alarm = weather if isinstance(weather, WeatherStatus) and weather.state != "fresh" else None
        visitor = visitor_of(request)
        wrong = () if visitor.by == "nobody" else self._told_wrong()
        context = {"weather": weather, "alarm": alarm, "sample": sample, "wrong": wrong, "visitor": visitor, **context}
        headers = {"Cache-Control": "no-cache"}
        return self._templates.TemplateResponse(request, template, context, status_code=status, headers=headers)


def page_router(pages: Pages) -> APIRouter:
    """The addresses of the pages."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    methods = ["GET", "HEAD"]

    @router.api_route("/", methods=methods)
    def show_grounds(request: Request) -> HTMLResponse:
        return pages.grounds(request)

    @router.api_route("/grounds/{ground}", methods=methods)
    def show_ground(request: Request, ground: str) -> HTMLResponse:
        return pages.ground(request, ground)

    @router.api_route("/grounds/{ground}/surfaces/{surface}", methods=methods)
    def show_surface(request: Request, ground: str, surface: str) -> HTMLResponse:
        return pages.surface(request, ground, surface)

    return router
