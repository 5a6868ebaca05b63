"""The store: what is in quarantine, what runs out, what is free; incoming parts and their papers."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.supply import stores
from spoolwright.crafts.supply.certificates import FIELDS
from spoolwright.crafts.supply.model import (
    STATUS_WORDS,
    Certificate,
    CertificateChecked,
    FieldSeen,
    StockReceived,
)
from spoolwright.crafts.supply.stock import Stock, stock_under
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment
from spoolwright.errors import InputError
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FormHere, NotThereError, frame_of, page, redirect, sign
from spoolwright.web.security.content import PAPERS

router = APIRouter()

SOON = timedelta(days=90)
MOST = 200


def _kinds(request: Request, desk: Desk) -> list[tuple[str, PartKind]]:
    """Every kind of part of every adopted type."""
    types = [e.body.type_id for e in frame_of(request).shop.types.all()]
    return [(t, k) for t in types for k in desk.types.of(t).shop.part]


@router.get("/stores")
def store(request: Request, desk: DeskHere, q: str = "") -> Response:
    """Quarantine first, then what runs out, then what is there."""
    kinds = _kinds(request, desk)
    names = {k.id: k.name for _, k in kinds}
    found = [s for s in stock_under(desk.records, [k for _, k in kinds]) if s.free > 0 or s.quarantine]
    wanted = q.strip().lower()
    if wanted:
        found = [s for s in found if wanted in f"{names.get(s.body.part, '')} {s.words}".lower()]
    today = desk.now.date()
    return page(
        request,
        "supply/stores.html",
        quarantined=[s for s in found if s.quarantine],
        ending=sorted(
            (s for s in found if s.accepted and s.free and s.expires_on and s.expires_on <= today + SOON),
            key=lambda s: str(s.expires_on),
        ),
        stock=[s for s in found if s.accepted and s.free][:MOST],
        total=sum(s.accepted and s.free > 0 for s in found),
        names=names,
        today=today,
        q=q,
        link=_link,
    )


def _link(stock: Stock) -> str:
    return "/stores/item?" + urlencode({"pn": stock.body.part_number, "tag": stock.body.tag})


@router.get("/stores/receive")
def receive_form(request: Request, desk: DeskHere, part: str = "") -> Response:
    """The form for what comes in: first which part, then the part and its paper."""
    kinds = _kinds(request, desk)
    chosen = next(((t, k) for t, k in kinds if f"{t} {k.id}" == part), None)
    listed = [(f"{t} {k.id}", f"{k.name}, {k.part_number}") for t, k in kinds]
    return page(
        request,
        "supply/receive.html",
        kinds=listed,
        chosen=chosen[1] if chosen else None,
        type_id=chosen[0] if chosen else "",
        words=STATUS_WORDS,
        today=desk.now.date(),
    )


@router.post("/stores/receive")
def receive(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """A serial or lot came in."""
    body = _stock(desk, form, None)
    stores.receive_stock(desk, body)
    return redirect("/stores/item?" + urlencode({"pn": body.part_number, "tag": body.tag}))


def _stock(desk: Desk, form: Form, before: Stock | None) -> StockReceived:
    kind = stores.kind_of(desk, form.text("type_id"), form.text("part"))
    paper = before.body.certificate.file if before and before.body.certificate else None
    return StockReceived(
        part=kind.id,
        type_id=form.text("type_id"),
        part_number=form.text("part_number", "the part number on the part"),
        tag=form.text("tag", "serial or lot"),
        serialised=kind.serialised,
        quantity=1 if kind.serialised else form.whole("quantity"),
        made_on=form.date("made_on") if form.get("made_on") else None,
        expires_on=form.date("expires_on") if form.get("expires_on") else None,
        received_on=form.date("received_on"),
        place=form.get("place"),
        order=form.get("order"),
        certificate=None if form.ticked("no_certificate") else certificate_from(desk, form, paper),
    )


def certificate_from(desk: Desk, form: Form, before: Attachment | None = None) -> Certificate:
    """A certificate as a person copied it from the paper."""
    files = form.attach(desk, "c_file", PAPERS)
    quantity = form.number("c_quantity", "quantity (block 9)") if form.get("c_quantity") else None
    if quantity is not None and quantity <= 0:
        raise InputError(
            "quantity (block 9) must be above 0.", mend="Copy it from the paper.", where="c_quantity"
        )
    return Certificate(
        number=form.get("c_number"),
        authority=form.get("c_authority"),
        organisation=form.get("c_organisation"),
        approval_number=form.get("c_approval_number"),
        part_number=form.get("c_part_number"),
        serial_or_lot=form.get("c_serial_or_lot"),
        quantity=quantity,
        status_word=form.get("c_status_word"),
        data=form.get("c_data"),
        dated=form.date("c_dated", "date (block 13e or 14e)") if form.get("c_dated") else None,
        file=files[0] if files else before,
    )


def _item(desk: Desk, pn: str, tag: str) -> Stock:
    try:
        return stores.stock_at(desk, pn, tag)
    except InputError as error:
        raise NotThereError(
            f"nothing in store is {pn[:60]} {tag[:60]}.", mend="Look under Stores."
        ) from error


@router.get("/stores/item")
def item(request: Request, desk: DeskHere, pn: str, tag: str) -> Response:
    """A serial or lot with its paper; what the inspector sees of each field."""
    stock = _item(desk, pn, tag)
    kind = stores.kind_of(desk, stock.body.type_id, stock.body.part)
    return page(
        request,
        "supply/item.html",
        stock=stock,
        kind=kind,
        fields=FIELDS,
        words=STATUS_WORDS,
        today=desk.now.date(),
        mistakes=stores.mistakes_of(desk, stock) if stock.checked else [],
    )


@router.get("/stores/item/sign")
def sign_item(
    request: Request, desk: DeskHere, pn: str, tag: str, decision: str = "", reason: str = ""
) -> Response:
    """What is signed, from what the inspector saw; the tool's comparison is shown only after that."""
    stock = _item(desk, pn, tag)
    seen = {f: request.query_params.get(f"seen_{f}", "") for f in FIELDS}
    checked = _checked(stock, seen, decision, reason)
    return page(
        request,
        "supply/sign_item.html",
        stock=stock,
        fields=FIELDS,
        seen=seen,
        decision=checked.decision,
        reason=checked.reason,
        shown=stores.check_shown(stock, checked),
        mistakes=stores.mistakes_of(desk, stock),
        after=stock.checked.revision if stock.checked else 0,
    )


def _checked(stock: Stock, seen: dict[str, str], decision: str, reason: str) -> CertificateChecked:
    fields = tuple(
        FieldSeen.model_validate({"field": f, "seen": s})
        for f, s in seen.items()
        if s in ("agrees", "differs", "absent")
    )
    if decision not in ("accepted", "quarantined"):
        raise InputError("neither accepted nor quarantined is chosen.", mend="Choose one.", where="decision")
    return CertificateChecked.model_validate(
        {"arrival": stock.entry.revision, "fields": fields, "decision": decision, "reason": reason.strip()}
    )


@router.post("/stores/item/sign")
def check(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Accept or quarantine, signed."""
    stock = _item(desk, form.text("pn"), form.text("tag"))
    seen = {f: form.get(f"seen_{f}") for f in FIELDS}
    checked = _checked(stock, seen, form.get("decision"), form.get("reason"))
    shown = stores.check_shown(stock, checked)
    sign(request, form, desk, shown)
    stores.check_certificate(desk, stock, checked, shown)
    return redirect(_link(stock))


@router.post("/stores/item/correct")
def correct(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Correct what was copied."""
    before = _item(desk, form.text("part_number"), form.text("tag"))
    body = _stock(desk, form, before)
    stores.correct_stock(desk, body, form.after, form.text("reason", "the reason"))
    return redirect(_link(before))
