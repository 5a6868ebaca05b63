"""The shop's own figures: find-rates, scrap, hours of cards, lives, demand for spares, rejects."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.own_figures import SERVICE, OwnFigures, curves_csv, figures_csv
from spoolwright.web.frame import DeskHere, frame_of, page

router = APIRouter()
MOST_DRAWN = 8


def _own(request: Request) -> OwnFigures:
    """The figures, one for the server."""
    state = request.app.state
    if getattr(state, "own_figures", None) is None:
        state.own_figures = OwnFigures(frame_of(request).shop)
    found: OwnFigures = state.own_figures
    return found


@router.get("/figures")
def figures(request: Request, desk: DeskHere) -> Response:
    """What the records say about the shop itself."""
    from spoolwright.reports.survival_chart import survival_svg

    found = _own(request).figures(desk.now)
    told = [f for f in found.lives if f.failed]
    return page(
        request,
        "scope/figures.html",
        f=found,
        told=told,
        untold=[f for f in found.lives if not f.failed],
        drawn=[survival_svg(f, f"Lives of {f.part.replace('_', ' ')}") for f in told[:MOST_DRAWN]],
        service=SERVICE,
    )


@router.get("/figures/lives.csv")
def lives_table(request: Request, desk: DeskHere) -> Response:
    """The lives as a table."""
    found = _own(request).figures(desk.now)
    return _table(figures_csv(found.lives, None, None, SERVICE), "lives.csv")


@router.get("/figures/curves.csv")
def curves_table(request: Request, desk: DeskHere) -> Response:
    """The product-limit curves as a table."""
    return _table(curves_csv(_own(request).figures(desk.now).lives), "curves.csv")


def _table(text: str, name: str) -> Response:
    return Response(
        text, media_type="text/csv", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
