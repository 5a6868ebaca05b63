"""Errors to pages, once for all crafts: what was wrong, where, and the way on; nothing typed is lost."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, urlsplit

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import Message

from spoolwright.crafts.visit.entry import ConflictError
from spoolwright.crafts.visit.people import NotEntitledError
from spoolwright.errors import SpoolwrightError
from spoolwright.web.form import Form
from spoolwright.web.frame import ForeignFormError, NotThereError, SignInFirstError, page
from spoolwright.web.kept import Kept, sentence_for_people
from spoolwright.web.twice import AlreadyRecorded

STATUS: dict[type[Exception], int] = {
    NotThereError: 404,
    NotEntitledError: 403,
    ForeignFormError: 403,
    ConflictError: 409,
    SpoolwrightError: 422,
}
BY_NAME = {"TooManyTriesError": 429}


def status_of(error: SpoolwrightError) -> int:
    """The status of an error of this project."""
    if (named := BY_NAME.get(type(error).__name__)) is not None:
        return named
    return next(STATUS[kind] for kind in type(error).__mro__ if kind in STATUS)


def add_mishaps(app: FastAPI) -> None:
    """Register every mapping."""
    app.add_exception_handler(SignInFirstError, _sign_in_first)
    app.add_exception_handler(AlreadyRecorded, _already_recorded)
    app.add_exception_handler(SpoolwrightError, _told)
    app.add_exception_handler(ValidationError, _invalid_body)
    app.add_exception_handler(RequestValidationError, _invalid_request)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(Exception, _fault)


async def _sign_in_first(request: Request, error: Exception) -> Response:
    assert isinstance(error, SignInFirstError)
    if request.method == "GET":
        back = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/sign-in?next={quote(back, safe='/')}", 303)
    return await run_in_threadpool(_problem, request, error, 401)


async def _already_recorded(request: Request, error: Exception) -> Response:
    assert isinstance(error, AlreadyRecorded)
    return RedirectResponse(error.location, 303)


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, SpoolwrightError)
    status = status_of(error)
    form: Form | None = getattr(request.state, "form", None)
    if form is not None and (again := await _shown_again(request, form, error, status)) is not None:
        return again
    return await run_in_threadpool(_problem, request, error, status)


async def _invalid_body(request: Request, error: Exception) -> Response:
    """A record that its schema refuses: the first mistake, beside its field where the names agree."""
    assert isinstance(error, ValidationError)
    first = error.errors(include_url=False, include_input=False)[0]
    where = ".".join(str(part) for part in first["loc"])
    what = f"{where.replace('_', ' ') or 'the entry'}: {first['msg'][:1].lower()}{first['msg'][1:]}."
    return await _told(request, SpoolwrightError(what, where=where))


async def _invalid_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    if first["loc"][:1] == ("path",):
        return await _told(request, NotThereError("there is no such page.", mend="Begin at the first page."))
    name = str(first["loc"][-1])
    if request.method == "GET":
        what = f"this address is not complete: '{name}' is missing or is not what it should be."
        return await _told(request, NotThereError(what, mend="Open the page from the one before."))
    return await _told(request, SpoolwrightError(f"{name.replace('_', ' ')}: {first['msg']}.", where=name))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {
        404: ("there is no such page.", "Begin at the first page."),
        405: ("this page takes no such request.", "Open it from the page before."),
    }
    what, mend = words.get(error.status_code, (str(error.detail), ""))
    told = SpoolwrightError(what, mend=mend)
    return await run_in_threadpool(_problem, request, told, error.status_code)


async def _fault(request: Request, error: Exception) -> Response:
    """A fault in the program: said plainly, without its inside."""
    told = SpoolwrightError(
        "a fault in the program itself; nothing of this request was recorded.",
        mend="Try once more; if it comes again, tell who looks after this server the time shown below.",
    )
    return await run_in_threadpool(_problem, request, told, 500)


def _problem(request: Request, error: SpoolwrightError, status: int) -> Response:
    form: Form | None = getattr(request.state, "form", None)
    return page(
        request,
        "frame/problem.html",
        status,
        heading=_HEADINGS.get(status, HTTPStatus(status).phrase),
        sentence=sentence_for_people(error),
        conflict=error if isinstance(error, ConflictError) else None,
        back=local_address(form.get("here")) if form else "",
        visit=None,
    )


_HEADINGS = {
    401: "Sign in first",
    403: "Not yours to do",
    404: "Not found",
    409: "Somebody was there before you",
    422: "This cannot be recorded as it is",
    429: "Wait a little",
    500: "Something broke",
}


async def _shown_again(request: Request, form: Form, error: SpoolwrightError, status: int) -> Response | None:
    """The page that held the form, with the sentence and what was typed; None when it cannot be shown."""
    here = local_address(form.get("here"))
    if not here:
        return None
    conflict = error if isinstance(error, ConflictError) else None
    where = error.where if error.where in form.values or error.where in form.uploads else ""
    kept = Kept(form.get("form_id"), form.kept(), sentence_for_people(error), where, conflict)
    answer = await _asked_within(request, here, kept)
    if answer is None:
        return None
    body, headers = answer
    return Response(body, status, headers=headers)


def local_address(address: str) -> str:
    """A page of ours, or nothing."""
    parts = urlsplit(address)
    plain = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return address if plain and not parts.scheme and not parts.netloc and address.isprintable() else ""


async def _asked_within(request: Request, here: str, kept: Kept) -> tuple[bytes, dict[str, str]] | None:
    """Ask the application itself for a page, as the browser would."""
    path, _, query = here.partition("?")
    drop = (b"content-length", b"content-type", b"transfer-encoding")
    scope: dict[str, Any] = {
        "type": "http", "asgi": request.scope.get("asgi", {}), "http_version": "1.1", "method": "GET",
        "scheme": request.scope["scheme"], "path": path, "raw_path": path.encode(), "root_path": "",
        "query_string": query.encode(), "client": request.scope.get("client"),
        "server": request.scope.get("server"),
        "headers": [(k, v) for k, v in request.scope["headers"] if k not in drop],
        "state": {"kept": kept},
    }  # fmt: skip
    parts: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        parts.append(message)

    call: Callable[..., Awaitable[None]] = request.app
    await call(scope, receive, send)
    if not parts or parts[0]["status"] != 200:
        return None
    kind = dict(parts[0]["headers"]).get(b"content-type", b"text/html; charset=utf-8").decode()
    return b"".join(p.get("body", b"") for p in parts[1:]), {"Content-Type": kind}
