"""The work scope of a visit: what it must give, the alternatives, the one that is signed, its quote."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.scoping import facts_of
from spoolwright.crafts.scope.compare import compute
from spoolwright.crafts.scope.future import future_of
from spoolwright.crafts.scope.model import Alternative, ScopeAsked
from spoolwright.crafts.scope.service import (
    Proposal,
    ask,
    asked_of,
    choose,
    chosen_of,
    promised_on,
    propose,
    shown_of,
)
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import canonical
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import ShopKnown, VisitOpened
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.reports.scope_chart import Spot, scope_chart
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, NotThereError, page, redirect, sign

router = APIRouter()


@lru_cache(maxsize=64)
def _computed(case: bytes) -> dict[str, Any]:
    return compute(json.loads(case))


def _proposal(desk: Desk, folder: Folder, asked: ScopeAsked) -> Proposal:
    """The alternatives; the same case is computed once."""
    return propose(folder, asked, facts_of(desk, folder), run=lambda inputs: _computed(canonical(inputs)))


@router.get("/visit/{number}/scope")
def scope(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """What is open first, then the alternatives, then what was signed."""
    asked, chosen = asked_of(folder), chosen_of(folder)
    proposal, refused = None, ""
    missing = facts_of(desk, folder).missing if asked is None else ()
    if asked is not None:
        try:
            proposal = _proposal(desk, folder, asked.body)
            missing = proposal.missing
        except InputError as error:
            refused = str(error)
    found = proposal.alternatives if proposal else ()
    signed = next((n for n, a in enumerate(found, 1) if chosen and a == chosen.body.chosen), 0)
    return page(
        request,
        "scope/scope.html",
        asked=asked,
        chosen=chosen,
        signed=signed,
        missing=missing,
        refused=refused,
        alternatives=found,
        chart=_chart(found, signed) if len(found) > 1 else "",
        sure=bool(found) and found[0].passing is not None,
        currency=folder.kind.shop.scope_terms.currency if folder.kind.shop.scope_terms else "",
        modules={m.id: m.name for m in folder.kind.type_file.module},
        cards={c.id: c.title for c in folder.kind.shop.route_card},
        lead=Role.LEAD in desk.person.roles,
        today=folder.today,
    )


def _chart(found: tuple[Alternative, ...], signed: int) -> str:
    sure = found[0].passing is not None
    spots = [
        Spot(a.money / 1000.0, 100.0 * (a.passing or 0.0) if sure else a.days_80, str(n), n == signed)
        for n, a in enumerate(found, 1)
    ]
    name = "chance to pass the first test [%]" if sure else "days, four of five [d]"
    return scope_chart(spots, "money [thousand]", name, "Alternatives: money against " + name.split(" [")[0])


@router.post("/visit/{number}/scope/asked")
def asked(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Record what the scope must give."""
    body = ScopeAsked(
        begin_on=form.date("begin_on", "the first day at the bench"),
        least_life_h=form.number("least_life_h", "the least life"),
        must_open=tuple(form.all("must_open")),
        wish=form.get("wish"),
    )
    ask(desk, folder, body, form.after)
    return redirect(f"/visit/{number}/scope")


def _asked(folder: Folder) -> ScopeAsked:
    entry = asked_of(folder)
    if entry is None:
        raise NotThereError(
            "nobody has said yet what the scope must give.", mend="Enter it under Work scope."
        )
    return entry.body


@router.get("/visit/{number}/scope/alternative/{n}")
def alternative(request: Request, number: str, n: int, desk: DeskHere, folder: FolderHere) -> Response:
    """One alternative line by line, to be signed."""
    asked, before = _asked(folder), chosen_of(folder)
    proposal = _proposal(desk, folder, asked)
    if not 1 <= n <= len(proposal.alternatives):
        raise NotThereError(f"there is no alternative {n}.", mend="Look at the list of alternatives.")
    one = proposal.alternatives[n - 1]
    return page(
        request,
        "scope/alternative.html",
        n=n,
        one=one,
        missing=proposal.missing,
        promised=promised_on(asked, one),
        shown=shown_of(folder, asked, proposal, n),
        after=before.revision if before else 0,
        currency=folder.kind.shop.scope_terms.currency if folder.kind.shop.scope_terms else "",
        openings=[o for o in folder.kind.shop.scope_opening if o.module in one.opened],
        modules={m.id: m.name for m in folder.kind.type_file.module},
        lead=Role.LEAD in desk.person.roles,
    )


@router.post("/visit/{number}/scope/alternative/{n}")
def sign_alternative(
    request: Request, number: str, n: int, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Sign an alternative."""
    asked = _asked(folder)
    proposal = _proposal(desk, folder, asked)
    shown = shown_of(folder, asked, proposal, n)
    sign(request, form, desk, shown)
    choose(desk, folder, asked, proposal, n, shown, after=form.after, remark=form.get("remark"))
    return redirect(f"/visit/{number}/scope")


@router.get("/visit/{number}/scope/quote")
def quote(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The quote of the signed scope, to be printed."""
    chosen = chosen_of(folder)
    if chosen is None:
        raise NotThereError("no scope is signed yet.", mend="The lead signs one under Work scope.")
    shops = desk.records.current(ShopKnown, under="shop")
    return page(
        request,
        "scope/quote.html",
        entry=chosen,
        q=chosen.body,
        opened=folder.of(VisitOpened)[-1].body,
        shop=shops[0].body if shops else None,
        openings=[o for o in folder.kind.shop.scope_opening if o.module in chosen.body.chosen.opened],
        terms=folder.kind.shop.scope_terms,
        modules={m.id: m.name for m in folder.kind.type_file.module},
    )


@router.get("/visit/{number}/scope/future")
def future(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The plan over coming visits."""
    facts = facts_of(desk, folder)
    found = None if any(m.blocks for m in facts.missing) else future_of(folder.kind.shop, facts)
    return page(
        request,
        "scope/future.html",
        f=found,
        missing=[m for m in facts.missing if m.blocks],
        modules={m.id: m.name for m in folder.kind.type_file.module},
    )
