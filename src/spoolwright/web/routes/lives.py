"""Directives on an engine and its parts; lives over the whole shop: limits that changed, serials affected."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.life_stock import ChangedLimit, changed_limit, changed_limits
from spoolwright.crafts.life import service
from spoolwright.crafts.life.build import all_told, build_of
from spoolwright.crafts.life.stock import count_sentence
from spoolwright.web.form import Form
from spoolwright.web.frame import (
    DeskHere,
    FolderHere,
    FormHere,
    NotThereError,
    frame_of,
    redirect,
    sign,
)
from spoolwright.web.life_forms import directive_from
from spoolwright.web.life_page import life_page
from spoolwright.web.security.content import PAPERS

router = APIRouter()


@router.get("/visit/{number}/life/directive")
def directive(
    request: Request, number: str, folder: FolderHere, desk: DeskHere, id: str, pn: str = "", sn: str = ""
) -> Response:
    """A directive on this engine or one of its parts: what it asks, and what was done about it."""
    build = build_of(folder, desk.records)
    on = (id, pn, sn if pn else build.engine)
    told = next(
        (t for t, _ in all_told(build) if (t.directive.id, t.item.part_number, t.item.serial) == on), None
    )
    if told is None:
        raise NotThereError(f"no directive '{id[:40]}' bears on this.", mend="Look at the list.")
    subject = service.directive_subject(id, engine=build.engine, part_number=pn, serial=sn)
    history = desk.records.history(subject)
    asked = Form({k: (v,) for k, v in request.query_params.items()})
    draft = directive_from(asked, id) if asked.get("how") else None
    return life_page(
        request,
        "life/directive.html",
        told=told,
        history=history,
        draft=draft,
        asked=asked,
        pn=pn,
        sn=sn,
        shown=service.directive_sentence(draft) if draft else "",
        back=f"/visit/{number}/life",
    )


@router.post("/visit/{number}/life/directive")
def record_directive(
    request: Request, number: str, folder: FolderHere, desk: DeskHere, form: FormHere
) -> Response:
    """Sign what was done about a directive."""
    done = directive_from(form, form.text("id"))
    sign(request, form, desk, shown=service.directive_sentence(done))
    done = done.model_copy(update={"files": form.attach(desk, "papers", PAPERS)})
    subject = service.directive_subject(
        done.directive,
        engine=build_of(folder, desk.records).engine,
        part_number=form.get("pn"),
        serial=form.get("sn"),
    )
    again = "done again, or corrected" if form.after else ""
    service.record_directive(desk, folder, subject, done, after=form.after, reason=again)
    return redirect(f"/visit/{number}/life#directives")


@router.get("/lives")
def lives(request: Request, desk: DeskHere) -> Response:
    """Every limit that changed, with the serials it touches."""
    frame = frame_of(request)
    return life_page(request, "life/lives.html", changes=changed_limits(frame.shop, desk.now.date()))


@router.get("/lives/{type_id}/change")
def change(request: Request, type_id: str, desk: DeskHere, pn: str, measure: str, effective: str) -> Response:
    """One changed limit: which serials of the stock it touches, what is left of each, where each is."""
    found = _change(request, desk, type_id, pn, measure, effective)
    return life_page(
        request, "life/change.html", change=found, shown=count_sentence(found.change, found.affected)
    )


@router.post("/lives/{type_id}/change")
def record_change(request: Request, type_id: str, desk: DeskHere, form: FormHere) -> Response:
    """Record a changed limit with the serials it touches, signed by records."""
    asked = (form.text("pn"), form.text("measure_of"), form.text("effective"))
    found = _change(request, desk, type_id, *asked)
    shown = count_sentence(found.change, found.affected)
    sign(request, form, desk, shown=shown)
    service.see_limit_change(desk, type_id, found.change, found.affected, shown, after=form.after)
    return redirect("/lives")


def _change(
    request: Request, desk: DeskHere, type_id: str, pn: str, measure: str, effective: str
) -> ChangedLimit:
    found = changed_limit(frame_of(request).shop, type_id, (pn, measure, effective), desk.now.date())
    if found is None:
        raise NotThereError("no limit changed so.", mend="Look at the list.")
    return found
