"""What people enter, under a ground: applications, observations, fixtures and rings, all in the same way."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Path, Query, Request, Response

from forecaster.documents import GroundSummary, SurfaceOutlook
from forecaster.errors import KeyReused, NotFound, Outdated, ReadOnly, StorageError
from forecaster.records import FixtureEntry, FixtureRecord, Moment, RecordKind, RecordMarks, RingEntry, RingRecord
from forecaster.storage.records import RecordQuery
from forecaster.web.ages import ground_weather, local_day
from forecaster.web.answers import RECORD_LISTS
from forecaster.web.conditional import NOT_CHANGED, IfMatch, told, version_in, version_tag
from forecaster.web.entering import Mistakes, body_of, body_schema, check_entry, check_surface
from forecaster.web.lookup import GroundId, ground_or_missing
from forecaster.web.paging import Limit, Next, SurfaceFilter, cut, page_of, place_after
from forecaster.web.problems import openapi_problem
from forecaster.web.reading import Store
from forecaster.web.recorded import SHAPES, PlacedRecord, Shape, StoredRecords, placed_at
from forecaster.web.standing import outlooks_of
from forecaster.web.visitor import require_write

CONFIGURED = "configuration"

RecordId = Annotated[str, Path(description="Id of the record", min_length=1, max_length=40, pattern=r"^[a-z0-9][a-z0-9-]*$")]
RequestKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=200,
        pattern=r"^[!-~]+$",
        description="A key of your own for this entry: the same request again enters nothing twice",
        examples=["0b9f2c1e-phone-7"],
    ),
]

_LIST = openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)
_CHANGE = openapi_problem(NotFound.slug, "request-invalid", "body-too-large", "media-type-refused", "bad-request", StorageError.slug)
_RECORD = openapi_problem(NotFound.slug, "request-invalid", StorageError.slug)


class _Kept:
    """The records of one kind: those that were entered, and those that the configuration names."""

    def __init__(self, shape: Shape, store: Store, records: StoredRecords) -> None:
        self.shape, self.store, self.records = shape, store, records

    def configured(self, ground: GroundSummary) -> list[PlacedRecord]:
        """What the configuration names; it cannot be changed here."""
        if self.shape.kind == "fixture":
            return [_configured_fixture(ground, f) for f in ground.fixtures if f.origin != "entered"]
        if self.shape.kind == "ring":
            entered = {found.id for found in self.records.many(ground.id, "ring", RecordQuery(deleted=True))}
            outlooks = outlooks_of(self.store, ground).values()
            return [found for o in outlooks for found in _configured_rings(ground, o) if found.id not in entered]
        return []

    def one(self, ground: GroundSummary, record_id: str) -> Any:
        """One record. Raises NotFound."""
        found = [placed.record for placed in self.configured(ground) if placed.id == record_id]
        return found[0] if found else self.records.one(ground.id, self.shape.kind, record_id)

    def refuse_configured(self, ground: GroundSummary, record_id: str) -> None:
        """Raises ReadOnly."""
        found = [placed for placed in self.configured(ground) if placed.id == record_id]
        if found and getattr(found[0].record, "origin", CONFIGURED) == "calendar":
            raise ReadOnly(f"This {self.shape.kind} comes from the calendar of {ground.name}.", hint="Change it there: it is read hourly.")
        if found:
            raise ReadOnly(
                f"This {self.shape.kind} comes from the configuration of {ground.name}.", hint="Whoever runs this program changes it there."
            )

    def page(self, ground: GroundSummary, query: RecordQuery, limit: int) -> tuple[list[PlacedRecord], str | None]:
        """One page, newest first. What the configuration names is never many, so a list with it is put in order as a whole."""
        configured = [placed for placed in self.configured(ground) if _wanted(placed, query, self.shape.kind)]
        if not configured:
            return cut(self.records.many(ground.id, self.shape.kind, query, limit=limit + 1), limit)
        whole = RecordQuery(surface_id=query.surface_id, since=query.since, until=query.until, deleted=query.deleted)
        return page_of([*configured, *self.records.many(ground.id, self.shape.kind, whole)], query.after, limit)


def _wanted(placed: PlacedRecord, query: RecordQuery, kind: RecordKind) -> bool:
    inside = (query.since is None or placed.happened_at >= query.since) and (query.until is None or placed.happened_at < query.until)
    return inside and query.surface_id in (None, getattr(placed.record, kind).surface_id)


def _marks(ground: GroundSummary, record_id: str) -> dict[str, Any]:
    return {
        "id": record_id,
        "ground_id": ground.id,
        "origin": CONFIGURED,
        "version": 0,
        "entered_at_utc": None,
        "entered_by": CONFIGURED,
    }


def _configured_fixture(ground: GroundSummary, fixture: Any) -> PlacedRecord:
    # Not checked anew: the configuration has its own checks.
    entry = FixtureEntry.model_construct(
        surface_id=fixture.surface_id,
        title=fixture.title,
        starts_at_utc=fixture.starts_at_utc,
        ends_at_utc=fixture.ends_at_utc,
        children=fixture.children,
        by=CONFIGURED,
        note="",
    )
    marks = _marks(ground, fixture.id) | {"origin": fixture.origin}
    return PlacedRecord(fixture.starts_at_utc, fixture.id, FixtureRecord.model_construct(**marks, fixture=entry))


def _configured_rings(ground: GroundSummary, outlook: SurfaceOutlook) -> list[PlacedRecord]:
    found = []
    for ring in outlook.rings:
        measured = ring.model_dump(exclude={"id", "treatment_area_m2"})
        entry = RingEntry.model_construct(surface_id=outlook.surface_id, **measured, by=CONFIGURED, note="")
        record = RingRecord.model_construct(**_marks(ground, ring.id), ring=entry)
        found.append(PlacedRecord(placed_at("ring", entry, ground.time_zone), ring.id, record))
    return found


def add_record_routes(router: APIRouter, store: Store, records: StoredRecords, now: Callable[[], datetime], *, limit_hours: float) -> None:
    """The routes of every kind of record."""
    for shape in SHAPES.values():
        _add_routes(router, _Kept(shape, store, records), now, limit_hours=limit_hours)


def _add_routes(router: APIRouter, kept: _Kept, now: Callable[[], datetime], *, limit_hours: float) -> None:
    shape, store, records = kept.shape, kept.store, kept.records
    kind, place = shape.kind, f"/grounds/{{ground}}/{shape.plural}"
    article = "an" if kind[0] in "ao" else "a"
    given = Depends(body_of(shape.entry))
    lists = RECORD_LISTS[kind]

    def checked(ground: GroundSummary, entry: Any) -> None:
        mistakes = Mistakes()
        rings = [(o.surface_id, ring.id) for o in outlooks_of(store, ground).values() for ring in o.rings]
        rings += [(p.record.ring.surface_id, p.id) for p in records.many(ground.id, "ring", RecordQuery())]
        check_surface(entry, ground, rings, mistakes)
        check_entry(entry, now=now(), today=local_day(ground, now()), mistakes=mistakes)
        mistakes.raise_if_any()

    def with_tag(request: Request, record: RecordMarks, *, status: int = 200, headers: dict[str, str] | None = None) -> Response:
        return told(request, record, tag=version_tag(record.version), status=status, headers=headers)

    @router.get(
        place,
        tags=[shape.plural],
        response_model=lists,
        responses={**NOT_CHANGED, **_LIST},
        name=f"list_{shape.plural}",
        description=f"The {shape.plural} of a ground, newest first.",
    )
    def list_all(
        request: Request,
        ground: GroundId,
        surface: SurfaceFilter = None,
        since_utc: Annotated[Moment | None, Query(description="From this time on")] = None,
        until_utc: Annotated[Moment | None, Query(description="Before this time")] = None,
        deleted: Annotated[bool, Query(description="Deleted ones too")] = False,
        limit: Limit = 50,
        next: Next = None,
    ) -> Response:
        found = ground_or_missing(store, ground)
        query = RecordQuery(surface_id=surface, since=since_utc, until=until_utc, after=place_after(next), deleted=deleted)
        items, following = kept.page(found, query, limit)
        moment = now()
        weather = ground_weather(found, outlooks_of(store, found), moment, limit_hours=limit_hours)
        answer = lists.model_construct(
            ground_id=found.id, items=tuple(p.record for p in items), next=following, answered_at_utc=moment, weather=weather
        )
        return told(request, answer)

    @router.post(
        place,
        tags=[shape.plural],
        status_code=201,
        response_model=shape.record,
        responses={
            200: {"description": "The same request came before: its record as it stands", "model": shape.record},
            **_CHANGE,
            **openapi_problem(KeyReused.slug),
        },
        openapi_extra=body_schema(shape.entry),
        name=f"enter_{kind}",
        description=f"Enter {article} {kind}.",
    )
    def enter(request: Request, ground: GroundId, key: RequestKey = None, entry: Any = given) -> Response:
        found = ground_or_missing(store, ground)
        by = require_write(request, found.id).name
        checked(found, entry)
        record, fresh = records.add(found, kind, entry, request_key=key, by=by)
        headers = {"Location": f"{request.url.path}/{record.id}"}
        return with_tag(request, record, status=201 if fresh else 200, headers=headers)

    @router.get(
        f"{place}/{{record}}",
        tags=[shape.plural],
        response_model=shape.record,
        responses={**NOT_CHANGED, **_RECORD},
        name=f"show_{kind}",
        description=f"One {kind} with who entered it and when.",
    )
    def show(request: Request, ground: GroundId, record: RecordId) -> Response:
        return with_tag(request, kept.one(ground_or_missing(store, ground), record))

    @router.put(
        f"{place}/{{record}}",
        tags=[shape.plural],
        response_model=shape.record,
        responses={**_CHANGE, **openapi_problem(ReadOnly.slug, Outdated.slug, "precondition-missing")},
        openapi_extra=body_schema(shape.entry),
        name=f"change_{kind}",
        description=f"Let {article} {kind} say something else; what it said before is kept. If-Match is needed.",
    )
    def change(request: Request, ground: GroundId, record: RecordId, if_match: IfMatch = None, entry: Any = given) -> Response:
        found = ground_or_missing(store, ground)
        by = require_write(request, found.id).name
        kept.refuse_configured(found, record)
        version = version_in(if_match)
        checked(found, entry)
        return with_tag(request, records.change(found, kind, record, entry, version=version, by=by))

    @router.delete(
        f"{place}/{{record}}",
        tags=[shape.plural],
        response_model=shape.record,
        responses={**_RECORD, **openapi_problem(ReadOnly.slug, Outdated.slug, "precondition-missing")},
        name=f"delete_{kind}",
        description=f"Mark {article} {kind} as deleted; it is kept. If-Match is needed.",
    )
    def delete(request: Request, ground: GroundId, record: RecordId, if_match: IfMatch = None) -> Response:
        found = ground_or_missing(store, ground)
        by = require_write(request, found.id).name
        kept.refuse_configured(found, record)
        return with_tag(request, records.delete(found.id, kind, record, version=version_in(if_match), by=by))
