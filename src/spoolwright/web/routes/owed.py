"""Owed work: what follows from what was done to the engine, and the evidence that closes it."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.owed.evidence import Evidence
from spoolwright.crafts.owed.model import OwedLook
from spoolwright.crafts.owed.rules import Owed, event_words, owed_work
from spoolwright.crafts.owed.service import (
    close_owed,
    close_shown,
    evidence_for,
    evidence_named,
    look_shown,
    owed_of,
    record_look,
)
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, page, redirect, sign

router = APIRouter()


@dataclass(frozen=True)
class OwedView:
    """An owed item as the page shows it."""

    owed: Owed
    because: list[tuple[str, int]]
    evidence: list[tuple[Evidence, str]]
    look: str
    may: bool
    wants: str


@router.get("/visit/{number}/owed")
def owed(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """Everything that is owed, the open first."""
    views = [_view(desk, folder, o) for o in owed_work(folder)]
    return page(
        request,
        "owed/owed.html",
        still=[v for v in views if not v.owed.closed],
        closed=[v for v in views if v.owed.closed],
    )


def _serial(folder: Folder) -> str:
    return folder.of(VisitOpened)[-1].body.engine_serial


def _view(desk: Desk, folder: Folder, owed: Owed) -> OwedView:
    found = [] if owed.closed else evidence_for(desk, folder, owed)
    serial = _serial(folder)
    return OwedView(
        owed=owed,
        because=[(f"{event_words(e.body)}, {e.at.day} {e.at:%b %Y}", e.seq) for e in owed.because],
        evidence=[(x, close_shown(folder, owed, x, serial)) for x in found],
        look=look_shown(folder, owed, serial) if owed.closed_by.look else "",
        may=owed.role in desk.person.roles,
        wants=_wants(owed, folder),
    )


def _wants(owed: Owed, folder: Folder) -> str:
    """What can close it, in words."""
    titles = {c.id: c for c in folder.kind.shop.route_card}
    said = []
    for name in owed.closed_by.step:
        card, step = name.split("/", 1)
        known = titles.get(card)
        number = next((n for n, s in enumerate(known.step, 1) if s.id == step), 0) if known else 0
        said.append(f"step {number} of the card '{known.title if known else card}'")
    names = {s.id: s.name for s in folder.kind.type_file.limit_set}
    if owed.closed_by.run:
        limits = ", ".join(names.get(r, r) for r in owed.closed_by.run)
        said.append(f"an accepted run after it (limits: {limits})")
    if owed.closed_by.look:
        said.append("a look recorded here")
    return ", or ".join(said)


@router.post("/visit/{number}/owed/{key}/look")
def look(
    request: Request, number: str, key: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record a look."""
    shown = look_shown(folder, owed_of(folder, key), _serial(folder))
    body = OwedLook(
        key=key,
        found=form.text("found", "what you found"),
        satisfactory=form.text("satisfactory", "the result") == "yes",
        document=form.text("document", "the document"),
        files=form.attach(desk, "photos"),
    )
    sign(request, form, desk, shown)
    record_look(desk, folder, body, shown, form.key)
    return redirect(f"/visit/{number}/owed")


@router.post("/visit/{number}/owed/{key}/close")
def close(
    request: Request, number: str, key: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Close an item with the evidence that the form names."""
    item = owed_of(folder, key)
    named = evidence_named(desk, folder, item, form.text("evidence", "the evidence"))
    shown = close_shown(folder, item, named, _serial(folder))
    sign(request, form, desk, shown)
    close_owed(desk, folder, key, named.entry.subject, shown, after=form.after, remark=form.get("remark"))
    return redirect(f"/visit/{number}/owed")
