"""What a cycle tells: the message of the day and the immediate one go into the outbox within the cycle's transaction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy.orm import Session

from forecaster.alerts.decide import EpisodeDecision
from forecaster.alerts.episode import Episode
from forecaster.alerts.immediate import immediate_notice
from forecaster.alerts.mailing import SIGN_OF_LIFE_DAYS, DailyMail, MailBefore, daily_mail, is_severe, quiet_end
from forecaster.delivery.footer import MailFooter, with_footer
from forecaster.delivery.message import Enclosure
from forecaster.delivery.notice import render_notice
from forecaster.delivery.render import SAMPLE_NOTICE, MailPicture, RenderedMessage, render_digest
from forecaster.documents import DigestDocument, GroundSummary, SurfaceOutlook, WeatherStatus
from forecaster.ground.ground import Ground, Recipient
from forecaster.pipeline.mail_links import off_link
from forecaster.risk.sentences import day_words
from forecaster.storage.enclosures import save_enclosure
from forecaster.storage.mail_stops import stopped_addresses
from forecaster.storage.mailed import IMMEDIATE, OVERTAKEN_BY_DIGEST, OVERTAKEN_BY_EVENTS, last_mail, waiting_notices, withdraw
from forecaster.storage.messages import NewMessage, digest_key, enqueue_message, message_status

NOTICE_SERVES = timedelta(hours=24)
"""An immediate message is of use for so long, or until the next message of the day. Status: assumption."""


@dataclass(frozen=True)
class Telling:
    """What all messages of one cycle of one ground share. ``ahead_minutes``: so long before its hour the message of the day is written."""

    ground: Ground
    public_url: str | None
    now: datetime
    ahead_minutes: int

    @property
    def today(self) -> date:
        """The ground's local day."""
        return self.now.astimezone(self.ground.time_zone).date()


@dataclass(frozen=True)
class WithIt:
    """What goes with the message of the day."""

    pictures: tuple[MailPicture, ...] = ()
    files: tuple[Enclosure, ...] = ()


def digest_awaited(session: Session, telling: Telling) -> bool:
    """Whether anybody may get the message of the day from this cycle: only then are its pictures drawn."""
    keys = (digest_key(telling.ground.id, recipient.email, telling.today) for recipient in _near(session, telling, telling.today))
    return any(message_status(session, key) is None for key in keys)


def enqueue_digest(
    session: Session, telling: Telling, digest: DigestDocument, *, changed: bool, with_it: WithIt | None = None
) -> frozenset[str]:
    """Put the day's message into the outbox for every recipient whose hour is near and who wants it today; returns whose are new.

    The last cycle before the hour writes it, so that it is as fresh as can be; later cycles of the day find its key taken. What waits to
    be told at once is in it, and is taken back.
    """
    new, with_it = set(), with_it or WithIt()
    for recipient in _near(session, telling, digest.local_day):
        before = MailBefore(*last_mail(session, telling.ground.id, recipient.email))
        if message_status(session, digest_key(telling.ground.id, recipient.email, digest.local_day)) is not None:
            continue
        mail = daily_mail(recipient, changed=changed, before=before, today=digest.local_day)
        if mail.kind is None:
            continue
        rendered = render_digest(_worded(digest, mail, before, recipient), pictures=with_it.pictures, files=with_it.files)
        if _enqueue(session, telling, recipient, rendered, local_day=digest.local_day, kind=mail.kind):
            new.add(recipient.email)
        waiting = [one.id for one in waiting_notices(session, telling.ground.id) if one.recipient.casefold() == recipient.email.casefold()]
        withdraw(session, waiting, OVERTAKEN_BY_DIGEST)
    return frozenset(new)


def enqueue_failure(session: Session, telling: Telling, rendered: RenderedMessage, recipients: Sequence[Recipient]) -> int:
    """Put a message on a failed run into the outbox, once a day for each of these recipients whose hour has come."""
    near = [recipient for recipient in _near(session, telling, telling.today) if recipient in recipients]
    return sum(_enqueue(session, telling, recipient, rendered, local_day=telling.today, kind="failure") for recipient in near)


def enqueue_notices(
    session: Session,
    telling: Telling,
    summary: GroundSummary,
    severe: Sequence[Episode],
    outlooks: Sequence[SurfaceOutlook],
    weather: WeatherStatus,
    *,
    told: frozenset[str],
) -> int:
    """Tell what is newly severe at once, at most once a day and recipient, after their quiet hours; returns how many are new.

    ``told``: whose message of the day has been written in this cycle, and says it.
    """
    if not severe:
        return 0
    ground, new = telling.ground, 0
    notice = immediate_notice(summary, severe, outlooks, weather)
    link = None if telling.public_url is None else f"{telling.public_url.rstrip('/')}/grounds/{ground.id}"
    rendered = render_notice(notice.subject, [*([SAMPLE_NOTICE] if ground.sample or weather.sample else []), *notice.paragraphs], link=link)
    stopped = stopped_addresses(session, ground.id)
    for recipient in ground.recipients:
        if recipient.email.lower() in stopped or recipient.email in told:
            continue
        not_before = quiet_end(recipient, telling.now, ground.time_zone)
        local_day = not_before.astimezone(ground.time_zone).date()
        footed = _footed(session, telling, recipient, rendered)
        message = NewMessage(
            key=f"{IMMEDIATE}/{digest_key(ground.id, recipient.email, local_day)}",
            ground_id=ground.id,
            recipient=recipient.email,
            kind=IMMEDIATE,
            local_day=local_day,
            subject=rendered.subject,
            text=footed.text,
            html=footed.html,
            created_at=telling.now,
            not_before=not_before,
            expires_at=_end_of_notice(ground, recipient, not_before),
            about={"episodes": [episode.id for episode in severe]},
        )
        new += enqueue_message(session, message)
    return new


def withdraw_overtaken(session: Session, ground_id: str, decision: EpisodeDecision) -> int:
    """Take back what waits for the end of quiet hours and is no longer so: none of its alerts is open and severe. Returns how many."""
    severe = {episode.id for episode in decision.open_episodes if is_severe(episode.severity)}
    overtaken = [notice.id for notice in waiting_notices(session, ground_id) if not notice.about & severe]
    return withdraw(session, overtaken, OVERTAKEN_BY_EVENTS)


def local_moment(ground: Ground, day: date, at: time) -> datetime:
    """A wall-clock time of the ground in UTC; a skipped one by the offset before the change, a doubled one at its first run."""
    return datetime.combine(day, at, tzinfo=ground.time_zone).astimezone(UTC)


def _near(session: Session, telling: Telling, local_day: date) -> Iterator[Recipient]:
    """The recipients whose hour is near or past on a local day and whose address is not off."""
    stopped = stopped_addresses(session, telling.ground.id)
    for recipient in telling.ground.recipients:
        near = local_moment(telling.ground, local_day, recipient.daily_at) - timedelta(minutes=telling.ahead_minutes)
        if telling.now >= near and recipient.email.lower() not in stopped:
            yield recipient


def _enqueue(session: Session, telling: Telling, recipient: Recipient, rendered: RenderedMessage, *, local_day: date, kind: str) -> bool:
    ground = telling.ground
    key = digest_key(ground.id, recipient.email, local_day)
    footed = _footed(session, telling, recipient, rendered)
    message = NewMessage(
        key=f"{kind}/{key}" if kind == "failure" else key,
        ground_id=ground.id,
        recipient=recipient.email,
        kind=kind,
        local_day=local_day,
        subject=rendered.subject,
        text=footed.text,
        html=footed.html,
        created_at=telling.now,
        not_before=local_moment(ground, local_day, recipient.daily_at),
        enclosures=_kept(session, footed, now=telling.now),
        # A message of the day is of use until the next one is due: the same hour of the next local day.
        expires_at=local_moment(ground, local_day + timedelta(days=1), recipient.daily_at),
    )
    return enqueue_message(session, message)


def _kept(session: Session, rendered: RenderedMessage, *, now: datetime) -> dict[str, Any] | None:
    marks = [save_enclosure(session, one.name, one.media_type, one.content_id, one.body, now=now) for one in rendered.enclosures]
    return {"parts": marks} if marks else None


def _footed(session: Session, telling: Telling, recipient: Recipient, rendered: RenderedMessage) -> RenderedMessage:
    link = off_link(session, telling.public_url, telling.ground.id, recipient.email, now=telling.now)
    return with_footer(rendered, MailFooter(telling.ground.name, recipient.mail, link))


def _end_of_notice(ground: Ground, recipient: Recipient, not_before: datetime) -> datetime:
    """Who gets a message every day reads the rest there; for the others a day is the use of a warning."""
    latest = not_before + NOTICE_SERVES
    if recipient.mail != "daily":
        return latest
    day = not_before.astimezone(ground.time_zone).date()
    coming = (local_moment(ground, day + timedelta(days=days), recipient.daily_at) for days in (0, 1))
    return min(moment for moment in (*coming, latest) if moment > not_before)


def _worded(digest: DigestDocument, mail: DailyMail, before: MailBefore, recipient: Recipient) -> DigestDocument:
    if mail.kind != "sign of life":
        return digest
    if before.last_day is None:
        when = "on changes" if recipient.mail == "on change" else "when something is newly severe"
        first = f"This is your first mail. Others come {when}, and as a sign of life after {SIGN_OF_LIFE_DAYS} days without any."
        return digest.model_copy(update={"opening": f"{first} {digest.opening}"})
    what = "Nothing has changed" if recipient.mail == "on change" else "Nothing has newly become severe"
    last = day_words(before.last_day, today=digest.local_day, weekday=True)
    sign = f"{what} since your last mail, of {last}: this is the sign of life that comes after {SIGN_OF_LIFE_DAYS} days without mail."
    return digest.model_copy(update={"opening": f"{sign} {digest.opening}"})
