"""A run as it is kept: the issues it rests on by name and hash, the rest as parts, and from which program and configuration it came.

The document is JSON: numbers, times and texts come back as they were; frames and states are blobs without loss. So a run that is gone
through again with the same program and configuration gives the same outlooks.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pydantic import TypeAdapter
from sqlalchemy.orm import Session

import forecaster
from forecaster.credits import ServiceNote
from forecaster.errors import NotFound, StorageError
from forecaster.ground.fixture import Fixture
from forecaster.ground.ground import Ground, WeatherChoice
from forecaster.ground.ring import Ring
from forecaster.member_documents import MemberStatus
from forecaster.pipeline.inputs import RunInputs
from forecaster.pipeline.joining import OnSite, WeatherSources
from forecaster.pipeline.member_pull import Members, source_of
from forecaster.pipeline.pull import Issue
from forecaster.pipeline.soil_run import start_arrays, start_of
from forecaster.settings.configuration import Configuration
from forecaster.soil.state import first_guess
from forecaster.soil.surfaces import surface_columns
from forecaster.storage.arrays import pack_arrays, unpack_arrays
from forecaster.storage.runs import IssueName, KeptRun, issue_blob
from forecaster.weather.codec import decode, encode
from forecaster.weather.members import decode_members

COMPUTING = ("physics", "weather", "ground", "soil", "risk", "pipeline", "units.py", "quantities.py", "documents.py", "member_documents.py")
"""Where the numbers of an outlook are made."""
RINGS, FIXTURES = TypeAdapter(tuple[Ring, ...]), TypeAdapter(tuple[Fixture, ...])
NOTES, WATERING = TypeAdapter(tuple[ServiceNote, ...]), TypeAdapter(dict[str, dict[date, float]])


@dataclass(frozen=True)
class Rebuildable:
    """A kept run made ready to be gone through again. ``differs``: what is not as it was then, in words; empty where all is."""

    inputs: RunInputs
    differs: tuple[str, ...]


def run_to_keep(inputs: RunInputs, configuration: Configuration) -> KeptRun:
    """Everything that a run rests on, as it is stored; the issues themselves are stored by name beside it."""
    ground, sources = inputs.ground, inputs.sources
    parts: dict[str, bytes] = {}
    issues: list[IssueName] = []

    def part(blob: bytes) -> str:
        digest = _digest(blob)
        parts[digest] = blob
        return digest

    def named(issue: Issue) -> dict[str, str]:
        if not len(issue.frame.values):  # it is not stored as an issue: there is nothing in it but its name
            return {"source": issue.source, "part": part(issue.blob)}
        issues.append((issue.source, issue.frame.issued_at))
        return {"source": issue.source, "issued_at": issue.frame.issued_at.isoformat(), "digest": _digest(issue.blob)}

    members, members_blob, members_source = inputs.members.weather, inputs.members.blob, source_of(ground)
    told_members = None
    if members is not None and members_blob is not None and members_source is not None:
        issues.append((members_source, members.issued_at))
        told_members = {"source": members_source, "issued_at": members.issued_at.isoformat(), "digest": _digest(members_blob)}
    start = inputs.start
    document = {
        "program": program_mark(),
        "configuration": configuration_marks(ground, configuration),
        "fixtures": FIXTURES.dump_python(ground.fixtures, mode="json"),
        "rings": {surface.id: RINGS.dump_python(surface.rings, mode="json") for surface in ground.surfaces},
        "start": None if start is None else {"day": start.day.isoformat(), "part": part(pack_arrays(start_arrays(start)))},
        "forecasts": [named(issue) for issue in sources.forecasts],
        "histories": [named(issue) for issue in sources.histories],
        "instruments": [part(encode(frame)) for frame in sources.onsite.frames],
        "instrument_problems": list(sources.onsite.problems),
        "watering": WATERING.dump_python({name: dict(days) for name, days in sources.onsite.irrigation.items()}, mode="json"),
        "problem": sources.problem,
        "services": NOTES.dump_python(sources.services, mode="json"),
        "members": told_members,
        "members_told": inputs.members.status.model_dump(mode="json"),
    }
    day = inputs.now.astimezone(ground.time_zone).date()
    blob = zlib.compress(json.dumps(document, ensure_ascii=False, allow_nan=False).encode(), 9)
    return KeptRun(ground.id, day, inputs.now, blob, tuple(dict.fromkeys(issues)), parts)


def kept_inputs(session: Session, run: KeptRun, ground: Ground, configuration: Configuration) -> Rebuildable:
    """The inputs of a kept run, on the ground as it is configured now, and what is not as it was then.

    Raises: NotFound where something it rests on is no longer kept; StorageError where something is damaged.
    """
    try:
        document: dict[str, Any] = json.loads(zlib.decompress(run.document))
    except (zlib.error, ValueError) as error:
        raise StorageError(f"the run of {run.ground_id} on {run.local_day} is damaged: {error}", hint="It cannot be rebuilt.") from error
    differs = _differs(document, ground, configuration)
    rings = document["rings"]
    ground = replace(
        ground,
        fixtures=FIXTURES.validate_python(document["fixtures"]),
        surfaces=tuple(replace(surface, rings=RINGS.validate_python(rings.get(surface.id, ()))) for surface in ground.surfaces),
    )

    def part(digest: str) -> bytes:
        blob = run.parts.get(digest)
        if blob is None or _digest(blob) != digest:
            raise StorageError(f"a part of the run of {run.ground_id} on {run.local_day} is damaged or gone", hint="It cannot be rebuilt.")
        return blob

    def blob_of(told: dict[str, str]) -> bytes:
        name = (told["source"], datetime.fromisoformat(told["issued_at"]))
        blob = issue_blob(session, run.ground_id, name)
        issued = f"the weather of {name[0]} issued at {name[1]:%Y-%m-%d %H:%M} UTC"
        if blob is None:
            raise NotFound(f"{issued} is no longer kept", hint="Outlooks of the last 90 days can be rebuilt, of older ones one a week.")
        if _digest(blob) != told["digest"]:
            raise NotFound(f"{issued} was handed out once more since, with other numbers", hint="What stood in it first is not kept.")
        return blob

    def issue(told: dict[str, str]) -> Issue:
        blob = part(told["part"]) if "part" in told else blob_of(told)
        return Issue(told["source"], decode(blob), blob)

    start = document["start"]
    guess = first_guess(surface_columns(ground.surfaces), configuration.model)
    inputs = RunInputs(
        ground=ground,
        now=run.started_at,
        start=None if start is None else start_of(date.fromisoformat(start["day"]), unpack_arrays(part(start["part"])), guess),
        sources=WeatherSources(
            forecasts=tuple(map(issue, document["forecasts"])),
            histories=tuple(map(issue, document["histories"])),
            onsite=OnSite(
                frames=tuple(decode(part(digest)) for digest in document["instruments"]),
                problems=tuple(document["instrument_problems"]),
                irrigation=WATERING.validate_python(document["watering"]),
            ),
            problem=document["problem"],
            services=NOTES.validate_python(document["services"]),
        ),
        members=Members(
            None if document["members"] is None else decode_members(blob_of(document["members"])),
            MemberStatus.model_validate(document["members_told"]),
        ),
    )
    return Rebuildable(inputs, differs)


def configuration_marks(ground: Ground, configuration: Configuration) -> dict[str, str]:
    """A short hash of each part of the configuration that an outlook rests on; of the ground what does not change from run to run."""
    surfaces = tuple(replace(surface, rings=()) for surface in ground.surfaces)
    place = replace(
        ground, surfaces=surfaces, recipients=(), fixtures=(), onsite=(), calendar=None, weather=WeatherChoice(ground.weather.source)
    )
    parts = {"ground": place, "rules": configuration.rules, "model": configuration.model, "service": configuration.service}
    return {name: hashlib.sha256(repr(told).encode()).hexdigest()[:16] for name, told in parts.items()}


@lru_cache(maxsize=1)
def program_mark() -> str:
    """Version of the program, a short hash of the sources that compute, and the versions of the libraries they compute with."""
    package, digest = Path(forecaster.__file__).parent, hashlib.sha256()
    for name in COMPUTING:
        files = [package / name] if name.endswith(".py") else sorted((package / name).rglob("*.py"))
        for file in files:
            digest.update(file.name.encode() + file.read_bytes())
    return f"{forecaster.__version__} {digest.hexdigest()[:12]} numpy {np.__version__} pandas {pd.__version__}"


def _differs(document: dict[str, Any], ground: Ground, configuration: Configuration) -> tuple[str, ...]:
    found = []
    if document["program"] != program_mark():
        found.append(f"made by another version of the program ({document['program']}; this one is {program_mark()})")
    now = configuration_marks(ground, configuration)
    named = {"ground": "the ground and its surfaces", "rules": "rules.toml", "model": "model.toml", "service": "service.toml"}
    found += [f"{words} in config/ was other than now" for key, words in named.items() if document["configuration"].get(key) != now[key]]
    return tuple(found)


def _digest(blob: bytes) -> str:
    return hashlib.sha256(blob).hexdigest()
