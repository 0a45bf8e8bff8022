"""The web process: API, pages and static files over a store. It reads what a cycle stored and never loads the model."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Any

from anyio.to_thread import current_default_thread_limiter
from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles
from sqlalchemy import Engine
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response

import forecaster
from forecaster.errors import ForecasterError
from forecaster.web.access import PROTECTIONS, Access, Doors, is_api
from forecaster.web.ages import OUTLOOK_LIMIT_HOURS
from forecaster.web.api import api_router
from forecaster.web.feeds import feed_router
from forecaster.web.forms import PURPOSE, Forms, only_our_forms
from forecaster.web.keys import StoredKeys, refuse_without_keys
from forecaster.web.mail_desk import StoredMailDesk
from forecaster.web.mail_off import MailDesk, mail_off_router
from forecaster.web.operation import Operation, operation_router
from forecaster.web.pages import FOLDER, Pages, page_router
from forecaster.web.problems import KINDS, FieldMistake, Problem, problem, problem_response, slug_of_status
from forecaster.web.reading import Store
from forecaster.web.recorded import StoredRecords
from forecaster.web.sign_in import sign_in_router
from forecaster.web.visitor import admit

DESCRIPTION = (
    "Reads the outlooks, alerts and health that the last cycle stored. Times are UTC, days are the ground's local days, units stand in the "
    "names, and every answer says how old its weather is. Errors are problem documents (RFC 9457)."
)


THREADS = 4


def create_app(
    store: Store,
    *,
    records: StoredRecords | None = None,
    mail_desk: MailDesk | None = None,
    now: Callable[[], datetime],
    doors: Doors | None = None,
    keys: StoredKeys | None = None,
    engine: Engine | None = None,
    form_secret: bytes | None = None,
    outlook_limit_hours: float = OUTLOOK_LIMIT_HOURS,
) -> FastAPI:
    """The application over a store; ``now`` gives UTC. Without ``doors`` it answers this machine, without ``keys`` it knows none.

    ``form_secret``: what forms are signed with, the same for all processes of a service; None for a single one.
    ``records``: what people enter; None for an application that only shows what cycles stored. ``mail_desk``: behind the links in mails.
    ``engine``: what the readiness check proves, and where it reads what is wrong with the machine.
    """
    # The ready-made documentation pages load scripts from elsewhere, so only the description itself is served.
    app = FastAPI(
        title="Dry patch and ring outlook",
        version=forecaster.__version__,
        description=DESCRIPTION,
        openapi_url="/api/v1/openapi.json",
        docs_url=None,
        redoc_url=None,
        dependencies=[Depends(admit), Depends(only_our_forms)],
        lifespan=_few_threads,
    )
    doors = doors or Doors()
    app.state.forms = Forms(form_secret or secrets.token_bytes(32), cookie=doors.form_cookie, session_cookie=doors.session_cookie)
    operation = Operation(store, engine, now, outlook_limit_hours)
    pages = Pages(store, now, limit_hours=outlook_limit_hours, wrong=operation.wrong)
    app.include_router(api_router(store, records, now, limit_hours=outlook_limit_hours))
    app.include_router(operation_router(operation))
    app.include_router(page_router(pages))
    if mail_desk is not None:
        app.include_router(mail_off_router(pages, mail_desk, now))
    if engine is not None:
        app.include_router(feed_router(engine, now, doors.public_url))
    if keys is not None:
        app.include_router(sign_in_router(pages, keys, doors))
    app.mount("/static", StaticFiles(directory=FOLDER / "static"), name="static")
    refusal = _answer_errors(app, pages)
    _describe(app)
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Access, doors=doors, keys=keys, refusal=refusal)
    return app


@asynccontextmanager
async def _few_threads(_app: FastAPI) -> AsyncIterator[None]:
    """Requests read a little and wait for nothing, so a few threads do; each more would take memory of its own."""
    current_default_thread_limiter().total_tokens = THREADS
    yield


def from_environment() -> FastAPI:
    """The application as the environment describes it; for a server that loads it by name.

    Raises: ConfigurationError, StorageError.
    """
    from forecaster.settings.environment import read_environment
    from forecaster.storage.database import migrate, open_database
    from forecaster.storage.service_secret import service_secret
    from forecaster.web.stored import StoredReads

    environment = read_environment()
    engine = open_database(environment.database_url)
    migrate(engine)
    refuse_without_keys(environment, engine, _clock())
    still = environment.fixed_now

    def now() -> datetime:
        return still or _clock()

    return create_app(
        StoredReads(engine, now),
        records=StoredRecords(engine, now),
        mail_desk=StoredMailDesk(engine),
        now=now,
        doors=Doors(keys_needed=environment.keys_needed, public_url=environment.public_url, bound_to=environment.host),
        keys=StoredKeys(engine, _clock),
        engine=engine,
        form_secret=service_secret(engine, PURPOSE, _clock()),
    )


def _clock() -> datetime:
    return datetime.now(UTC)


def _describe(app: FastAPI) -> None:
    """Put the examples into the description. Given to the routes they would lose every null, and "not known" is a null here."""
    without_examples = app.openapi

    def description() -> dict[str, Any]:
        # Made when somebody asks for it: few do.
        from forecaster.web import examples, examples_entered
        from forecaster.web.key_description import describe_keys

        if app.openapi_schema is None:
            schema = without_examples()
            for path, example in examples.BY_PATH.items():
                if path not in schema["paths"]:
                    continue
                schema["paths"][path]["get"]["responses"]["200"]["content"]["application/json"]["example"] = example
            for (method, path, status), answer in examples_entered.ANSWERS.items():
                if method in schema["paths"].get(path, {}):
                    content = schema["paths"][path][method]["responses"][status]["content"]
                    content["application/json"]["example"] = answer.model_dump(mode="json")
            for (method, path), body in examples_entered.BODIES.items():
                if method in schema["paths"].get(path, {}):
                    schema["paths"][path][method]["requestBody"]["content"]["application/json"]["example"] = body
            describe_keys(schema)
            app.openapi_schema = schema
        return app.openapi_schema

    app.openapi = description  # type: ignore[method-assign]


def _answer_errors(app: FastAPI, pages: Pages) -> Callable[[Request, Problem, dict[str, str]], Response]:
    """Give every error its answer. Returns what makes an answer of a problem: a page, or a document for programs."""

    def answer(request: Request, document: Problem, headers: dict[str, str] | None = None) -> Response:
        if is_api(request.url.path):
            return problem_response(document, headers=headers)
        response = pages.problem(request, document)
        response.headers.update(headers or {})
        return response

    @app.exception_handler(HTTPException)
    def http_error(request: Request, error: HTTPException) -> Response:
        slug = slug_of_status(error.status_code)
        details = {
            404: "There is nothing at this address.",
            405: f"{request.method} is not possible here.",
            413: "A body of 64 kB at most is read.",
            415: "The body is not declared as application/json.",
        }
        detail = details.get(error.status_code, str(error.detail))
        document = problem(slug, detail, instance=request.url.path).model_copy(update={"status": error.status_code})
        return answer(request, document, dict(error.headers or {}))

    @app.exception_handler(RequestValidationError)
    def invalid(request: Request, error: RequestValidationError) -> Response:
        errors = [FieldMistake(where=".".join(str(part) for part in e["loc"]), message=e["msg"]) for e in error.errors()]
        detail = (
            f"{len(errors)} field{'s are' if len(errors) != 1 else ' is'} not as they must be."
            if len(errors) != 1
            else "One field is not as it must be."
        )
        return answer(request, problem("request-invalid", detail, instance=request.url.path, errors=errors))

    @app.exception_handler(ForecasterError)
    def own_error(request: Request, error: ForecasterError) -> Response:
        slug = error.slug if error.slug in KINDS else ForecasterError.slug
        return answer(request, problem(slug, error.message, instance=request.url.path, hint=error.hint))

    @app.exception_handler(Exception)
    def unforeseen(request: Request, error: Exception) -> Response:
        # The server logs the error itself; a visitor learns nothing of the inside. This answer leaves outside of the middleware.
        detail = "The program met an error that it did not foresee. It is in the log."
        hint = "Try again; if it stays, tell whoever runs this program."
        return answer(request, problem("internal-error", detail, instance=request.url.path, hint=hint), dict(PROTECTIONS))

    return answer
