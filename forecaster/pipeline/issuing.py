"""Issue what the chains of a ground's alerts need: messages by OASIS CAP 1.2, stored whole, in the transaction of the decision."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from email.utils import parseaddr
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from forecaster.alerts.chain import Issued, NextMessage, next_message
from forecaster.alerts.decide import EpisodeChange, EpisodeDecision
from forecaster.alerts.episode import Episode
from forecaster.documents import GroundSummary, SurfaceOutlook
from forecaster.feeds.cap import CapMessage, cap_name, render_cap
from forecaster.quantities import Certainty
from forecaster.storage.cap_messages import StoredCapMessage, chain_of, save_cap_message, unfinished_chains
from forecaster.storage.episodes import get_alert

HOLDS_AT_LEAST = timedelta(days=1)
"""An alert whose last day is today, or that is held, holds so long without a new message: a cycle that fails must not let it run out."""


def issue_messages(
    session: Session,
    ground: GroundSummary,
    decision: EpisodeDecision,
    outlooks: Sequence[SurfaceOutlook],
    *,
    sender: str,
    public_url: str | None,
    now: datetime,
) -> int:
    """Issue the next message of every alert that needs one; returns how many. The same decision again issues nothing."""
    certainties = {(outlook.surface_id, one.rule_id): one.certainty for outlook in outlooks if outlook.known for one in outlook.signals}
    changes = (*decision.ended, *decision.held, *decision.continued, *decision.opened)
    return sum(_issue(session, ground, change, certainties, sender=sender, public_url=public_url, now=now) for change in changes)


def cancel_messages(session: Session, ground: GroundSummary, *, sender: str, now: datetime) -> int:
    """Call off every alert of a ground that is no longer configured, where a message told of it; returns how many."""
    issued = 0
    for last in unfinished_chains(session, ground.id):
        alert = get_alert(session, ground.id, last.episode_id)
        gone = replace(Episode.of(alert, None), status="ended", ended_at=now)
        change = EpisodeChange(gone, f"{alert.title}: its ground was taken out of the configuration.", changed=True)
        issued += _issue(session, ground, change, {}, sender=sender, public_url=None, now=now)
    return issued


def _issue(
    session: Session,
    ground: GroundSummary,
    change: EpisodeChange,
    certainties: Mapping[tuple[str, str], Certainty],
    *,
    sender: str,
    public_url: str | None,
    now: datetime,
) -> int:
    episode = change.episode
    stored = chain_of(session, episode.id)
    chain = [Issued(one.identifier, one.number, one.kind, one.sent_at, one.expires_at, one.mark) for one in stored]
    due = next_message(change, chain, certainty=certainties.get((episode.surface_id, episode.rule_id)), now=now)
    if due is None:
        return 0
    senders = {one.identifier: one.sender for one in stored}
    message = _message(ground, change, due, senders, sender=cap_name(parseaddr(sender)[1] or sender), public_url=public_url, now=now)
    return int(
        save_cap_message(
            session,
            StoredCapMessage(
                identifier=message.identifier,
                ground_id=ground.id,
                episode_id=episode.id,
                number=due.number,
                kind=due.kind,
                sender=message.sender,
                sent_at=message.sent_at,
                expires_at=message.expires_at,
                severity=message.severity,
                mark=due.standing.mark,
                title=f"{message.headline}: {due.kind} {due.number}",
                body=render_cap(message),
            ),
        )
    )


def _message(
    ground: GroundSummary,
    change: EpisodeChange,
    due: NextMessage,
    senders: Mapping[str, str],
    *,
    sender: str,
    public_url: str | None,
    now: datetime,
) -> CapMessage:
    episode, standing, zone = change.episode, due.standing, ZoneInfo(ground.time_zone)
    surface = next((one.name for one in ground.surfaces if one.id == episode.surface_id), episode.surface_id)
    ended = due.kind == "Cancel"
    held = episode.status == "held"
    sent = now.replace(microsecond=0)
    runs_out = max(_midnight(episode.last_day + timedelta(days=1), zone), sent + HOLDS_AT_LEAST)
    sample = "[Sample] " if ground.sample else ""
    return CapMessage(
        identifier=f"{cap_name(episode.id)}.{due.number}",
        sender=sender,
        sent_at=sent,
        test=ground.sample,
        kind=due.kind,
        references=tuple((senders[one.identifier], one.identifier, one.sent_at) for one in due.references),
        note=change.reason if ended or held else None,
        event=episode.title,
        response=due.response,
        urgency=standing.urgency,
        severity=standing.severity.value,
        certainty="Unknown" if standing.certainty is None else standing.certainty.value,
        onset=_midnight(episode.first_day, zone),
        expires_at=sent + HOLDS_AT_LEAST if ended else runs_out,
        sender_name=ground.name,
        headline=f"{sample}{surface}: {episode.title} ({episode.severity})",
        description=change.reason if ended else f"{change.reason} {episode.reason}" if held else episode.reason,
        instruction="Nothing more to do for this alert." if ended else episode.advice,
        web=None if public_url is None or ended else f"{public_url}/grounds/{ground.id}/surfaces/{episode.surface_id}",
        parameters=(("surface", episode.surface_id), ("rule", episode.rule_id)),
        area=f"{surface}, {ground.name}",
        latitude=ground.latitude,
        longitude=ground.longitude,
    )


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=zone)
