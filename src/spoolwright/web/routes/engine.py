"""The engine's page: its section, what stands between it and its release, then facts; notes and stages."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.web.frame import FolderHere, frame_of, page

router = APIRouter()


@router.get("/visit/{number}")
def engine(request: Request, number: str, folder: FolderHere) -> Response:
    """One engine's visit."""
    items = frame_of(request).shop.open_items(number, folder.today)
    return page(request, "engine/engine.html", items=items)
