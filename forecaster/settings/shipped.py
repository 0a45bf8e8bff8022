"""Where the shipped folders lie: inside an installed wheel, or at the top level of a clone or editable install."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Literal

from forecaster.errors import ConfigurationError, Mistake

PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder(name: Literal["config", "sample_weather"]) -> Path:
    """Return the absolute path of a shipped folder.

    Raises: ConfigurationError where the installation lacks it. A wheel is asked first: beside its package lie strangers.
    """
    for folder in (PACKAGE / "_shipped" / name, PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise ConfigurationError(
        [Mistake("installation", name, "missing", f"the folder {name} that is shipped with the program")],
        hint="Install the program again; part of it is missing.",
    )


def copy_shipped_config(target: Path) -> tuple[Path, ...]:
    """Copy the shipped configuration into a new or empty folder and return the files written, relative to it.

    Raises: ConfigurationError where ``target`` holds anything already: a user's own values are never overwritten.
    """
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise ConfigurationError(
            [Mistake(str(target), "(folder)", "already there and not empty", "a new or an empty folder")],
            hint="Choose another folder; nothing was overwritten.",
        )
    try:
        shutil.copytree(shipped_folder("config"), target, dirs_exist_ok=True)
    except (OSError, shutil.Error) as error:
        raise ConfigurationError(
            [Mistake(str(target), "(folder)", str(error), "a folder that can be written")],
            hint="Choose a folder you may write to.",
        ) from error
    return tuple(sorted(path.relative_to(target) for path in target.rglob("*") if path.is_file()))
