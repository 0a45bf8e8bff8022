"""Messages in a folder."""

from __future__ import annotations

import os
from email import message_from_bytes
from email.policy import default
from pathlib import Path

import pytest

from forecaster.delivery.folder import FolderMailer, file_name
from forecaster.delivery.message import compose
from forecaster.errors import DeliveryPostponed
from tests.delivery.examples import letter


def test_a_message_is_one_readable_file_and_a_second_copy_takes_its_place(tmp_path: Path) -> None:
    mailer = FolderMailer(tmp_path / "out" / "mail")
    mailer.send(compose(letter()))
    mailer.send(compose(letter()))
    mailer.send(compose(letter(recipient="other@ground.example")))
    names = sorted(path.name for path in mailer.folder.iterdir())
    assert len(names) == 2
    assert all(name.startswith("digest-hollow-2026-09-14-head") and name.endswith(".eml") for name in names)
    read = message_from_bytes((mailer.folder / file_name(compose(letter()))).read_bytes(), policy=default)
    assert read["Subject"] == "Hollow Lane: rings"
    assert read["To"] == "head@ground.example"


def test_a_name_cannot_leave_the_folder(tmp_path: Path) -> None:
    message = compose(letter())
    del message["Message-ID"]
    message["Message-ID"] = "<../../etc/passwd@ground.example>"
    FolderMailer(tmp_path / "mail").send(message)
    assert [path.parent for path in tmp_path.rglob("*.eml")] == [tmp_path / "mail"]


def test_a_folder_that_cannot_be_made_means_later(tmp_path: Path) -> None:
    (tmp_path / "mail").write_text("a file")
    with pytest.raises(DeliveryPostponed, match="cannot write the message") as caught:
        FolderMailer(tmp_path / "mail").send(compose(letter()))
    assert "stays in the outbox" in caught.value.hint


def test_a_write_that_fails_half_way_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DeliveryPostponed, match="No space left"):
        FolderMailer(tmp_path).send(compose(letter()))
    assert list(tmp_path.iterdir()) == []
