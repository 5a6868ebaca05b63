"""Work beside the test: adjustments, diagnosis, reopening a module, the forecast."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.shop_sisters import sisters
from spoolwright.crafts.testcell.model import Figure
from spoolwright.crafts.testcell.visit.compared import forecast_against
from spoolwright.crafts.testcell.visit.model import (
    ON_DATA_PLATE,
    AdjustmentKind,
    AdjustmentMade,
    ModuleReopened,
    RunForecast,
    RunsDiagnosed,
)
from spoolwright.crafts.testcell.visit.service import STAGES_BACK, log_adjustment, reopen_module
from spoolwright.crafts.testcell.visit.shown import adjustment_shown, reopening_shown
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.visit.entry import B, Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.units import unit_named
from spoolwright.web.form import Form
from spoolwright.web.frame import (
    DeskHere,
    FolderHere,
    FormHere,
    NotThereError,
    page,
    redirect,
    sign,
)
from spoolwright.web.routes.testcell import ROOM, may_see
from spoolwright.web.security.content import TEXT
from spoolwright.web.testcell_views import (
    assessment_of,
    diagnosis_of,
    diagnosis_shown,
    files_of,
    forecast_of,
    how_of,
    query_of,
    testing_of,
    typed,
)

router = APIRouter()
Number = Annotated[int, Path(ge=1, le=9999)]
HIDDEN = ("what", "run", "at_s", "before", "after_value", "unit", "plate_before", "plate_after", "reason",
          "document")  # fmt: skip


def _adjustment(form: Form) -> AdjustmentMade:
    what = form.choice("what", AdjustmentKind, "the adjustment")
    before = after = None
    if form.get("before") or form.get("after_value") or what not in ON_DATA_PLATE:
        unit = unit_named(form.text("unit", "the unit")).name
        before = Amount(value=form.number("before", "the setting as found"), unit=unit)
        after = Amount(value=form.number("after_value", "the setting as left"), unit=unit)
    return AdjustmentMade(
        what=what,
        run=form.text("run", "the run"),
        at_s=form.number("at_s", "the time in the run") if form.get("at_s") else None,
        before=before,
        after=after,
        plate_before=form.get("plate_before"),
        plate_after=form.get("plate_after"),
        reason=form.text("reason"),
        document=form.get("document"),
    )


@router.post(ROOM + "/adjustments/check")
def check_adjustment(request: Request, number: str, folder: FolderHere, form: FormHere) -> Response:
    """See that an adjustment is whole, then show what is signed."""
    _adjustment(form)
    return redirect(f"/visit/{number}/testcell/adjustments/sign?{query_of(form)}")


@router.get(ROOM + "/adjustments/sign")
def adjustment_page(request: Request, number: str, folder: FolderHere) -> Response:
    """What is signed."""
    form = typed(request)
    return page(
        request,
        "testcell/sign.html",
        title="Adjustment in the cell",
        shown=adjustment_shown(_adjustment(form)),
        meaning="did this work",
        action=f"/visit/{number}/testcell/adjustments",
        hidden={name: form.get(name) for name in HIDDEN},
        back=f"/visit/{number}/testcell#adjustments",
        after=0,
    )


@router.post(ROOM + "/adjustments")
def adjust(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Log an adjustment, signed."""
    made = _adjustment(form)
    sign(request, form, desk, adjustment_shown(made))
    log_adjustment(desk, number, made)
    return redirect(f"/visit/{number}/testcell#adjustments")


@router.post(ROOM + "/diagnose")
def diagnose(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Diagnose the runs."""
    desk.entitled(Role.LEAD, Role.TEST_OPERATOR)
    testing_of(request).diagnose(folder, desk.person.login)
    return redirect(f"/visit/{number}/testcell")


def _numbered(folder: Folder, kind: type[B], part: str, k: int) -> Entry[B]:
    subject = f"visit/{folder.visit}/testcell/{part}/{k}"
    found = next((e for e in folder.of(kind) if e.subject == subject), None)
    if found is None:
        raise NotThereError(f"there is no {part} {k} in this visit.", mend="Look at the test's page.")
    return found


@router.get(ROOM + "/diagnosis/{k}")
def diagnosis(request: Request, number: str, k: Number, desk: DeskHere, folder: FolderHere) -> Response:
    """Ranked causes, what speaks for and against, next checks, margins after, sister engines."""
    entry = _numbered(folder, RunsDiagnosed, "diagnosis", k)
    return page(
        request,
        "testcell/diagnosis.html",
        entry=entry,
        k=k,
        sisters=sisters(
            testing_of(request).shop,
            folder,
            entry,
            diagnosis_of(files_of(desk), entry.body.result.sha256),
        ),
        modules=[(m.id, m.name) for m in folder.kind.type_file.module],
        stages=[s.value for s in STAGES_BACK],
        is_lead=Role.LEAD in desk.person.roles,
        **diagnosis_shown(files_of(desk), entry.body.result.sha256),
    )


@router.get(ROOM + "/diagnosis/{k}/how/{id:path}")
def why(request: Request, number: str, k: Number, id: str, desk: DeskHere, folder: FolderHere) -> Response:
    """Why a figure of the diagnosis is what it is."""
    entry = _numbered(folder, RunsDiagnosed, "diagnosis", k)
    found = how_of(files_of(desk), entry.body.result.sha256, "diagnosis", id)
    place = f"/visit/{number}/testcell/diagnosis/{k}"
    return page(request, "testcell/how.html", entry=entry, place=place, back="The diagnosis", **found)


def _reopening(folder: Folder, form: Form) -> ModuleReopened:
    module = form.text("module", "the module")
    if module not in {m.id for m in folder.kind.type_file.module}:
        raise InputError("choose a module of the engine.", where="module")
    back_to = form.choice("back_to", Stage, "the stage")
    if back_to not in STAGES_BACK:
        raise InputError("choose a stage to go back to.", where="back_to")
    return ModuleReopened(
        module=module, reason=form.text("reason"), diagnosis=form.get("diagnosis"), back_to=back_to
    )


@router.post(ROOM + "/reopen/check")
def check_reopening(request: Request, number: str, folder: FolderHere, form: FormHere) -> Response:
    """See that it is whole, then show what is signed."""
    _reopening(folder, form)
    return redirect(f"/visit/{number}/testcell/reopen?{query_of(form)}")


@router.get(ROOM + "/reopen")
def reopen_page(request: Request, number: str, folder: FolderHere) -> Response:
    """What is signed."""
    made = _reopening(folder, typed(request))
    return page(
        request,
        "testcell/sign.html",
        title="Open a module again",
        shown=reopening_shown(made),
        meaning="did this work",
        action=f"/visit/{number}/testcell/reopen",
        hidden={"module": made.module, "reason": made.reason, "diagnosis": made.diagnosis,
                "back_to": made.back_to},
        back=f"/visit/{number}/testcell",
        after=0,
    )  # fmt: skip


@router.post(ROOM + "/reopen")
def reopen(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Open a module again: the lead signs."""
    made = _reopening(folder, form)
    sign(request, form, desk, reopening_shown(made))
    reopen_module(desk, number, made, [m.id for m in folder.kind.type_file.module])
    return redirect(f"/visit/{number}/testcell")


@router.post(ROOM + "/forecasts")
def forecast_run(
    request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Forecast the run to come from a build sheet."""
    desk.entitled(Role.LEAD, Role.TEST_OPERATOR, Role.BUILDER)
    sheets = form.attach(desk, "sheet", (TEXT,))
    if len(sheets) != 1:
        raise InputError("choose the build sheet.", where="sheet")
    testing_of(request).forecast(folder, desk.person.login, sheets[0])
    return redirect(f"/visit/{number}/testcell")


@router.get(ROOM + "/forecast/{k}")
def forecast(request: Request, number: str, k: Number, desk: DeskHere, folder: FolderHere) -> Response:
    """What was forecast, and beside it what was measured."""
    from spoolwright.reports.forecast_view import limit_rows

    entry, now = _numbered(folder, RunForecast, "forecast", k), standing(folder)
    found = forecast_of(files_of(desk), entry.body.result.sha256)
    newest = now.newest
    seen = newest is not None and newest.seq > entry.seq and may_see(desk, now, newest)
    rows = []
    if newest is not None and seen:
        rows = forecast_against(found, assessment_of(files_of(desk), newest.body.result.sha256))
    return page(
        request,
        "testcell/forecast.html",
        entry=entry,
        k=k,
        f=found,
        limits=limit_rows(found),
        against=rows,
        told={r.limit.limit: r.margin.text for r in limit_rows(found)},
        text=margin_text,
        measured=None if not seen or newest is None else newest.subject.rpartition("/")[2],
        ran=newest is not None and newest.seq > entry.seq,
        late=newest is not None and newest.seq < entry.seq,
    )


def margin_text(figure: Figure) -> str:
    """A margin as text, with its 95 % interval where it has one."""
    from spoolwright.reports.figures import cell

    found = cell(figure)
    return found.interval if found else ""


@router.get(ROOM + "/forecast/{k}/how/{id:path}")
def why_forecast(
    request: Request, number: str, k: Number, id: str, desk: DeskHere, folder: FolderHere
) -> Response:
    """Why a figure of the forecast is what it is."""
    entry = _numbered(folder, RunForecast, "forecast", k)
    found = how_of(files_of(desk), entry.body.result.sha256, "forecast", id)
    place = f"/visit/{number}/testcell/forecast/{k}"
    return page(request, "testcell/how.html", entry=entry, place=place, back="The forecast", **found)
