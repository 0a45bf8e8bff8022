"""What keeps the program well when nobody looks at it for a year: done at the end of each run, each part by itself.

A part that fails is told in the log, as a condition on pages and checks, or to the operator; it never stops the others or a cycle.
"""

from __future__ import annotations

import logging
import shutil
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from forecaster.errors import ConfigurationError, ForecasterError, StorageError
from forecaster.pipeline.context import Context
from forecaster.pipeline.leases import renewed, take
from forecaster.pipeline.operator import tell_operator
from forecaster.sources.heartbeat import beat
from forecaster.storage.backup import back_up, prune_copies
from forecaster.storage.clock import doubt_of_clock, free_days_ahead
from forecaster.storage.conditions import clear_condition, low_disk, set_condition
from forecaster.storage.cycles import first_cycle_at, latest_cycle
from forecaster.storage.database import reading, transaction
from forecaster.storage.tasks import Task, drop_other_tasks, finish_task, hasten_task
from forecaster.storage.usage import stored_bytes

log = logging.getLogger(__name__)

SILENT_AFTER = timedelta(hours=24)
COPY_EVERY = timedelta(days=1)
COPY_AGAIN = timedelta(hours=3)
BACKUP = Task("backup")
BUDGET = Task("budget")
MB = 1_000_000
COPY_NAME = "forecaster-*.db"


def keep_well(context: Context, *, ran: Sequence[str]) -> None:
    """Look after clock, disk, copies and silent grounds, and give a sign of life where cycles ran (``ran``: ids of their grounds)."""
    with transaction(context.engine) as session:
        for task in (BACKUP, BUDGET):  # a clock that was ahead has put them off
            hasten_task(session, task, latest=context.clock() + COPY_EVERY, due_at=context.clock())
    parts: tuple[Callable[[Context], None], ...] = (watch_clock, watch_disk, watch_budget, tell_of_silent_grounds, copy_when_due)
    for part in parts:
        try:
            part(context)
        except (ForecasterError, OSError) as error:
            log.error("%s failed: %s", part.__name__, error)
    if ran and context.upkeep.heartbeat_url is not None:
        beat(context.web_session, context.upkeep.heartbeat_url)


def tell_of_configuration(context: Context, error: ConfigurationError | None) -> None:
    """Say that the configuration has mistakes and an earlier one is in use; the log has them all. None: it is in order."""
    text = None
    if error is not None:
        text = f"{error.message}; the last valid one is in use. `forecaster check` lists every mistake."
        log.error("%s", "; ".join(str(mistake) for mistake in error.mistakes))
    with transaction(context.engine) as session:
        _note(session, context, "configuration", text, now=context.clock())


def watch_clock(context: Context) -> None:
    """Say where the clock is not believed; take back what a clock that was ahead has written."""
    now = context.clock()
    with transaction(context.engine) as session:
        doubt = doubt_of_clock(session, now)
        _note(session, context, "clock", doubt, now=now)
        if doubt is None and (taken := free_days_ahead(session, now)):
            log.warning("%s messages were written under a clock that was ahead; their days are free again", taken)


def watch_disk(context: Context) -> None:
    """Say that the disk is nearly full before it is: from then on only what is needed is written."""
    folder = context.upkeep.disk_folder
    if folder is None or not folder.is_dir():
        return
    free_mb = shutil.disk_usage(folder).free / MB
    low = f"The disk has {free_mb:.0f} MB left. Charts, explanations and copies are not written until there is room."
    with transaction(context.engine) as session:
        _note(session, context, "disk", low if free_mb < context.upkeep.low_disk_mb else None, now=context.clock())


def watch_budget(context: Context) -> None:
    """Say once a day where a ground takes more room than it may."""
    if not take(BUDGET, context, early=False):
        return
    with reading(context.engine) as session:
        used = {ground.id: stored_bytes(session, ground.id) / MB for ground in context.configuration.grounds}
    over = {ground_id: megabytes for ground_id, megabytes in used.items() if megabytes > context.upkeep.ground_mb}
    for ground_id, megabytes in over.items():
        log.warning("what is stored of %s takes %.0f MB of the %s that a ground may take", ground_id, megabytes, context.upkeep.ground_mb)
    allowed = f"the {context.upkeep.ground_mb} MB that a ground may take"
    text = f"{len(over)} of {len(used)} grounds take more room than {allowed}; the log names them."
    with transaction(context.engine) as session:
        _note(session, context, "budget", text if over else None, now=context.clock())
        finish_task(session, BUDGET, owner=context.owner, next_due_at=context.clock() + COPY_EVERY)


def tell_of_silent_grounds(context: Context) -> None:
    """Tell the operator once a day of every ground that had no good run for a day."""
    now = context.clock()
    for ground in context.configuration.grounds:
        with transaction(context.engine) as session:
            good = latest_cycle(session, ground.id, now=now, among=("ok", "degraded"))
            since = first_cycle_at(session, ground.id) if good is None else good.finished_at
            if since is None or now - since < SILENT_AFTER:
                continue
            last = latest_cycle(session, ground.id, now=now)
            said = "" if last is None or last.error_message is None else f" The last one said: {last.error_message}."
            hours = (now - since) / timedelta(hours=1)
            subject = f"{ground.name}: no good run for {hours:.0f} hours"
            paragraphs = [f"The program had no good run for {ground.name} since {since:%d %B %Y %H:%M} UTC.{said}", "It goes on trying."]
            tell_operator(session, context, subject, paragraphs, key=f"silent/{ground.id}/{now:%Y-%m-%d}", now=now)


def copy_when_due(context: Context) -> None:
    """Copy the database once a day into the folder that is named for it, and keep the newest copies."""
    folder = context.upkeep.backup_folder
    if folder is None:
        with transaction(context.engine) as session:
            drop_other_tasks(session, BACKUP.kind, ())
            clear_condition(session, "backup")
        return
    if not take(BACKUP, context, early=False):
        return
    now = context.clock()
    with reading(context.engine) as session:
        problem = "The daily copy of the database is not written: the disk is nearly full." if low_disk(session) else None
    if problem is None:
        try:
            copy = folder / COPY_NAME.replace("*", f"{context.real_clock():%Y%m%dT%H%M%SZ}")
            with renewed(BACKUP, context):
                back_up(context.engine, copy)
            prune_copies(folder, COPY_NAME, context.upkeep.backup_keep, newest=copy)
        except (StorageError, OSError) as error:
            problem = f"The daily copy of the database failed: {error}."
    with transaction(context.engine) as session:
        _note(session, context, "backup", problem, now=now)
        finish_task(session, BACKUP, owner=context.owner, next_due_at=now + (COPY_AGAIN if problem else COPY_EVERY), error=problem)


def _note(session: Session, context: Context, name: str, problem: str | None, *, now: datetime) -> None:
    """Keep or clear a condition; the operator is told when it begins, once a day where it comes and goes."""
    if problem is None:
        clear_condition(session, name)
    elif set_condition(session, name, problem, now):
        log.error("%s", problem)
        tell_operator(session, context, "The forecaster needs you", [problem], key=f"condition/{name}/{now:%Y-%m-%d}", now=now)
