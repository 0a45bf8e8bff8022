"""Long work says how far it is, and short work does not."""

from __future__ import annotations

import pytest

from forecaster import terminal
from forecaster.terminal import counted


def test_into_a_file_progress_is_lines_now_and_then_and_one_at_the_end(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    hand = [0.0]
    monkeypatch.setattr(terminal.time, "monotonic", lambda: hand[0])
    with counted("Grounds", total=100) as count:
        for number in range(100):
            hand[0] += 0.15
            count(f"ground-{number}")
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines() == ["Grounds: 67 of 100 after 10 s", "Grounds: 100 of 100 after 15 s"]


def test_one_piece_is_shown_by_its_result_alone(capsys: pytest.CaptureFixture[str]) -> None:
    with counted("Grounds", total=1) as count:
        count("mine")
    assert capsys.readouterr().err == ""


def test_a_terminal_gets_a_bar(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal.sys.stderr, "isatty", lambda: True, raising=False)
    with counted("Grounds", total=2) as count:
        count("one")
        count("two")
    assert "of 2 after" not in capsys.readouterr().err
