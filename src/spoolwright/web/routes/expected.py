"""The expected condition of the modules: what the forecast takes from the inspection, and what it says."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.expected_condition import condition_of, forecasts_of, kept_sheet, limit_set_of
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, page, redirect
from spoolwright.web.testcell_views import files_of, forecast_of, testing_of

router = APIRouter()

FORECAST = "/visit/{number}/inspection/forecast"
MAY = (Role.LEAD, Role.INSPECTOR, Role.TEST_OPERATOR, Role.BUILDER)


@router.get(FORECAST)
def expected(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The newest forecast from the inspection with what eats its margin, then what goes in."""
    from spoolwright.reports.forecast_view import limit_rows
    from spoolwright.reports.waterfall import waterfall, waterfall_svg

    made = forecasts_of(folder)
    found = forecast_of(files_of(desk), made[-1].body.result.sha256) if made else None
    fall = waterfall(found) if found else None
    since = max((e.seq for e in folder.entries if "/inspection/" in e.subject), default=0)
    return page(
        request,
        "blends/forecast.html",
        condition=condition_of(desk, folder),
        entry=made[-1] if made else None,
        f=found,
        fall=fall,
        chart=waterfall_svg(fall) if fall else "",
        limits=limit_rows(found) if found else [],
        stale=bool(made) and since > made[-1].seq,
        jobs=testing_of(request).jobs.of_visit(number),
        may=bool(set(MAY) & desk.person.roles),
        limit_sets=[(s.id, s.name) for s in folder.kind.type_file.limit_set],
        cells=[(c.id, c.name) for c in folder.kind.type_file.cell],
        limit_set=limit_set_of(folder),
    )


@router.post(FORECAST)
def forecast(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Forecast the run from the expected condition."""
    desk.entitled(*MAY)
    condition = condition_of(desk, folder)
    if condition is None:
        raise InputError("the type does not say how the inspection enters a forecast.")
    sheet = kept_sheet(desk, folder, condition, form.text("limit_set", "the limit set"), form.text("cell"))
    testing_of(request).forecast(folder, desk.person.login, sheet)
    return redirect(f"/visit/{number}/inspection/forecast")
