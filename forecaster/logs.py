"""The log: lines for people, or one JSON object a line for machines, each with the id of its run."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Literal
from uuid import uuid4

RUN_ID = uuid4().hex[:8]
"""Of this process: the lines of one run belong together."""
TEXT = f"%(asctime)s %(levelname)s [{RUN_ID}] %(name)s: %(message)s"


class JsonLines(logging.Formatter):
    """time (UTC, RFC 3339), level, logger, run, message; and error with its traceback where there is one."""

    def format(self, record: logging.LogRecord) -> str:
        entry = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "run": RUN_ID,
            "process": record.process,
            "message": record.getMessage(),
        }
        if record.exc_info:
            entry["error"] = self.formatException(record.exc_info)
        return json.dumps(entry, ensure_ascii=False)


def log_to_stderr(shape: Literal["text", "json"] = "text", level: int = logging.WARNING) -> None:
    """Write the log to the standard error; the program's own lines from INFO on where it is read by machines."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if shape == "json" else logging.Formatter(TEXT))
    logging.basicConfig(handlers=[handler], level=level)
    # At DEBUG this library writes whole addresses, with the keys that stand in them.
    logging.getLogger("urllib3").setLevel(max(level, logging.INFO))
    if shape == "json":
        logging.getLogger("forecaster").setLevel(logging.INFO)
