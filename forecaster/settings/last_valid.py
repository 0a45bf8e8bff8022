"""A configuration that is changed while the service runs: used when it is valid; until then the last valid one stays in use."""

from __future__ import annotations

import shutil
from pathlib import Path

from forecaster.errors import ConfigurationError
from forecaster.settings.configuration import Configuration, load_configuration

KEPT = "last-valid-configuration"


def usable_configuration(folder: Path, data: Path) -> tuple[Configuration, ConfigurationError | None]:
    """The configuration in ``folder``, which is then kept under ``data``; or the one kept last, and what is wrong with the new one.

    Raises: ConfigurationError where there is nothing valid to fall back on.
    """
    kept = data / KEPT
    try:
        found = load_configuration(folder)
    except ConfigurationError as error:
        if not kept.is_dir():
            raise
        try:
            return load_configuration(kept, beside=folder), error
        except ConfigurationError:
            raise error from None  # what was valid no longer is, in another version of the program or without its files
    _keep(folder, kept)
    return found, None


def _keep(folder: Path, kept: Path) -> None:
    """Copy the TOML files aside first, so that there is never half a configuration under the name."""
    fresh = kept.with_name(f"{KEPT}.new")
    shutil.rmtree(fresh, ignore_errors=True)
    for file in sorted(folder.rglob("*.toml")):
        target = fresh / file.relative_to(folder)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(file, target)
    shutil.rmtree(kept, ignore_errors=True)
    fresh.rename(kept)
