"""``forecaster run`` on a real ground against a stand-in of the weather service on loopback: the whole path, HTTP included."""

from __future__ import annotations

import json
import math
import re
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from tests.command.test_cli import forecaster
from tests.sources.answers import UNITS


def an_hour(hour: datetime) -> dict[str, float]:
    """Mild, dry, with a day and a night."""
    sun = max(math.sin((hour.hour - 6) / 12 * math.pi), 0.0)
    return {
        "temperature_2m": 8.0 + 6.0 * sun,
        "dew_point_2m": 6.0,
        "relative_humidity_2m": 80.0,
        "wind_speed_10m": 3.0,
        "shortwave_radiation": round(120.0 * sun, 1),
        "precipitation": 0.4 if hour.day % 4 == 0 and hour.hour == 3 else 0.0,
        "soil_temperature_6cm": 9.0,
    }


class StandIn(BaseHTTPRequestHandler):
    """Answers forecasts for now, whenever that is; refuses the archive."""

    asked: list[str]

    def do_GET(self) -> None:
        address = urlsplit(self.path)
        asked = {name: values[0] for name, values in parse_qs(address.query).items()}
        self.server.asked.append(address.path)  # type: ignore[attr-defined]
        if address.path != "/v1/forecast":
            self._reply(400, {"error": True, "reason": "No data is available for this location"})
            return
        midnight = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
        start = midnight - timedelta(days=int(asked["past_days"]))
        hours = [start + timedelta(hours=n) for n in range(24 * (int(asked["past_days"]) + int(asked["forecast_days"])))]
        values = [an_hour(hour) for hour in hours]
        hourly = {name: [found[name] for found in values] for name in values[0]}
        answer = {
            "latitude": round(float(asked["latitude"]), 2),
            "longitude": round(float(asked["longitude"]), 2),
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "elevation": 60.0,
            "hourly_units": UNITS,
            "hourly": {"time": [int(hour.timestamp()) for hour in hours], **hourly},
        }
        self._reply(200, answer)

    def _reply(self, status: int, answer: object) -> None:
        body = json.dumps(answer).encode()
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_args: object) -> None:
        """Say nothing on the tests' output."""


@pytest.fixture
def stand_in() -> Iterator[ThreadingHTTPServer]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), StandIn)
    server.asked = []  # type: ignore[attr-defined]
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


def test_a_real_ground_gets_its_weather_its_outlook_and_its_mail_and_hears_when_the_service_is_gone(
    stand_in: ThreadingHTTPServer, tmp_path: Path
) -> None:
    forecaster("init", str(tmp_path / "mine"))
    ground = tmp_path / "mine" / "grounds" / "brackenholt.toml"
    text = ground.read_text(encoding="utf-8").replace('source = "sample"', 'source = "open-meteo"')
    # The day's message is due at once, whatever the hour of the test: from midnight on, and in no quiet hours.
    text = re.sub(r"^quiet_(from|until).*\n", "", text.replace('"06:00"', '"00:00"'), flags=re.MULTILINE)
    ground.write_text(text, encoding="utf-8")
    base = f"http://127.0.0.1:{stand_in.server_address[1]}"
    settings = {
        "FORECASTER_CONFIG": str(tmp_path / "mine"),
        "FORECASTER_DATA": str(tmp_path / "data"),
        "FORECASTER_OPENMETEO_URL": base,
        "FORECASTER_OPENMETEO_ARCHIVE_URL": base,
        "FORECASTER_NASA_POWER_URL": base,
    }
    done = forecaster("run", **settings)
    assert done.returncode == 0, done.stderr
    assert "brackenholt: ok. Weather from Open-Meteo, less than an hour old." in done.stdout
    assert stand_in.asked[0] == "/v1/forecast"  # type: ignore[attr-defined]
    assert "no hourly reanalysis" in done.stderr, "what the ground starts from is said in the log where it does not come"
    (mail, *_) = (tmp_path / "data" / "mail").glob("*.eml")
    said = mail.read_text(encoding="utf-8")
    assert "Open-Meteo" in said
    assert "sample weather" not in said.lower()

    stand_in.shutdown()
    stand_in.server_close()
    again = forecaster("run", **settings)
    assert again.returncode == 0, again.stderr
    assert "brackenholt: degraded. Weather from Open-Meteo" in again.stdout
    assert "The newest pull failed: Open-Meteo could not be reached" in again.stdout
