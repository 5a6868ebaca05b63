"""The guided path of a demonstration shop: a bar on top of its pages, told by `guide=N` in the address."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request

from spoolwright.bootstrap.demo.guide import GUIDE, Stop
from spoolwright.bootstrap.demo.people import PASSWORD, STAFF
from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.visit.model import ShopKnown


@dataclass(frozen=True)
class Guide:
    """Where on the path a page stands."""

    number: int
    stop: Stop
    before: str
    after: str

    @property
    def of(self) -> int:
        return len(GUIDE)


def link_of(number: int) -> str:
    """The address of a stop, 1 to the last; empty beyond."""
    return f"{GUIDE[number - 1].link}?guide={number}" if 1 <= number <= len(GUIDE) else ""


def guide_of(request: Request) -> Guide | None:
    """The stop that a page is, if its address says so."""
    asked = request.query_params.get("guide", "")
    if not (asked.isdecimal() and 1 <= int(asked) <= len(GUIDE)):
        return None
    n = int(asked)
    return Guide(n, GUIDE[n - 1], link_of(n - 1), link_of(n + 1))


def demonstration_of(shop: Shop) -> dict[str, object] | None:
    """What the sign-in page of a demonstration tells: who there is, and everybody's password."""
    known = shop.records.current(ShopKnown, under="shop")
    if not known or not known[0].body.demonstration:
        return None
    people = [(login, name, role.value) for login, (name, role, _) in STAFF.items()]
    return {"people": people, "password": PASSWORD, "start": link_of(1)}
