"""Notes of a visit with their photographs."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.visit.model import NoteTaken
from spoolwright.crafts.visit.service import take_note
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, page, redirect
from spoolwright.web.security.content import ANY, PHOTOS

router = APIRouter()


@router.get("/visit/{number}/notes")
def notes(request: Request, number: str, folder: FolderHere) -> Response:
    """Every note, the newest first."""
    taken = sorted(folder.of(NoteTaken), key=lambda e: -e.seq)
    modules = [(m.id, m.name) for m in folder.kind.type_file.module]
    return page(request, "notes/notes.html", notes=taken, modules=modules, names=dict(modules))


@router.post("/visit/{number}/notes")
def take(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Keep a note."""
    files = form.attach(desk, "photos", PHOTOS) + form.attach(desk, "papers", ANY)
    take_note(desk, number, form.key, form.get("text"), module=form.get("module"), files=files)
    return redirect(f"/visit/{number}/notes")
