"""What the web process reads from storage must not bring numpy into it."""

from __future__ import annotations

import subprocess
import sys


def test_the_modules_for_the_web_process_import_no_numpy() -> None:
    modules = ("database", "grounds", "cycles", "outlooks", "episodes", "messages", "weather", "tasks")
    program = "".join(f"import forecaster.storage.{name}\n" for name in modules)
    program += "import sys; print([name for name in ('numpy', 'pandas', 'altair') if name in sys.modules])"
    assert subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout.strip() == "[]"
