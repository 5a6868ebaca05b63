"""People: roles, authorisations with what they rest on and when they run out. The lead enters."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role
from spoolwright.crafts.visit.service import enter_person, give_authorisation, require_lead
from spoolwright.errors import InputError
from spoolwright.store.finding import logins_with_password
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FormHere, NotThereError, check_own, frame_of, page, redirect

router = APIRouter()
SOON = timedelta(days=45)
Login = Annotated[str, Path(pattern=r"^[a-z0-9][a-z0-9._-]{0,39}$")]


@dataclass(frozen=True)
class Held:
    """An authorisation and how long it lasts."""

    entry: Entry[AuthorisationGiven]
    word: str
    shape: str


@dataclass(frozen=True)
class PersonLine:
    """A person and what the person holds."""

    entry: Entry[PersonKnown]
    held: tuple[Held, ...]
    can_sign_in: bool

    @property
    def left(self) -> bool:
        """Whether the person has left."""
        return self.entry.body.left_on is not None


def lasting(given: AuthorisationGiven, today: date) -> tuple[str, str]:
    """How long an authorisation lasts: words and shape."""
    until = given.valid_until
    if given.withdrawn:
        return "withdrawn", "dash"
    if until < today:
        return f"ran out {until.day} {until:%b %Y}", "stop"
    if until - today <= SOON:
        days = (until - today).days
        return f"{days} day{'' if days == 1 else 's'} left", "warn"
    return f"to {until.day} {until:%b %Y}", "done"


def _lines(shop: Shop, today: date, login: str = "") -> list[PersonLine]:
    held: dict[str, list[Held]] = {}
    for a in shop.records.current(AuthorisationGiven, under=f"person/{login}" if login else "person"):
        held.setdefault(a.body.login, []).append(Held(a, *lasting(a.body, today)))
    keyed = logins_with_password(shop.database)
    people = shop.records.current(PersonKnown, under=f"person/{login}" if login else "person")
    return [
        PersonLine(p, tuple(held.get(p.body.login, ())), p.body.login in keyed)
        for p in people
        if not login or p.body.login == login
    ]


@router.get("/people")
def people(request: Request) -> Response:
    """Everybody, with what runs out first on top."""
    frame = frame_of(request)
    lines = _lines(frame.shop, frame.settings.clock().date())
    lines.sort(key=lambda line: (line.left, line.entry.body.name.casefold()))
    soon = sum(h.shape in ("warn", "stop") for line in lines if not line.left for h in line.held)
    return page(request, "people/people.html", lines=lines, soon=soon, roles=list(Role))


@router.post("/people")
def enter(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """A new person, with a first password."""
    person = _person(form, form.text("login", "the login").lower())
    require_lead(desk, "enters people")
    shop = frame_of(request).shop
    password = form.values.get("new_password", ("",))[0]
    enter_person(desk, person, after=form.after)
    if password:
        shop.people.set_password(person.login, password)
    return redirect(f"/people/{person.login}")


def _person(form: Form, login: str) -> PersonKnown:
    chosen = tuple(Role(r) for r in form.all("roles") if r in set(Role))
    if not chosen:
        raise InputError("no role is ticked.", mend="Tick what the person is in the shop.", where="roles")
    left = form.date("left_on") if form.get("left_on") else None
    return PersonKnown(
        login=login,
        name=form.text("name", "the name"),
        roles=chosen,
        certificate=form.get("certificate"),
        left_on=left,
    )


@router.get("/people/{login}")
def person(request: Request, login: Login, desk: DeskHere) -> Response:
    """One person."""
    lines = _lines(frame_of(request).shop, desk.now.date(), login)
    if not lines:
        raise NotThereError(f"nobody here has the login '{login}'.", mend="Look under People.")
    return page(request, "people/person.html", line=lines[0], roles=list(Role))


@router.post("/people/{login}")
def change(request: Request, login: Login, desk: DeskHere, form: FormHere) -> Response:
    """What changed about a person; who has left is signed out everywhere."""
    changed = _person(form, login)
    enter_person(desk, changed, after=form.after, reason=form.get("reason"))
    if changed.left_on is not None:
        frame_of(request).shop.people.sessions.close_all(login)
    return redirect(f"/people/{login}")


@router.post("/people/{login}/authorisation")
def authorise(request: Request, login: Login, desk: DeskHere, form: FormHere) -> Response:
    """An authorisation, its renewal or its withdrawal."""
    given = AuthorisationGiven(
        login=login,
        number=form.text("number", "the number"),
        role=form.choice("role", Role, "the role"),
        covers=form.get("covers") or "all",
        rests_on=form.get("rests_on"),
        expires_on=form.date("expires_on", "the last day"),
        vision_until=form.date("vision_until") if form.get("vision_until") else None,
        training_until=form.date("training_until") if form.get("training_until") else None,
        withdrawn=form.ticked("withdrawn"),
    )
    give_authorisation(desk, given, after=form.after, reason=form.get("reason"))
    return redirect(f"/people/{login}")


@router.post("/people/{login}/password")
def new_password_for(request: Request, login: Login, desk: DeskHere, form: FormHere) -> Response:
    """A new first password from the lead, who gives the own one to do it."""
    require_lead(desk, "gives first passwords")
    check_own(request, form, desk)
    frame_of(request).shop.people.set_password(login, form.values.get("new_password", ("",))[0])
    return redirect(f"/people/{login}")


@router.get("/password")
def own_password(request: Request) -> Response:
    """The page to change one's own password."""
    return page(request, "people/password.html")


@router.post("/password")
def change_own_password(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """A person's own new password; every session ends with the old one."""
    check_own(request, form, desk)
    frame_of(request).shop.people.set_password(desk.person.login, form.values.get("new_password", ("",))[0])
    return redirect("/sign-in")
