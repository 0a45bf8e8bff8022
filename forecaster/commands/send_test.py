"""``forecaster send-test``: one mail now, and what happened at each step in plain words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from forecaster.delivery.message import Letter, compose
from forecaster.delivery.notice import render_notice
from forecaster.errors import DeliveryError, NotFound
from forecaster.settings.configuration import Configuration
from forecaster.settings.environment import Environment
from forecaster.startup import make_clock, make_mailer


def recipients_of(configuration: Configuration, ground_id: str) -> list[str]:
    """The addresses of everyone who gets mail of a ground. Raises: NotFound where it is not configured, or nobody gets any."""
    ground = configuration.ground(ground_id)
    if not ground.recipients:
        raise NotFound(f"nobody gets mail of {ground_id}", hint="Add [[recipient]] to its file in grounds/.")
    return list(dict.fromkeys(recipient.email for recipient in ground.recipients))


def send_test_mail(environment: Environment, address: str, *, say: Callable[[str], None]) -> bool:
    """Send a test mail and tell every step; False where it was not taken."""
    mailer = make_mailer(environment, say=say)
    moment = make_clock(None)()
    if environment.smtp_host is None:
        say(f"No mail server is named (FORECASTER_SMTP_HOST): the mail goes into the folder {environment.mail_folder} as a file.")
    try:
        mailer.send(compose(_letter(environment, address, moment)))
    except DeliveryError as error:
        say(f"Not sent: {error.message}.")
        say(f"What to do: {_advice(error)}")
        return False
    if environment.smtp_host is None:
        say("The file is written.")
    else:
        say(f"Done. Now look into the mailbox of {address}, its junk folder too: the server's word is not yet a mail that was read.")
    return True


def _letter(environment: Environment, address: str, moment: datetime) -> Letter:
    paragraphs = [
        "This is a test mail of the forecaster. Somebody ran: forecaster send-test.",
        "That you can read it means that mails reach you. There is nothing to do.",
    ]
    rendered = render_notice("Test mail of the forecaster", paragraphs, link=environment.public_url)
    # The moment is in the key: a second test is a mail of its own, not a copy of the first.
    key = f"send-test/{moment.astimezone(UTC):%Y%m%dT%H%M%S%f}"
    return Letter(key, environment.mail_from, address, rendered.subject, rendered.text, rendered.html, moment)


def _advice(error: DeliveryError) -> str:
    # Nothing is kept here: what the hint says of the outbox is true of other mails only.
    return error.hint.replace(" The message stays in the outbox.", "") or "Read what the mail server said above."
