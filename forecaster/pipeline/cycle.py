"""One cycle: weather → soil → risk → alerts → messages, for each ground by itself."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy.orm import Session

from forecaster.alerts.decide import EpisodeDecision, decide_episodes, ended_before
from forecaster.alerts.digest import DigestInputs, build_digest
from forecaster.alerts.episode import Episode
from forecaster.alerts.mailing import has_changed, newly_severe
from forecaster.calendar_documents import CalendarStanding
from forecaster.charts.render import render_svg
from forecaster.charts.surface import chart_set
from forecaster.delivery.render import MailPicture
from forecaster.documents import GroundSummary, SurfaceOutlook, WeatherStatus
from forecaster.errors import ForecasterError
from forecaster.ground.ground import Ground
from forecaster.pipeline.context import Context
from forecaster.pipeline.entered import with_entered
from forecaster.pipeline.failure import record_failure
from forecaster.pipeline.gather import issues_to_store, read_onsite, read_sources, wants_history
from forecaster.pipeline.inputs import RunInputs, work_out
from forecaster.pipeline.issuing import cancel_messages, issue_messages
from forecaster.pipeline.kept_run import run_to_keep
from forecaster.pipeline.leases import Check, LeaseLost, nobody_else
from forecaster.pipeline.member_pull import member_issues, members_of
from forecaster.pipeline.pictures import mail_pictures
from forecaster.pipeline.planned import calendar_file, plan_windows
from forecaster.pipeline.pull import Pull, pull_history, pull_weather
from forecaster.pipeline.soil_run import (
    keep_state,
    stored_start,
    weather_needed_since,
    window_start,
)
from forecaster.pipeline.summaries import ground_summary, rules_document
from forecaster.pipeline.team_calendar import refresh_calendar, with_calendar
from forecaster.pipeline.telling import Telling, WithIt, digest_awaited, enqueue_digest, enqueue_notices, withdraw_overtaken
from forecaster.pipeline.together import Asked
from forecaster.risk.explain import explanation
from forecaster.storage.conditions import low_disk
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import reading, transaction
from forecaster.storage.episodes import alerts_ended_since, alerts_of, open_alerts, save_episode
from forecaster.storage.explanations import save_explanation
from forecaster.storage.grounds import retire_other_grounds, save_ground
from forecaster.storage.mailed import withdraw_messages
from forecaster.storage.outlooks import save_outlook
from forecaster.storage.retention import prune
from forecaster.storage.runs import save_run
from forecaster.storage.service_documents import BOOKING, RULES, save_service_document
from forecaster.storage.told import Told, last_told, save_told
from forecaster.storage.weather import save_issue
from forecaster.storage.weather_reports import save_weather_report

log = logging.getLogger(__name__)


def register_grounds(context: Context) -> None:
    """Make the configured grounds, rules and limits known to pages and API, and take grounds that are no longer configured off the lists.

    Messages that wait for a ground or recipient that is no longer configured are not sent any more.
    """
    now = context.clock()
    with transaction(context.engine) as session:
        for ground in context.configuration.grounds:
            save_ground(session, _configured(*with_calendar(session, ground, now=now)), now)
        save_service_document(session, RULES, rules_document(context.configuration.rules), now)
        save_service_document(session, BOOKING, context.configuration.booking, now)
        for retired in retire_other_grounds(session, [ground.id for ground in context.configuration.grounds], now):
            cancel_messages(session, retired, sender=context.sender, now=now)
        wanted: set[tuple[str | None, str]] = {(g.id, recipient.email) for g in context.configuration.grounds for recipient in g.recipients}
        wanted |= {(None, context.operator_email)} if context.operator_email else set()
        if withdrawn := withdraw_messages(session, wanted):
            log.warning("%s waiting messages are not sent: their ground or recipient is no longer in the configuration", withdrawn)


def run_ground(ground: Ground, context: Context, *, asked: Asked | None = None, check: Check = nobody_else) -> CycleRecord:
    """Run one cycle for one ground. Every error ends here: in a record, in the log and, once a day, in a message; nothing else is kept.

    ``asked``: what asking for many grounds together gave for this one; None: it asks for itself. ``check``: asked before anything is
    committed. Raises: LeaseLost, from it; StorageError where not even the failure could be kept.
    """
    started = context.clock()
    try:
        return _run(ground, context, started=started, asked=asked or Asked(), check=check)
    except LeaseLost:
        raise
    except Exception as error:
        log.error("the cycle of %s failed: %s", ground.id, error, exc_info=not isinstance(error, ForecasterError))
        return record_failure(ground, context, error, started=started, check=check)


def _run(ground: Ground, context: Context, *, started: datetime, asked: Asked, check: Check) -> CycleRecord:
    configuration = context.configuration
    inputs, pulled, calendar_ground, standing = _gather(ground, context, asked, now=started)
    ground = inputs.ground
    found = work_out(inputs, configuration)
    weather, outlooks, today = found.weather, found.outlooks, started.astimezone(ground.time_zone).date()
    with reading(context.engine) as session:
        low = low_disk(session)
    charts = {
        outlook.surface_id: {} if low else {name: render_svg(chart) for name, chart in chart_set(outlook).items()} for outlook in outlooks
    }

    telling = Telling(ground, context.public_url, started, configuration.service.cycle_every_minutes)
    with reading(context.engine) as session:
        awaited = digest_awaited(session, telling)
    pictures = mail_pictures(outlooks, charts) if awaited else ()

    with transaction(context.engine) as session:
        check(session)
        for issue in (*issues_to_store(ground, pulled.issues, now=started), *member_issues(ground, inputs.members, now=started)):
            save_issue(session, issue)
        if weather.report is not None:
            save_weather_report(session, weather.report)
        if standing is not None:
            save_ground(session, _configured(calendar_ground, standing), started)
        keep_state(session, ground, configuration.model, found.run)
        for outlook in outlooks:
            save_outlook(session, outlook, charts[outlook.surface_id])
        if not low:
            save_run(session, run_to_keep(inputs, configuration))
        for surface, said in () if low else found.judged:
            save_explanation(session, explanation(surface, said, configuration.rules, today=today, issued_at=started))
        before = {alert.id: alert.severity for alert, _ in open_alerts(session, ground.id)}
        decision = _decide(session, ground, outlooks, context, now=started)
        summary, public_url = ground_summary(ground), context.public_url
        issue_messages(session, summary, decision, outlooks, sender=context.sender, public_url=public_url, now=started)
        plan_windows(session, ground_summary(ground), outlooks, now=started)
        told = _tell(session, telling, outlooks, decision, weather.status, pictures)
        severe = newly_severe(before, decision)
        enqueue_notices(session, telling, ground_summary(ground), severe, outlooks, weather.status, told=told)
        record = CycleRecord(
            ground_id=ground.id,
            started_at=started,
            finished_at=context.clock(),
            status="ok" if weather.status.state == "fresh" and weather.status.problem is None else "degraded",
            weather=weather.status,
            error_message=weather.status.problem,
        )
        save_cycle(session, record)
        prune(session, ground.id, started)
    return record


def _gather(ground: Ground, context: Context, asked: Asked, *, now: datetime) -> tuple[RunInputs, Pull, Ground, CalendarStanding | None]:
    """Ask and read everything that the run rests on; nothing is worked out yet.

    Beside it: what was pulled, the ground as configured with the fixtures of its calendar, and how that stands.
    """
    configuration = context.configuration
    window = window_start(now.astimezone(ground.time_zone).date(), history_days=configuration.service.history_days)
    refresh_calendar(ground, context, now=now)
    pulled, onsite = pull_weather(ground, context, now=now, asked=asked.forecast), read_onsite(ground, now=now)
    with reading(context.engine) as session:
        configured, standing = with_calendar(session, ground, now=now)
        ground = with_entered(session, configured)
        start = stored_start(session, ground, configuration.model, before=window)
        history_wanted = wants_history(session, ground, start, window=window, now=now)
    if history_wanted and (history := pull_history(ground, context, before=window, now=now)):
        # What came before is known now: what was assumed instead of it is forgotten.
        pulled, start = replace(pulled, issues=(*pulled.issues, history)), None
    with reading(context.engine) as session:
        since = weather_needed_since(ground, start, window=window)
        sources = read_sources(session, ground, pulled, onsite, now=now, since=since)
        members = members_of(session, ground, asked.members, now=now, options=configuration.service)
    return RunInputs(ground, now, start, sources, members), pulled, configured, standing


def _configured(ground: Ground, standing: CalendarStanding | None) -> GroundSummary:
    """What is kept of a ground: without what people entered, which has rows of its own."""
    return ground_summary(ground).model_copy(update={"calendar": standing})


def _decide(session: Session, ground: Ground, outlooks: Sequence[SurfaceOutlook], context: Context, *, now: datetime) -> EpisodeDecision:
    """Decide on the ground's episodes and keep what changed: ends first, since a surface and rule has one open episode at most."""
    known = alerts_of(session, ground.id)
    decision = decide_episodes(
        [Episode.of(alert, quiet_since) for alert, quiet_since in open_alerts(session, ground.id, to_decide=True)],
        outlooks,
        rules=context.configuration.rules,
        today=now.astimezone(ground.time_zone).date(),
        now=now,
        used_ids={alert.id for alert in known if alert.ended_at_utc is not None},
        surface_ids={surface.id for surface in ground.surfaces},
    )
    for change in (*decision.ended, *decision.held, *decision.continued, *decision.opened):
        if change.changed:
            save_episode(session, change.episode.document(), change.episode.quiet_since)
    return decision


def _tell(
    session: Session,
    telling: Telling,
    outlooks: tuple[SurfaceOutlook, ...],
    decision: EpisodeDecision,
    weather: WeatherStatus,
    pictures: tuple[MailPicture, ...],
) -> frozenset[str]:
    """Put the day's message into the outbox; returns whose is new. It tells what has changed since the last one, many cycles ago."""
    ground, now = telling.ground, telling.now
    withdraw_overtaken(session, ground.id, decision)
    told = last_told(session, ground.id, before=telling.today)
    if told is not None:
        # An alert ends in the first cycle of a local day; the message is written by a later one.
        ended = [Episode.of(*stored) for stored in alerts_ended_since(session, ground.id, told.at)]
        # This decision's own ends are in it already, and one that has been raised again has not ended for a reader.
        known = {episode.key for episode in (*decision.open_episodes, *(change.episode for change in decision.ended))}
        earlier = ended_before([episode for episode in ended if episode.key not in known], time_zone=ground.time_zone)
        decision = replace(decision, ended=(*earlier, *decision.ended))
    previous = None if told is None else told.outlooks
    digest = build_digest(DigestInputs(ground_summary(ground), outlooks, previous, decision, weather, telling.public_url, now))
    with_it = WithIt(pictures, calendar_file(session, ground_summary(ground), now=now))
    new = enqueue_digest(session, telling, digest, changed=has_changed(previous, weather, digest.changes), with_it=with_it)
    if new:
        save_told(session, ground.id, digest.local_day, Told(now, outlooks))
    return new
