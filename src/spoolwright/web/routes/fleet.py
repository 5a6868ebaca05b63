"""The fleet: margins of accepted engines, rejects and their causes, time in stage; the test's own tables."""

from __future__ import annotations

from datetime import datetime, timedelta
from threading import Lock
from typing import Any

import numpy as np
from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.fleet import Fleet
from spoolwright.crafts.installation.calc import Told
from spoolwright.crafts.installation.trend import robust_line
from spoolwright.crafts.testcell.visit.fleet import MarginSeen
from spoolwright.crafts.testcell.visit.model import TestTables
from spoolwright.crafts.testcell.visit.tables import keep_tables
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.reports.margin_chart import Axis, Dot, margin_chart
from spoolwright.web.frame import DeskHere, FormHere, frame_of, page, redirect
from spoolwright.web.security.content import TEXT
from spoolwright.web.testcell_views import testing_of

router = APIRouter()
_MAKING = Lock()
MOST_DRAWN = 300
TABLES = {
    "baseline": "Average engine, from `spoolwright calibrate` (JSON)",
    "priors": "How often the shop meets each cause (TOML)",
    "checks": "Checks that tell causes apart (TOML)",
    "costs": "Hours and money of what is opened again (TOML)",
    "build_costs": "Hours and money of changes to a build, for the forecast (TOML)",
    "rules": "Rules of the forecast, as learnt (JSON)",
}


def fleet_of(request: Request) -> Fleet:
    """The fleet's figures, one for the server."""
    state = request.app.state
    with _MAKING:
        if getattr(state, "fleet", None) is None:
            state.fleet = Fleet(frame_of(request).shop)
    found: Fleet = state.fleet
    return found


@router.get("/fleet")
def fleet(request: Request, desk: DeskHere) -> Response:
    """What the records say over all visits."""
    found = fleet_of(request).figures(desk.now)
    drawn = found.margins[-MOST_DRAWN:]
    return page(
        request,
        "fleet/fleet.html",
        f=found,
        chart=_chart(drawn) if drawn else "",
        drawn=len(drawn),
        told=_told(drawn),
        rejects=found.rejects[-50:][::-1],
    )


def _days(at: datetime, first: datetime) -> float:
    return (at - first).total_seconds() / 86400.0


def _chart(margins: list[MarginSeen]) -> str:
    first, last = margins[0].at, margins[-1].at
    span = max(_days(last, first), 1.0)
    dots = [
        Dot(
            _days(m.at, first),
            m.margin,
            m.half,
            f"engine {m.engine}, {m.at:%d %b %Y}: {m.margin:+.1f} %",
            f"/record/{m.seq}",
            m.left,
        )
        for m in margins
    ]
    places = [span * i / 6 for i in range(0, 7, 1 if span >= 6 else 6)]
    marks = tuple((x, f"{first + timedelta(days=x):%d %b %y}") for x in places)
    axis = Axis("day of acceptance", -0.03 * span, 1.03 * span, marks)
    return margin_chart(dots, axis, "Margin of power of accepted engines", line=_line(margins))


def _fit(margins: list[MarginSeen]) -> Any:
    first = margins[0].at
    days = np.array([_days(m.at, first) for m in margins])
    value = np.array([m.margin for m in margins])
    reading = np.array([m.half / 1.96 for m in margins])
    return robust_line(days, Told(value, np.zeros((1, value.size)), reading)), days


def _line(margins: list[MarginSeen]) -> list[tuple[float, float, float]]:
    line, days = _fit(margins)
    if line is None:
        return []
    at = np.linspace(0.0, float(days.max()), 13)
    return [(float(x), line.at(float(x))[0], line.factor() * line.at(float(x))[1]) for x in at]


def _told(margins: list[MarginSeen]) -> str:
    """The trend in a sentence."""
    if not margins:
        return "No engine is accepted yet."
    middle = float(np.median([m.margin for m in margins]))
    head = f"Margin of power of accepted engines: median {middle:+.1f} %".replace("-", "−")
    line, _ = _fit(margins)
    if line is None:
        return f"{head}. Cannot tell a trend: too few engines, or over too few days."
    slope, half = 365.25 * line.slope, 365.25 * line.factor() * float(np.sqrt(line.covariance[1, 1]))
    change = f"{slope:+.2f} % ± {half:.2f} % a year".replace("-", "−")
    words = "it changes" if abs(slope) > half else "no change is told apart from the scatter"
    return f"{head}; {words}, {change}."


@router.get("/fleet/tables")
def tables(request: Request, desk: DeskHere) -> Response:
    """The shop's own tables for assessing and diagnosing a type."""
    testing = testing_of(request)
    types = [(e.body.type_id, e.body.name, testing.tables(e.body.type_id)) for e in testing.shop.types.all()]
    return page(request, "fleet/tables.html", types=types, names=TABLES, may=Role.LEAD in desk.person.roles)


@router.post("/fleet/tables")
def take_tables(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Adopt tables; what is not given stays as it is."""
    testing = testing_of(request)
    type_id = form.text("type_id", "the type")
    if type_id not in {e.body.type_id for e in testing.shop.types.all()}:
        raise InputError("the shop has not adopted this type.", where="type_id")
    before = testing.tables(type_id)
    given = {name: form.attach(desk, name, (TEXT,)) for name in TABLES}
    if not any(given.values()):
        raise InputError("choose at least one file.", where="baseline")
    was = before.body if before else TestTables()
    body = was.model_copy(update={name: files[0] for name, files in given.items() if files})
    keep_tables(desk, type_id, body, before, form.get("reason"))
    return redirect("/fleet/tables")
