"""The environment: where things lie and who is reached, from variables FORECASTER_*. The only reader of environment variables.

Imports nothing heavy: the web process reads it too.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from ipaddress import ip_network
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, AwareDatetime, BeforeValidator, Field, SecretStr, ValidationError
from pydantic_core import PydanticCustomError
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from forecaster.errors import ConfigurationError, Mistake
from forecaster.settings.mistakes import Missing, MistakeList, nearest
from forecaster.settings.reading import allowed_at
from forecaster.settings.shipped import shipped_folder

FILE = "environment"
PREFIX = "FORECASTER_"
TEST_PREFIX = "FORECASTER_TEST_"  # the test suite's own
SECRETS = ("smtp_password", "openmeteo_key", "database_url", "heartbeat_url")  # a database address may hold a password
"""Settings that are never shown. Each may lie in a file instead, which the setting with ``_file`` at its end names."""
LOOPBACK = ("127.0.0.1", "::1", "localhost")
PORTS = {"starttls": 587, "tls": 465, "none": 25}  # RFC 6409, RFC 8314, RFC 5321


def _web_address(text: str) -> str:
    if not re.fullmatch(r"https?://[^\s/?#]+(/[^\s?#]*)?", text):
        raise PydanticCustomError("web_address", "not a web address")
    return text.rstrip("/")


def _networks(text: object) -> tuple[str, ...]:
    """Addresses and networks out of one line."""
    found = [part for part in re.split(r"[\s,]+", text) if part] if isinstance(text, str) else text
    try:
        return tuple(str(ip_network(part)) for part in found)  # type: ignore[attr-defined]
    except (TypeError, ValueError) as error:
        raise PydanticCustomError("networks", "not addresses") from error


def _secret_web_address(secret: SecretStr) -> SecretStr:
    if not re.fullmatch(r"https?://[^\s/?#]+([/?][^\s]*)?", secret.get_secret_value()):
        raise PydanticCustomError("web_address", "not a web address")
    return secret


def _absolute(path: Path) -> Path:
    return path.expanduser().absolute()


WebAddress = Annotated[str, AfterValidator(_web_address), Field(description="a web address that begins with http:// or https://")]
Folder = Annotated[Path, AfterValidator(_absolute), Field(description="a folder")]
SecretFile = Annotated[Path | None, Field(description="a file that holds the secret and can be read")]
Port = Annotated[int, Field(ge=1, le=65535, description="a port number from 1 to 65535")]
Address = Annotated[str, Field(pattern=r"^[^@\s,;<>\"]+@[^@\s,;<>\"]+$", description='one email address, "name@example.org"')]


class Environment(BaseSettings):
    """Everything that comes from outside the configuration folder; made by ``read_environment``. Secrets never show in its repr."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, env_ignore_empty=True, extra="forbid", frozen=True, hide_input_in_errors=True)

    data: Folder = Field(default=Path("var"), validate_default=True)
    """Folder that the program writes to: database, and mail where no server is named."""
    config: Folder = Field(default_factory=lambda: shipped_folder("config"))
    database_url: str = Field(default="", repr=False, pattern=r"^$|^[a-z0-9+]+://.*", description='a database address, "sqlite:///…"')
    database_url_file: SecretFile = None
    mail_folder: Folder | None = None
    """Mails are written here as files; not together with smtp_host."""
    smtp_host: str | None = None
    smtp_port: Port | None = None
    smtp_user: str | None = None
    smtp_password: SecretStr | None = None
    smtp_password_file: SecretFile = None
    smtp_tls: Literal["starttls", "tls", "none"] = Field(default="starttls", description="starttls, tls or none")
    mail_from: Address = "forecaster@localhost"
    host: str = "127.0.0.1"
    port: Port = 8470
    openmeteo_url: WebAddress = "https://api.open-meteo.com"
    openmeteo_archive_url: WebAddress = "https://archive-api.open-meteo.com"
    openmeteo_ensemble_url: WebAddress = "https://ensemble-api.open-meteo.com"
    openmeteo_key: SecretStr | None = None
    openmeteo_key_file: SecretFile = None
    contact: str | None = Field(default=None, pattern=r"^[!-~]+(@|://)[!-~]+$", description="an email address or a web page")
    """How weather services can reach whoever runs this: MET Norway, asked where Open-Meteo fails, lets in nobody else."""
    operator_email: Address | None = None
    """Who is mailed about trouble with services and with the program itself."""
    met_norway_url: WebAddress = "https://api.met.no"
    nasa_power_url: WebAddress = "https://power.larc.nasa.gov"
    public_url: WebAddress | None = None
    """Address under which people reach the pages, for links in mails."""
    heartbeat_url: Annotated[SecretStr, AfterValidator(_secret_web_address)] | None = Field(
        default=None, description="a web address that begins with http:// or https://"
    )
    """Address outside that is asked for after every run of cycles: whoever watches it learns when that stops."""
    heartbeat_url_file: SecretFile = None
    backup_folder: Folder | None = None
    """Folder that a checked copy of the database is written to every day: better on another disk or machine."""
    backup_keep: Annotated[int, Field(ge=1, le=1000, description="a whole number from 1 to 1000")] = 14
    log_format: Literal["text", "json"] = Field(default="text", description="text or json")
    """Lines for people, or one JSON object a line."""
    low_disk_mb: Annotated[int, Field(ge=10, le=1_000_000, description="megabytes, a whole number from 10 to 1000000")] = 500
    """Below so much free room in the data folder only what is needed is written."""
    ground_mb: Annotated[int, Field(ge=10, le=100_000, description="megabytes, a whole number from 10 to 100000")] = 200
    """Room that one ground may take in the database before it is said."""
    fixed_now: AwareDatetime | None = Field(default=None, description="a time with its offset, like 2026-09-12T05:00:00Z")
    """The moment at which the program stands still: for the invented sample weather, never for a real ground."""
    trusted_proxies: Annotated[tuple[str, ...], NoDecode, BeforeValidator(_networks)] = Field(
        default=(), description="addresses or networks of proxies, with commas between them: 10.0.0.2, 10.1.0.0/24"
    )
    """Proxies whose word about where a request came from is believed. Nobody's by default."""

    @property
    def keys_needed(self) -> bool:
        """Whether the service can be reached from elsewhere, directly or through a proxy: then nothing is answered without a key."""
        public_host = urlsplit(self.public_url).hostname if self.public_url else None
        return self.host not in LOOPBACK or (public_host is not None and public_host not in LOOPBACK) or bool(self.trusted_proxies)


def environment_with(defaults: Mapping[str, str]) -> dict[str, str]:
    """The variables of this process, for one that it starts; ``defaults`` where they are not set."""
    return {**defaults, **os.environ}


def read_environment() -> Environment:
    """Read and check the environment.

    Raises: ConfigurationError with all mistakes at once, the values of secrets hidden.
    """
    mistakes = MistakeList()
    _note_unknown(os.environ, mistakes)
    from_files = _secrets_from_files(os.environ, mistakes)
    try:
        found = Environment(**from_files)
    except ValidationError as error:
        wrong = {str(problem["loc"][0]): problem["input"] for problem in error.errors(include_url=False, include_context=False)}
        for name, value in wrong.items():
            allowed = allowed_at(Environment, (name,), "")
            if name in from_files:
                mistakes.found.append(Mistake(FILE, f"{PREFIX}{name.upper()}_FILE", "(hidden)", f"a file that holds {allowed}"))
            else:
                _note(name, value, allowed, mistakes)
        # Look at the rest as well, with defaults where a value is wrong, so that everything is told at once.
        fields = Environment.model_fields
        found = Environment(**from_files | {name: fields[name].get_default(call_default_factory=True) for name in wrong})
    completed = _completed(found, mistakes)
    if mistakes.found:
        raise ConfigurationError(mistakes.found, hint="Correct these environment variables; nothing was started.")
    return completed


def _completed(found: Environment, mistakes: MistakeList) -> Environment:
    """Fill in what follows from other values, and note what does not go together."""
    changes: dict[str, Any] = {}
    if not found.database_url:
        changes["database_url"] = f"sqlite:///{found.data / 'forecaster.db'}"
    if found.smtp_port is None:
        changes["smtp_port"] = PORTS[found.smtp_tls]
    if found.smtp_host is None and found.mail_folder is None:
        changes["mail_folder"] = found.data / "mail"
    if found.smtp_host and found.mail_folder:
        _note("mail_folder", str(found.mail_folder), f"either this or {PREFIX}SMTP_HOST, not both", mistakes)
    if found.smtp_host and "mail_from" not in found.model_fields_set:
        _note("mail_from", Missing(), f"required with {PREFIX}SMTP_HOST: the address that mails come from", mistakes)
    if (found.smtp_user is None) != (found.smtp_password is None and found.smtp_password_file is None):
        missing = "smtp_user" if found.smtp_user is None else "smtp_password"
        _note(missing, Missing(), "user and password go together: give both or neither", mistakes)
    if found.smtp_password is not None and found.smtp_tls == "none" and found.smtp_host not in (None, *LOOPBACK):
        _note("smtp_tls", found.smtp_tls, "starttls or tls: a password is not sent in the clear to another machine", mistakes)
    return found.model_copy(update=changes)


def _secrets_from_files(variables: Mapping[str, str], mistakes: MistakeList) -> dict[str, Any]:
    """The secrets that lie in files, as container platforms hand them over, by the name of their setting."""
    given = {name.upper(): value for name, value in variables.items() if value}
    found = {}
    for name in SECRETS:
        variable, setting = f"{PREFIX}{name.upper()}", f"{name}_file"
        path = given.get(f"{variable}_FILE")
        if path is None:
            continue
        if variable in given:
            _note(setting, path, f"either this or {variable}, not both", mistakes)
            continue
        text = _secret_from(Path(path), setting, mistakes)
        if text:
            found[name] = text
    return found


def _secret_from(path: Path, setting: str, mistakes: MistakeList) -> str | None:
    """Read a secret from a file; a line end at its end is not part of it."""
    try:
        text = path.expanduser().read_text(encoding="utf-8").rstrip("\r\n")
        reason = "" if text else "it is empty"
    except UnicodeDecodeError:
        text, reason = "", "not UTF-8"
    except (OSError, RuntimeError, ValueError) as error:  # also "~nobody", and a null in the name
        text, reason = "", (error.strerror or "") if isinstance(error, OSError) else "no such name"
    if reason:
        _note(setting, str(path), f"a file that holds the secret and can be read ({reason})", mistakes)
    return text or None


def _note(name: str, value: object, allowed: str, mistakes: MistakeList) -> None:
    """Note a mistake under the variable's name; a secret is never shown."""
    hidden = name in SECRETS and not isinstance(value, Missing)
    variable = PREFIX + name.upper()
    if hidden:
        mistakes.found.append(Mistake(FILE, variable, "(hidden)", allowed))
    else:
        mistakes.add(FILE, variable, value, allowed)


def _note_unknown(variables: Mapping[str, str], mistakes: MistakeList) -> None:
    """Note variables that nothing reads: a slip in a name would otherwise be a setting silently ignored."""
    known = {PREFIX + name.upper() for name in Environment.model_fields}
    for name in sorted(variables):
        if name.upper().startswith(PREFIX) and name.upper() not in known and not name.startswith(TEST_PREFIX):
            mistakes.found.append(Mistake(FILE, name, "(not shown)", f"unknown variable; {nearest(name.upper(), known)}"))
