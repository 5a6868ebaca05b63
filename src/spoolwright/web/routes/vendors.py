"""The vendors that work is sent to: who may repair what, until when."""

from __future__ import annotations

from datetime import date, timedelta

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.supply import repairing
from spoolwright.crafts.supply.model import VendorAuthorised, VendorKnown, Work
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment, Entry
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FormHere, page, redirect
from spoolwright.web.security.content import PAPERS

router = APIRouter()

SOON = timedelta(days=90)
Known = tuple[Entry[VendorKnown], list[Entry[VendorAuthorised]]]


def known_vendors(desk: Desk) -> list[Known]:
    """Every vendor with its authorisations."""
    held = desk.records.current(VendorAuthorised, under="vendor")
    vendors = desk.records.current(VendorKnown, under="vendor")
    return [(v, [a for a in held if a.body.vendor == v.body.id]) for v in vendors]


@router.get("/vendors")
def vendors(request: Request, desk: DeskHere) -> Response:
    """Who may repair what, until when; what runs out first."""
    known = known_vendors(desk)
    today = desk.now.date()
    ending = sorted(
        ((v.body, a.body) for v, held in known for a in held if _ends_soon(a.body, today)),
        key=lambda pair: pair[1].expires_on,
    )
    return page(request, "supply/vendors.html", vendors=known, ending=ending, works=list(Work), today=today)


def _ends_soon(held: VendorAuthorised, today: date) -> bool:
    return held.withdrawn_on is None and held.expires_on <= today + SOON


@router.post("/vendors")
def know(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Enter a vendor."""
    body = VendorKnown(
        id=form.text("id", "the short name"),
        name=form.text("name"),
        address=form.get("address"),
        remarks=form.get("remarks"),
    )
    repairing.know_vendor(desk, body, form.after)
    return redirect("/vendors")


@router.post("/vendors/authorisation")
def authorise(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Enter an authorisation, or that it was withdrawn."""
    files = form.attach(desk, "file", PAPERS)
    body = VendorAuthorised(
        vendor=form.text("vendor"),
        number=form.text("number", "the authorisation's number"),
        issue=form.get("issue") or "1",
        authority=form.text("authority"),
        works=tuple(Work(w) for w in form.all("works") if w in set(Work)),
        part_numbers=tuple(form.get("part_numbers").replace(",", " ").split()),
        valid_from=form.date("valid_from"),
        expires_on=form.date("expires_on"),
        withdrawn_on=form.date("withdrawn_on") if form.get("withdrawn_on") else None,
        file=files[0] if files else _paper_before(desk, form),
    )
    repairing.record_authorisation(desk, body, form.after, form.get("reason"))
    return redirect(f"/vendors#{body.vendor}")


def _paper_before(desk: Desk, form: Form) -> Attachment | None:
    """The paper that an earlier revision holds."""
    mine = (form.get("vendor"), form.get("number"), form.get("issue") or "1")
    for _, held in known_vendors(desk):
        for a in held:
            if (a.body.vendor, a.body.number, a.body.issue) == mine:
                return a.body.file
    return None
