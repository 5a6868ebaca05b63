"""The engine's page: its section, what stands between it and its release, then facts; its stage of work."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.crafts.visit.service import set_stage
from spoolwright.web.engine_section import drawn_section
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, NotThereError, frame_of, page, redirect

router = APIRouter()


@router.get("/visit/{number}")
def engine(request: Request, number: str, folder: FolderHere) -> Response:
    """One engine's visit."""
    items = frame_of(request).shop.open_items(number, folder.today)
    stages = folder.of(StageSet)
    return page(
        request,
        "engine/engine.html",
        items=items,
        section=drawn_section(folder, items),
        opened=folder.of(VisitOpened)[-1],
        stage=stages[-1] if stages else None,
        stages=list(Stage),
        history=_latest(folder),
    )


@router.get("/visit/{number}/module/{module}")
def module(request: Request, number: str, module: str, folder: FolderHere) -> Response:
    """What is open on one module."""
    items = frame_of(request).shop.open_items(number, folder.today)
    named = next((m for m in folder.kind.type_file.module if m.id == module), None)
    if named is None:
        raise NotThereError(f"this type has no module '{module[:60]}'.", mend="Touch one on the drawing.")
    mine = [i for i in items if i.module == module]
    return page(
        request,
        "engine/module.html",
        module=named,
        items=mine,
        section=drawn_section(folder, items, module),
        history=[e for e in _latest(folder) if getattr(e.body, "module", "") == module],
    )


@router.post("/visit/{number}/stage")
def move(request: Request, number: str, desk: DeskHere, form: FormHere) -> Response:
    """Move the engine to another stage of work."""
    stage = form.choice("stage", Stage, "the stage")
    set_stage(desk, number, stage, form.get("waits_for"), after=form.after)
    return redirect(f"/visit/{number}")


def _latest(folder: Folder, most: int = 60) -> list[Entry[Body]]:
    return sorted(folder.entries, key=lambda e: -e.seq)[:most]
