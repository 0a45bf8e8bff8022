"""A process that empties the outbox once and may die at a chosen moment.

Run: python -m tests.delivery.send_due DATABASE PORT-OR-FOLDER NOW DEATH OWNER
"""

from __future__ import annotations

import os
import sys
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine

from forecaster.delivery.folder import FolderMailer
from forecaster.delivery.message import Letter
from forecaster.delivery.outbox import Mailer, deliver
from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.storage.database import open_database, reading, transaction
from forecaster.storage.messages import (
    StoredMessage,
    claim_message,
    due_messages,
    expire_messages,
    mark_doubtful,
    mark_postponed,
    mark_rejected,
    mark_sent,
    release_claims,
)


def send_due(engine: Engine, mailer: Mailer, *, owner: str, now: datetime, death: str) -> None:
    with transaction(engine) as session:
        release_claims(session, now)
        expire_messages(session, now)
    with reading(engine) as session:
        due = due_messages(session, now)
    for message in due:
        with transaction(engine) as session:
            mine = claim_message(session, message.id, owner=owner, now=now)
        if mine:
            send(engine, mailer, message, owner=owner, now=now, death=death)


def send(engine: Engine, mailer: Mailer, message: StoredMessage, *, owner: str, now: datetime, death: str) -> None:
    letter = Letter(
        key=message.key,
        sender="outlook@ground.example",
        recipient=message.recipient,
        subject=message.subject,
        text=message.text,
        html=message.html,
        written_at=message.created_at,
    )
    if death == "before-send":
        os._exit(9)
    attempt = deliver(mailer, letter)
    if death == "after-send":
        os._exit(9)
    with transaction(engine) as session:
        if attempt.end == "sent":
            mark_sent(session, message.id, owner=owner, now=now)
        elif attempt.end == "postponed":
            mark_postponed(session, message.id, owner=owner, now=now, error=attempt.problem)
        elif attempt.end == "doubtful":
            mark_doubtful(session, message.id, owner=owner, now=now, error=attempt.problem)
        else:
            mark_rejected(session, message.id, owner=owner, error=attempt.problem)


if __name__ == "__main__":
    database, target, moment, death, owner = sys.argv[1:]
    server = SmtpServer(host="127.0.0.1", port=int(target) if target.isdigit() else 0, security="none")
    mailer: Mailer = SmtpMailer(server) if target.isdigit() else FolderMailer(Path(target))
    send_due(open_database(database), mailer, owner=owner, now=datetime.fromisoformat(moment), death=death)
