"""The first page: engines by stage of work, what each waits for."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.web.frame import frame_of, page

router = APIRouter()


@router.get("/")
def home(request: Request) -> Response:
    """Every engine in the shop."""
    visits = frame_of(request).shop.visits()
    return page(request, "home/home.html", visits=visits)
