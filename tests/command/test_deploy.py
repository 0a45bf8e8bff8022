"""The unit and the container file of config/deploy: every command, setting and limit in them is one that this program knows."""

from __future__ import annotations

import re
from configparser import ConfigParser
from pathlib import Path

from forecaster.settings.environment import Environment
from forecaster.settings.shipped import shipped_folder
from forecaster.stopping import STOP_SECONDS
from tests.command.conftest import invoke

DEPLOY = shipped_folder("config") / "deploy"
KNOWN = {f"FORECASTER_{name.upper()}" for name in Environment.model_fields}


class Unit(ConfigParser):
    """A unit file: keys as they are written, and several of one name."""

    def optionxform(self, optionstr: str) -> str:
        return optionstr


def unit() -> tuple[Unit, list[str]]:
    text = (DEPLOY / "forecaster.service").read_text(encoding="utf-8")
    read = Unit(strict=False, interpolation=None)
    read.read_string(text)
    return read, re.findall(r"^Environment=(\w+)=", text, flags=re.MULTILINE)


def test_the_unit_starts_a_command_there_is_with_settings_there_are() -> None:
    read, settings = unit()
    service = read["Service"]
    program, *words = service["ExecStart"].split()
    assert Path(program).name == "forecaster"
    assert invoke(*words, "--help").exit_code == 0
    assert settings
    assert set(settings) <= KNOWN
    assert service["Type"] == "notify"  # as ``watchdog`` tells it
    assert service["NotifyAccess"] == "all"  # the worker is not the main process
    assert int(service["TimeoutStopSec"]) > STOP_SECONDS
    assert service["StateDirectory"] == "forecaster"
    assert "FORECASTER_DATA=/var/lib/forecaster" in (DEPLOY / "forecaster.service").read_text(encoding="utf-8")


def test_the_container_runs_a_command_there_is_with_settings_there_are_on_the_port_it_opens() -> None:
    text = (DEPLOY / "Containerfile").read_text(encoding="utf-8")
    (command,) = re.findall(r'^CMD \["forecaster", "(\w+)"\]', text, flags=re.MULTILINE)
    assert invoke(command, "--help").exit_code == 0
    settings = {name for line in re.findall(r"^ENV (.*)", text, flags=re.MULTILINE) for name in re.findall(r"(FORECASTER_\w+)=", line)}
    assert settings
    assert settings <= KNOWN
    port = Environment.model_fields["port"].default
    assert f"EXPOSE {port}" in text
    assert f"http://127.0.0.1:{port}/api/v1/ready" in text
    assert "STOPSIGNAL SIGTERM" in text
