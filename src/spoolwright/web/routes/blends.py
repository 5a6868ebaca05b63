"""The blends of a stage: the plan of them together, what each does, drawn; the plan is chosen and signed."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.inspection.blend_record import accept_plan, chosen_from
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import InputError
from spoolwright.web.blend_page import BlendPage
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, page, redirect, sign
from spoolwright.web.routes.inspection import here

router = APIRouter()

BLENDS = "/visit/{number}/inspection/{part}/blends"


@router.get(BLENDS)
def blends(
    request: Request,
    number: str,
    part: str,
    desk: DeskHere,
    folder: FolderHere,
    serial: str = "",
    also: str = "",
) -> Response:
    """The plan of a stage and each of its blends."""
    shown = _page(desk, folder, part, serial, also)
    return page(request, "blends/stage.html", p=shown, also=also)


@router.post(BLENDS)
def sign_plan(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Sign the plan of a stage."""
    shown = _page(desk, folder, part, form.get("serial"), form.get("also"))
    if shown.found is None or shown.to_view:
        raise InputError("there is no plan to sign yet.", mend="Give your own look at every finding first.")
    sign(request, form, desk, shown.shown)
    accept_plan(desk, shown.state, shown.found, shown.chosen, shown.shown, after=form.after)
    mark = f"?serial={shown.state.serial}" if shown.state.serial else ""
    return redirect(shown.action + mark)


def _page(desk: Desk, folder: Folder, part: str, serial: str, also: str) -> BlendPage:
    state = here(desk, folder, part, serial)
    return BlendPage(state, folder, desk, chosen_from(also, state))
