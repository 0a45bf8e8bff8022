"""A process that forks once for every order on its standard input: each fork does what is due, and may be killed at its n-th commit.

Forks, because starting Python and loading the model takes longer than a cycle. The commit hook is this program's own: the product has no
such switch. Run: python -m tests.faults.due_work; one order is one line of JSON, one answer is the exit code (negative: the signal).
"""

from __future__ import annotations

import json
import os
import signal
import sys
import traceback
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.errors import ForecasterError
from forecaster.pipeline import cycle as cycle_module
from forecaster.pipeline.cycle import register_grounds
from forecaster.scheduler import run_due
from forecaster.settings.configuration import Configuration
from tests.pipeline.conftest import made_in, shipped_configuration

REFUSED = 3


def die_at_commit(engine: Engine, number: int) -> None:
    """Kill this process when it is about to commit for the ``number``-th time: all before that is kept, the rest is not."""
    seen = 0

    def count(_connection: object) -> None:
        nonlocal seen
        seen += 1
        if seen == number:
            os.kill(os.getpid(), signal.SIGKILL)

    event.listen(engine, "commit", count)


def grounds_of(configuration: Configuration, count: int) -> Configuration:
    """The ground so many times, under names of their own."""
    (ground,) = configuration.grounds
    more = tuple(replace(ground, id=f"{ground.id}-{number}", name=f"{ground.name} {number}") for number in range(2, count + 1))
    return replace(configuration, grounds=(ground, *more))


def do_what_is_due(order: dict[str, Any]) -> int:
    """0: done. REFUSED: an error that the program raises on purpose; it is written to the order's ``said``."""
    cycle_module.chart_set = lambda _outlook: {}  # type: ignore[assignment]  # drawing has no part in this and takes most of the time
    if order.get("uid"):
        os.setgroups([])
        os.setgid(order["uid"])
        os.setuid(order["uid"])
    try:
        with made_in(Path(order["folder"]), order["url"], write=False) as service:
            service.now = datetime.fromisoformat(order["now"])
            service.owner = f"process {os.getpid()}"
            service.configuration = grounds_of(service.configuration, order.get("grounds", 1))
            if order.get("die_at"):
                die_at_commit(service.engine, order["die_at"])
            server = SmtpServer(host="127.0.0.1", port=order["port"], security="none")
            context = replace(service.context(), mailer=SmtpMailer(server))
            register_grounds(context)
            run_due(context)
    except ForecasterError as error:
        Path(order["said"]).write_text(f"{error.message}\n{error.hint}")
        return REFUSED
    return 0


def main() -> None:
    shipped_configuration()  # read once for all forks, and before one of them loses the right to
    for line in sys.stdin:
        process = os.fork()
        if process == 0:
            code = 1
            try:
                code = do_what_is_due(json.loads(line))
            except BaseException:  # noqa: BLE001 - a fork must end here, whatever happened
                traceback.print_exc()
            finally:
                sys.stderr.flush()
                os._exit(code)
        _, status = os.waitpid(process, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)


if __name__ == "__main__":
    main()
