"""A page of lives: what all of them are given."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import HTMLResponse

from spoolwright.crafts.life.figure import shown
from spoolwright.web.frame import page


def life_page(request: Request, template: str, **values: Any) -> HTMLResponse:
    """A page that can write exact figures."""
    return page(request, template, **({"exactly": exactly} | values))


def exactly(value: Fraction | str | None) -> str:
    """A sum, or a printed figure, as it is written."""
    return shown(Fraction(value) if isinstance(value, str) else value)


def line_link(visit: str, part_number: str, serial: str) -> Callable[[int], str]:
    """Where each line of a part's ledger is entered or corrected; 0 is its birth."""
    asked = urlencode({"pn": part_number, "sn": serial})

    def link(line: int) -> str:
        return f"/visit/{visit}/life/" + (f"line?{asked}&n={line}" if line else f"birth?{asked}")

    return link
