"""The first page: engines by stage of work, what each waits for, what is open first, when it is promised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from spoolwright.bootstrap.board import VisitLine
from spoolwright.crafts.visit.folder import OpenItem
from spoolwright.crafts.visit.model import Stage
from spoolwright.web.frame import frame_of, page
from spoolwright.web.paging import Pages, pages_of
from spoolwright.web.visit_head import promise_words

router = APIRouter()
SOON = 7
"""Days before the promised date from which an engine is marked."""


@dataclass(frozen=True)
class EngineLine:
    """An engine on the first page."""

    line: VisitLine
    open_count: int
    first: OpenItem | None
    days_left: int | None

    @property
    def promise(self) -> str:
        """Days left, in words."""
        return promise_words(self.days_left)

    @property
    def urgency(self) -> str:
        """How near the promised date is: the shape beside the words."""
        if self.days_left is None or self.days_left > SOON:
            return ""
        return "stop" if self.days_left < 0 else "warn"


@dataclass(frozen=True)
class StageGroup:
    """The engines in one stage of work."""

    stage: Stage
    engines: tuple[EngineLine, ...]


@router.get("/")
def home(request: Request) -> Response:
    """Every engine in the shop."""
    shop, today = frame_of(request).shop, frame_of(request).settings.clock().date()
    there = shop.visits()
    items = shop.open_items_of([v.number for v in there], today)
    engines = [_engine(v, items[v.number], today) for v in there]
    late = sum(e.days_left is not None and e.days_left < 0 for e in engines)
    waiting = sum(bool(e.line.waits_for) for e in engines)
    return page(
        request, "home/home.html", groups=by_stage(engines), total=len(engines), late=late, waiting=waiting
    )


@router.get("/openapi.json")
def described(request: Request) -> Response:
    """What the application takes, for programs: the OpenAPI description."""
    return JSONResponse(request.app.openapi())


@router.get("/visits")
def visits(
    request: Request,
    q: Annotated[str, Query(max_length=80)] = "",
    at: Annotated[int, Query(ge=1, le=100_000)] = 1,
) -> Response:
    """Every visit that ever was, found by serial, work order or customer."""
    words = q.casefold().split()
    found = [v for v in reversed(frame_of(request).shop.visits(open_only=False)) if _matches(v, words)]
    shown: Pages[VisitLine] = pages_of(found, at, f"/visits?q={q}")
    return page(request, "home/visits.html", q=q, pages=shown)


def _matches(visit: VisitLine, words: Sequence[str]) -> bool:
    v = visit.opened
    text = f"{v.number} {v.engine_serial} {v.customer}".casefold()
    return all(w in text for w in words)


def _engine(line: VisitLine, items: Sequence[OpenItem], today: date) -> EngineLine:
    holding = [i for i in items if i.blocks_release]
    promised = line.opened.promised_on
    return EngineLine(
        line, len(holding), holding[0] if holding else None, (promised - today).days if promised else None
    )


def by_stage(engines: Sequence[EngineLine]) -> list[StageGroup]:
    """Engines under their stages in the order of the job, in each the one promised first on top."""
    groups: dict[Stage, list[EngineLine]] = {}
    for engine in engines:
        groups.setdefault(engine.line.stage, []).append(engine)
    return [
        StageGroup(stage, tuple(sorted(groups[stage], key=_promised))) for stage in Stage if stage in groups
    ]


def _promised(engine: EngineLine) -> tuple[bool, int, str]:
    return engine.days_left is None, engine.days_left or 0, engine.line.number
