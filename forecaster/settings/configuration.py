"""A folder of TOML files → one frozen Configuration, or every mistake in it at once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field

from forecaster.advice.limits import BookingLimits
from forecaster.errors import NotFound
from forecaster.ground.ground import Ground
from forecaster.risk.rule import Rule
from forecaster.settings.grounds import GroundReader
from forecaster.settings.mistakes import Missing, MistakeList
from forecaster.settings.model import ModelFile, check_model
from forecaster.settings.operations import OperationsFile, check_booking
from forecaster.settings.reading import Entry, EntryType, check, entries, note_duplicates, raw_ids, read_toml, valid_or_none
from forecaster.settings.rules import read_rules
from forecaster.settings.soils import Materials, SoilDefaults, SoilEntry, SoilsFile, TurfEntry, TurfFile, check_ramp, check_soil
from forecaster.soil.columns import ModelParameters

SOILS, TURF, RULES, CAUTIONS, MODEL, SERVICE = "soils.toml", "turf.toml", "rules.toml", "cautions.toml", "model.toml", "service.toml"
OPERATIONS = "operations.toml"


@dataclass(frozen=True)
class ServiceOptions:
    """How the service runs; its numbers live in config/service.toml."""

    stale_after_hours: float
    """Weather older than this is called stale wherever it is shown."""
    cycle_every_minutes: int
    history_days: int
    """Past days that are asked for, so that the soil state rests on weather and not on an assumption."""
    outlook_days: int
    members_every_hours: int
    """How often weather members are asked for; 0: never."""


class ServiceFile(Entry):
    """service.toml. Limits of the days: what the forecast service offers and the outlook shows."""

    stale_after_hours: float = Field(ge=1.0, le=240.0)
    cycle_every_minutes: int = Field(ge=15, le=1440)
    history_days: int = Field(ge=14, le=92)
    outlook_days: int = Field(ge=3, le=14)
    members_every_hours: int = Field(ge=0, le=48)


@dataclass(frozen=True)
class Configuration:
    """Everything a user describes, checked."""

    grounds: tuple[Ground, ...]
    rules: tuple[Rule, ...]
    model: ModelParameters
    service: ServiceOptions
    booking: BookingLimits

    def ground(self, ground_id: str) -> Ground:
        """A configured ground by its id. Raises: NotFound, naming those there are."""
        for ground in self.grounds:
            if ground.id == ground_id:
                return ground
        known = ", ".join(found.id for found in self.grounds)
        raise NotFound(f"there is no ground {ground_id!r}", hint=f"Known are: {known}.")


def load_configuration(folder: Path, *, beside: Path | None = None) -> Configuration:
    """Read a configuration folder. ``beside``: where paths to other files are given from, if not from the folder itself.

    Raises: ConfigurationError with all mistakes of all files; nothing is used of a configuration that has any.
    """
    mistakes = MistakeList()
    if not folder.is_dir():
        mistakes.add(str(folder), "(folder)", Missing(), "the configuration folder; `forecaster init` writes one to start from")
    mistakes.raise_if_any()
    soils, turf, rule_data, caution_data, model_data, service_data, operations_data = (
        read_toml(folder / name, name, mistakes) for name in (SOILS, TURF, RULES, CAUTIONS, MODEL, SERVICE, OPERATIONS)
    )
    materials = _materials(soils, turf, mistakes)
    grounds = _grounds(folder, beside or folder, materials, _ids(soils, "soil"), _ids(turf, "turf"), mistakes)
    rules = read_rules(rule_data, caution_data, (RULES, CAUTIONS), mistakes)
    model = _checked(ModelFile, model_data, MODEL, mistakes)
    service = _checked(ServiceFile, service_data, SERVICE, mistakes)
    operations = _checked(OperationsFile, operations_data, OPERATIONS, mistakes)
    if operations is not None:
        check_booking(operations.booking, mistakes.noter(OPERATIONS, "booking"))
    if model is not None:
        check_model(model, MODEL, mistakes)
    mistakes.raise_if_any()
    if model is None or service is None or operations is None:
        raise AssertionError("a file that cannot be used has a mistake noted")
    return Configuration(
        grounds, rules, ModelParameters(**model.model_dump()), ServiceOptions(**service.model_dump()), operations.booking.limits()
    )


def load_rules(file: Path, folder: Path) -> tuple[Rule, ...]:
    """Read a rule file of its own, with the cautions of a configuration folder. Raises: ConfigurationError with all mistakes of both."""
    mistakes = MistakeList()
    rules = read_rules(
        read_toml(file, str(file), mistakes), read_toml(folder / CAUTIONS, CAUTIONS, mistakes), (str(file), CAUTIONS), mistakes
    )
    mistakes.raise_if_any()
    return rules


def _checked(model: type[EntryType], data: dict[str, Any] | None, file: str, mistakes: MistakeList) -> EntryType | None:
    """Check a file that could be read; one that could not has its mistake already."""
    return None if data is None else check(model, data, file, mistakes)


def _ids(data: dict[str, Any] | None, key: str) -> frozenset[str] | None:
    """Known ids; None where the file could not be read, so that references into it are not called wrong as well."""
    return None if data is None else frozenset(raw_ids(entries(data, key)))


def _materials(soils: dict[str, Any] | None, turf: dict[str, Any] | None, mistakes: MistakeList) -> Materials:
    """Check soils and turf types; what is sound by itself can be referred to, whatever is wrong beside it."""
    sound_soils, sound_turf, defaults = {}, {}, None
    if soils is not None:
        check(SoilsFile, soils, SOILS, mistakes)
        defaults = valid_or_none(SoilDefaults, soils.get("default"))
        note_duplicates(entries(soils, "soil"), "soil", SOILS, mistakes)
        for number, raw in enumerate(entries(soils, "soil"), start=1):
            soil = valid_or_none(SoilEntry, raw)
            if soil is not None:
                before = len(mistakes.found)
                check_soil(soil, mistakes.noter(SOILS, f"soil[{number}]", soil.id))
                if len(mistakes.found) == before:
                    sound_soils[soil.id] = soil
    if turf is not None:
        check(TurfFile, turf, TURF, mistakes)
        note_duplicates(entries(turf, "turf"), "turf", TURF, mistakes)
        for number, raw in enumerate(entries(turf, "turf"), start=1):
            kind = valid_or_none(TurfEntry, raw)
            if kind is not None:
                check_ramp(kind.growth_ramp_c, mistakes.noter(TURF, f"turf[{number}]", kind.id))
                sound_turf[kind.id] = kind
    return Materials(sound_soils, sound_turf, defaults)


def _grounds(
    folder: Path, beside: Path, materials: Materials, soils: frozenset[str] | None, turf: frozenset[str] | None, mistakes: MistakeList
) -> tuple[Ground, ...]:
    """Read every ground, sorted by id."""
    files = sorted(path.name for path in (folder / "grounds").glob("*.toml"))
    if not files:
        mistakes.add("grounds/", "(folder)", Missing(), "at least one ground: a file like grounds/home.toml")
    grounds: list[Ground] = []
    seen: dict[str, str] = {}
    for name in files:
        file = f"grounds/{name}"
        ground = GroundReader(folder, beside, file, materials, soils, turf, mistakes).read()
        if ground is not None:
            if ground.id in seen:
                mistakes.add(file, "id", ground.id, f"an id of its own; {seen[ground.id]} has this one already")
            seen.setdefault(ground.id, file)
            grounds.append(ground)
    return tuple(sorted(grounds, key=lambda ground: ground.id))
