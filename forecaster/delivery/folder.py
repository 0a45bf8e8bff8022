"""Put messages into a folder as .eml files, for the demo and for places without a mail server."""

from __future__ import annotations

import os
import re
import tempfile
from email.message import EmailMessage
from email.policy import SMTP
from pathlib import Path

from forecaster.errors import DeliveryUnreachable


class FolderMailer:
    """Writes one file per Message-ID: a repeated message takes the place of the first.

    Promise: a file is there whole or not at all, also after a power cut.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def send(self, message: EmailMessage) -> None:
        """Write one message. Raises: DeliveryUnreachable where the folder cannot be written."""
        path = self.folder / file_name(message)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, unfinished = tempfile.mkstemp(dir=self.folder, prefix=".", suffix=".unfinished")
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(message.as_bytes(policy=SMTP))
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(unfinished, path)
            except BaseException:
                os.unlink(unfinished)
                raise
            _sync_folder(self.folder)
        except OSError as error:
            raise DeliveryUnreachable(
                f"cannot write the message {path}: {error.strerror}",
                hint="Let the user that runs the forecaster write to this folder, and make room. The message stays in the outbox.",
            ) from error


def file_name(message: EmailMessage) -> str:
    """Name of the file for a message: the part of its Message-ID before the @, with nothing in it that means something to a file system."""
    local = str(message["Message-ID"]).strip("<>").rpartition("@")[0]
    return f"{re.sub(r'[^A-Za-z0-9.-]', '-', local).lstrip('.')}.eml"


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # Windows has no handle for a folder; there the file alone is synced
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
