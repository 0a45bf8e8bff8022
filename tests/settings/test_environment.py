"""The environment: defaults, what belongs together, all mistakes at once, and secrets that are never shown."""

from __future__ import annotations

import os
import subprocess
import sys
import traceback
from pathlib import Path

import pytest

from forecaster.errors import ConfigurationError
from forecaster.settings.environment import PREFIX, SECRETS, TEST_PREFIX, read_environment
from forecaster.settings.mistakes import describe_mistakes
from forecaster.settings.shipped import shipped_folder


@pytest.fixture(autouse=True)
def clean(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No variables of the machine, and a working folder of our own."""
    for name in list(os.environ):
        if name.startswith(PREFIX) and not name.startswith(TEST_PREFIX):
            monkeypatch.delenv(name)
    monkeypatch.chdir(tmp_path)


def mistakes_with(monkeypatch: pytest.MonkeyPatch, **variables: str) -> ConfigurationError:
    for name, value in variables.items():
        monkeypatch.setenv(PREFIX + name, value)
    with pytest.raises(ConfigurationError) as caught:
        read_environment()
    return caught.value


def test_without_variables_it_runs_the_demonstration_on_loopback(tmp_path: Path) -> None:
    found = read_environment()
    assert (found.host, found.port) == ("127.0.0.1", 8470)
    assert found.config == shipped_folder("config")
    assert found.data == tmp_path / "var"
    assert found.database_url == f"sqlite:///{tmp_path}/var/forecaster.db"
    assert (found.mail_folder, found.smtp_host) == (tmp_path / "var" / "mail", None)
    assert found.openmeteo_url == "https://api.open-meteo.com"


def test_values_are_read_and_folders_made_absolute(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name, value in {
        "CONFIG": "mine",
        "DATA": "/srv/forecaster",
        "SMTP_HOST": "mail.example.org",
        "SMTP_USER": "robot",
        "SMTP_PASSWORD": "hush",
        "MAIL_FROM": "robot@example.org",
        "PUBLIC_URL": "https://turf.example.org/pitches/",
        "PORT": "9000",
        "OPENMETEO_KEY": "",
    }.items():
        monkeypatch.setenv(PREFIX + name, value)
    found = read_environment()
    assert found.config == tmp_path / "mine"
    assert found.database_url == "sqlite:////srv/forecaster/forecaster.db"
    assert found.mail_folder is None
    assert found.smtp_password is not None
    assert found.smtp_password.get_secret_value() == "hush"
    assert found.public_url == "https://turf.example.org/pitches"
    assert found.port == 9000
    assert found.openmeteo_key is None  # an empty variable counts as not set


@pytest.mark.parametrize(("tls", "port"), [("starttls", 587), ("tls", 465), ("none", 25)])  # RFC 6409, RFC 8314, RFC 5321
def test_the_mail_port_follows_the_kind_of_connection(monkeypatch: pytest.MonkeyPatch, tls: str, port: int) -> None:
    monkeypatch.setenv("FORECASTER_SMTP_TLS", tls)
    assert read_environment().smtp_port == port


def test_the_password_may_lie_in_a_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("hush \n", encoding="utf-8")
    for name, value in {"HOST": "mail.example.org", "USER": "robot", "PASSWORD_FILE": str(tmp_path / "secret")}.items():
        monkeypatch.setenv("FORECASTER_SMTP_" + name, value)
    monkeypatch.setenv("FORECASTER_MAIL_FROM", "robot@example.org")
    password = read_environment().smtp_password
    assert password is not None
    assert password.get_secret_value() == "hush "  # only the line end is not part of it


def test_bad_values_are_all_told_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    error = mistakes_with(
        monkeypatch,
        PORT="99999",
        SMTP_PORT="post",
        SMTP_TLS="ssl",
        SMTP_HOST="mail.example.org",
        MAIL_FOLDER="mail",
        SMTP_USER="robot",
        PUBLIC_URL="turf.example.org",
        OPENMETEO_URL="ftp://example.org",
        SMTP_PASWORD="hush",
    )
    assert {m.file for m in error.mistakes} == {"environment"}
    told = {m.key.removeprefix(PREFIX): m.allowed for m in error.mistakes}
    assert told == {
        "PORT": "a port number from 1 to 65535",
        "SMTP_PORT": "a port number from 1 to 65535",
        "SMTP_TLS": "starttls, tls or none",
        "MAIL_FOLDER": "either this or FORECASTER_SMTP_HOST, not both",
        "MAIL_FROM": "required with FORECASTER_SMTP_HOST: the address that mails come from",
        "SMTP_PASSWORD": "user and password go together: give both or neither",
        "PUBLIC_URL": "a web address that begins with http:// or https://",
        "OPENMETEO_URL": "a web address that begins with http:// or https://",
        "SMTP_PASWORD": 'unknown variable; did you mean "FORECASTER_SMTP_PASSWORD"?',
    }


@pytest.mark.parametrize(
    ("variables", "key"),
    [
        ({"SMTP_PASSWORD": "hush"}, "SMTP_USER"),
        ({"SMTP_USER": "robot", "SMTP_PASSWORD": "hush", "SMTP_PASSWORD_FILE": "secret"}, "SMTP_PASSWORD_FILE"),
        ({"SMTP_USER": "robot", "SMTP_PASSWORD_FILE": "nowhere"}, "SMTP_PASSWORD_FILE"),
        (
            {
                "SMTP_HOST": "mail.example.org",
                "MAIL_FROM": "a@example.org",
                "SMTP_USER": "robot",
                "SMTP_PASSWORD": "hush",
                "SMTP_TLS": "none",
            },
            "SMTP_TLS",
        ),
        ({"MAIL_FROM": "nobody"}, "MAIL_FROM"),
        ({"DATABASE_URL": "forecaster.db"}, "DATABASE_URL"),
        ({"FIXED_NOW": "2026-09-12T05:00:00"}, "FIXED_NOW"),  # without an offset it names no moment
    ],
)
def test_what_does_not_go_together_is_a_mistake(monkeypatch: pytest.MonkeyPatch, variables: dict[str, str], key: str) -> None:
    assert [m.key for m in mistakes_with(monkeypatch, **variables).mistakes] == [PREFIX + key]


@pytest.mark.parametrize(
    ("variables", "needed"),
    [
        ({}, False),
        ({"HOST": "::1", "PUBLIC_URL": "http://localhost:8470"}, False),
        ({"HOST": "0.0.0.0"}, True),
        ({"HOST": "pavilion"}, True),
        ({"PUBLIC_URL": "https://turf.example"}, True),
        ({"PUBLIC_URL": "https://127.0.0.1.turf.example"}, True),
        ({"TRUSTED_PROXIES": "127.0.0.1, 10.1.0.0/24"}, True),
    ],
)
def test_keys_are_needed_wherever_others_can_reach_the_service(
    monkeypatch: pytest.MonkeyPatch, variables: dict[str, str], needed: bool
) -> None:
    for name, value in variables.items():
        monkeypatch.setenv(PREFIX + name, value)
    assert read_environment().keys_needed is needed


def test_trusted_proxies_are_addresses_and_nobody_by_default(monkeypatch: pytest.MonkeyPatch) -> None:
    assert read_environment().trusted_proxies == ()
    monkeypatch.setenv("FORECASTER_TRUSTED_PROXIES", "127.0.0.1, 10.1.0.0/24 ::1")
    assert read_environment().trusted_proxies == ("127.0.0.1/32", "10.1.0.0/24", "::1/128")
    for wrong in ("*", "proxy.example", "10.1.0.7/24", "127.0.0.1;10.0.0.1"):
        error = mistakes_with(monkeypatch, TRUSTED_PROXIES=wrong)
        assert [(m.key, wrong in m.value) for m in error.mistakes] == [("FORECASTER_TRUSTED_PROXIES", True)]


def test_secrets_never_show(monkeypatch: pytest.MonkeyPatch) -> None:
    secrets = {
        "SMTP_PASSWORD": "s3cret-mail",
        "OPENMETEO_KEY": "s3cret-key",
        "DATABASE_URL": "postgresql+psycopg://forecaster:s3cret-db@db/forecaster",
    }
    for name, value in secrets.items():
        monkeypatch.setenv(PREFIX + name, value)
    monkeypatch.setenv("FORECASTER_SMTP_USER", "robot")
    found = read_environment()
    assert found.database_url == secrets["DATABASE_URL"]
    assert "s3cret" not in repr(found) + str(found)

    error = mistakes_with(monkeypatch, DATABASE_URL="s3cret-db@db/forecaster", SMTP_PASWORD="s3cret-mail", PORT="none")
    assert len(error.mistakes) == 3
    assert "s3cret" not in describe_mistakes(error) + repr(error) + "".join(traceback.format_exception(error))


def test_the_web_process_can_read_it_without_the_heavy_libraries() -> None:
    code = (
        "import sys, forecaster.settings.environment; "
        "print(sorted({n for n in sys.modules if n.split('.')[0] in {'numpy', 'pandas', 'scipy', 'altair', 'sqlalchemy', 'requests'}"
        " or n.startswith(('forecaster.risk', 'forecaster.soil', 'forecaster.ground'))}))"
    )
    root = str(Path(__file__).resolve().parents[2])
    environment = {**os.environ, "PYTHONPATH": root}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment)
    assert done.stdout.strip() == "[]"


AS_FILES = {
    "SMTP_PASSWORD": "s3cret-mail",
    "OPENMETEO_KEY": "s3cret-key",
    "DATABASE_URL": "postgresql+psycopg://forecaster:s3cret-db@db/forecaster",
    "HEARTBEAT_URL": "https://watch.example/ping/s3cret",
}


def test_every_secret_may_lie_in_a_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert {name.lower() for name in AS_FILES} == set(SECRETS)
    for name, value in AS_FILES.items():
        (tmp_path / name).write_text(f"{value}\n", encoding="utf-8")
        monkeypatch.setenv(f"{PREFIX}{name}_FILE", str(tmp_path / name))
    monkeypatch.setenv("FORECASTER_SMTP_USER", "robot")
    found = read_environment()
    for name, value in AS_FILES.items():
        kept = getattr(found, name.lower())
        assert (kept if isinstance(kept, str) else kept.get_secret_value()) == value
    assert "s3cret" not in repr(found) + str(found)


def test_what_is_wrong_with_the_files_of_secrets_is_told_at_once_without_what_they_hold(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "empty").write_text("\n", encoding="utf-8")
    (tmp_path / "odd").write_bytes(b"s3cret-\xff")
    (tmp_path / "wrong").write_text("s3cret-db@db/forecaster", encoding="utf-8")
    error = mistakes_with(
        monkeypatch,
        SMTP_USER="robot",
        SMTP_PASSWORD_FILE=str(tmp_path / "empty"),
        OPENMETEO_KEY_FILE=str(tmp_path / "odd"),
        DATABASE_URL_FILE=str(tmp_path / "wrong"),
        HEARTBEAT_URL="https://watch.example/ping/s3cret",
        HEARTBEAT_URL_FILE=str(tmp_path / "nowhere"),
    )
    assert {m.key.removeprefix(PREFIX): m.allowed for m in error.mistakes} == {
        "SMTP_PASSWORD_FILE": "a file that holds the secret and can be read (it is empty)",
        "OPENMETEO_KEY_FILE": "a file that holds the secret and can be read (not UTF-8)",
        "DATABASE_URL_FILE": 'a file that holds a database address, "sqlite:///…"',
        "HEARTBEAT_URL_FILE": "either this or FORECASTER_HEARTBEAT_URL, not both",
    }
    assert "s3cret" not in describe_mistakes(error) + repr(error) + "".join(traceback.format_exception(error))
