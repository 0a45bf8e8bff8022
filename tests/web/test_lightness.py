"""The web process stays light: it never loads the model, a chart renderer or their libraries."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HEAVY = (
    "forecaster.physics", "forecaster.soil", "forecaster.risk", "forecaster.alerts", "forecaster.charts", "forecaster.weather",
    "forecaster.sources", "forecaster.delivery", "numpy", "pandas", "scipy", "altair", "vl_convert", "shapely",
)  # fmt: skip


def test_loading_the_web_process_loads_nothing_heavy(tmp_path: Path) -> None:
    code = (
        "import sys; from forecaster.web.app import from_environment; from_environment(); "
        f"print([m for m in sys.modules if any(m == heavy or m.startswith(heavy + '.') for heavy in {HEAVY!r})])"
    )
    root = Path(__file__).resolve().parents[2]
    environment = {"PATH": "/usr/bin:/bin", "PYTHONPATH": str(root), "FORECASTER_DATA": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
