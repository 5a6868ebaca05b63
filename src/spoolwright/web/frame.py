"""What every page is made with: who is at the desk, the page, the signature, the way on.

    router = APIRouter()

    @router.get("/visit/{number}/cards")
    def cards(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
        return page(request, "cards/list.html", cards=..., revision=3)

    @router.post("/visit/{number}/cards")
    def record_card(request: Request, number: str, desk: DeskHere, form: FormHere) -> Response:
        sign(request, form, desk, shown=what_is_signed)
        ...
        return redirect(f"/visit/{number}/cards")

A use case's error needs no handling: the frame shows the page that held the form again, with the sentence
beside the form (beside the field when the error's `where` is the field's name) and all that was typed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, cast

from fastapi import Depends
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from spoolwright.bootstrap.shop import Shop, UnknownVisitError
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.people import Person
from spoolwright.errors import InputError, SpoolwrightError
from spoolwright.store.people import WrongPasswordError
from spoolwright.web.form import Form, form_from
from spoolwright.web.guide import guide_of
from spoolwright.web.rendering import render
from spoolwright.web.security.border import SAFE
from spoolwright.web.security.tokens import token_holds, token_of
from spoolwright.web.settings import Settings
from spoolwright.web.twice import RecordedForms
from spoolwright.web.visit_head import head_of

COOKIE = "spoolwright"
MOST_FIELDS, MOST_FILES, LARGEST_FIELD = 2000, 40, 200_000


class SignInFirstError(SpoolwrightError):
    """Nobody is signed in, or the session has ended."""


class NotThereError(SpoolwrightError):
    """There is no such page or record."""


class ForeignFormError(SpoolwrightError):
    """A form that this server did not make for this browser."""


@dataclass(frozen=True)
class Frame:
    """What all requests share."""

    shop: Shop
    settings: Settings
    recorded: RecordedForms
    rooms: tuple[tuple[str, str], ...] = ()
    """The crafts that have pages of a visit: name in the URL, word on the tab."""
    shop_rooms: tuple[tuple[str, str], ...] = ()
    """The pages of the whole shop: URL and word."""


def frame_of(request: Request) -> Frame:
    """The frame that a request runs in."""
    return cast(Frame, request.app.state.frame)


def signed_in(request: Request) -> Person:
    """The person at the browser.

    Raises
    ------
    SignInFirstError
        There is none.
    """
    if (known := getattr(request.state, "person", None)) is None:
        frame, cookie = frame_of(request), request.cookies.get(COOKIE, "")
        known = frame.shop.people.of_session(cookie, frame.settings.clock()) if cookie else None
        request.state.person = known
    if known is None:
        raise SignInFirstError("nobody is signed in here.", mend="Sign in; what you typed is kept.")
    return cast(Person, known)


async def guard(request: Request, _: Annotated[Person, Depends(signed_in)]) -> None:
    """Before every page but the sign-in: a session, and a form's token where something changes."""
    if request.method not in SAFE:
        form = await read_form(request)
        mark = f"{request.url.path} {await run_in_threadpool(form.fingerprint)}"
        frame_of(request).recorded.refuse(mark)
        request.state.fingerprint = mark


async def read_form(request: Request) -> Form:
    """The form of a request, once its token is checked."""
    if (known := getattr(request.state, "form", None)) is not None:
        return cast(Form, known)
    data = await request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=LARGEST_FIELD)
    form = form_from(data, frame_of(request).settings.largest_file)
    request.state.form = form
    if not token_holds(request.cookies.get(COOKIE, ""), form.get("form_token")):
        raise ForeignFormError(
            "this form was not made for this browser, or somebody signed in anew since.",
            mend="It is shown anew with what you typed: send it again.",
        )
    return form


def desk_of(request: Request) -> Desk:
    """The desk of the person who is signed in."""
    if (known := getattr(request.state, "desk", None)) is None:
        shop, now = frame_of(request).shop, frame_of(request).settings.clock()
        known = Desk(shop.records, shop.attachments, shop.types, signed_in(request), now)
        request.state.desk = known
    return cast(Desk, known)


def form_of(request: Request) -> Form:
    """The form that was sent."""
    return cast(Form, request.state.form)


def folder_of(request: Request) -> Folder:
    """The folder of the visit that the URL names.

    Raises
    ------
    NotThereError
        There is no such visit.
    """
    if (known := getattr(request.state, "folder", None)) is None:
        frame = frame_of(request)
        try:
            known = frame.shop.folder(request.path_params["number"], frame.settings.clock().date())
        except UnknownVisitError as error:
            raise NotThereError(error.what, mend="Look for it on the first page.") from error
        request.state.folder = known
    return cast(Folder, known)


DeskHere = Annotated[Desk, Depends(desk_of)]
FormHere = Annotated[Form, Depends(form_of)]
FolderHere = Annotated[Folder, Depends(folder_of)]


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """A page; a template that extends `frame/visit.html` finds the visit's head by itself."""
    known = getattr(request.state, "person", None) is not None
    if known:
        values.setdefault("desk", desk_of(request))
    if known and "number" in request.path_params and "visit" not in values:
        values["visit"] = head_of(folder_of(request))
        values.setdefault("chain", frame_of(request).shop.records.head())
    frame = frame_of(request)
    values = {"rooms": frame.rooms, "shop_rooms": frame.shop_rooms, "guide": guide_of(request)} | values
    cookie = request.cookies.get(COOKIE, "") or getattr(request.state, "new_cookie", "")
    values.setdefault("now", frame.settings.clock())
    return HTMLResponse(render(request, template, token_of(cookie), values), status)


def redirect(url: str) -> Response:
    """On to another page after something was recorded."""
    return RedirectResponse(url, 303)


def sign(request: Request, form: Form, desk: Desk, shown: str) -> None:
    """See that a person signs: the password given again, over exactly the text that was on the screen.

    Parameters
    ----------
    request, form, desk
        The request, its form, who acts.
    shown : str
        What the signature stands for, as the server computes it now.

    Raises
    ------
    InputError
        The text on the screen was another one, or the password is wrong or missing.
    TooManyTriesError
        Too many wrong passwords in a short time.
    """
    if " ".join(form.get("shown").split()) != " ".join(shown.split()):
        raise InputError(
            "what you were about to sign has changed since you opened it.",
            mend="Read it as it stands now, then sign.",
            where="shown",
        )
    check_own(request, form, desk)


def check_own(request: Request, form: Form, desk: Desk) -> None:
    """See that the person at the desk gave the own password in the form's field `password`."""
    if not form.get("password"):
        raise InputError("your password is missing.", mend="Give it to sign.", where="password")
    shop, now = frame_of(request).shop, frame_of(request).settings.clock()
    try:
        shop.people.check(desk.person.login, form.values["password"][0], source=source_of(request), now=now)
    except WrongPasswordError as error:
        raise InputError("the password is not right.", mend="Give it again.", where="password") from error


def source_of(request: Request) -> str:
    """Where a request comes from, for the limit on wrong passwords."""
    return request.client.host if request.client else ""
