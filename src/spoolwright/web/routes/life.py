"""Lives: the records review of a visit, a part's ledger, directives, limit changes over the whole stock."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast, get_args

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.bootstrap.lives import count_uploaded
from spoolwright.crafts.life import service
from spoolwright.crafts.life.build import (
    Build,
    PartInBuild,
    all_told,
    build_of,
    card_of,
    proposal,
    review_subject,
    standing_in,
)
from spoolwright.crafts.life.exchange import classes_of
from spoolwright.crafts.life.model import CyclesAdvised, LedgerReviewed, PartBorn, PartUsed
from spoolwright.crafts.life.open import directive_link, part_link
from spoolwright.crafts.life.rules import exchange_of
from spoolwright.crafts.visit.entry import Attachment, Records
from spoolwright.crafts.visit.folder import newest
from spoolwright.crafts.visit.parts import engine_subject
from spoolwright.errors import InputError
from spoolwright.sources.life_csv import COLUMNS, ledgers_from
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, frame_of, redirect, sign
from spoolwright.web.life_forms import birth_from, line_from, rate_from
from spoolwright.web.life_page import life_page, line_link
from spoolwright.web.security.content import PAPERS, RECORDINGS, TEXT

router = APIRouter()


def _room(number: str) -> str:
    return f"/visit/{number}/life"


@router.get("/visit/{number}/life")
def review(request: Request, number: str, folder: FolderHere, desk: DeskHere) -> Response:
    """The records review: next forced removal, what is open, every part, directives."""
    items = frame_of(request).shop.open_items(number, folder.today)
    build = build_of(folder, desk.records)
    return life_page(
        request,
        "life/review.html",
        build=build,
        groups=_by_kind(build.parts),
        items=[i for i in items if i.craft == "life"],
        told=all_told(build),
        lasts={
            (d.standing.part_number, d.standing.serial, d.against.limit.measure): d for d in build.removal.due
        },
        advised=_advised(desk.records, build),
        kinds=folder.kind.shop.cycle_kind,
        classes=classes_of(folder.kind.shop.exchange_table),
        columns=COLUMNS,
        part_link=part_link,
        directive_link=directive_link,
    )


@router.get("/visit/{number}/life/sheet")
def sheet(request: Request, number: str, folder: FolderHere, desk: DeskHere) -> Response:
    """The disposition sheet, to be printed."""
    build = build_of(folder, desk.records)
    seq, digest = frame_of(request).shop.records.head()
    return life_page(
        request, "life/sheet.html", build=build, told=all_told(build), head=(seq, digest), today=folder.today
    )


def _by_kind(parts: Sequence[PartInBuild]) -> list[list[PartInBuild]]:
    """Parts of one kind together, what has least left first, what is not proven before it."""

    def left(part: PartInBuild) -> tuple[bool, float]:
        return part.standing.ledger.proven, -max((a.share for a in part.standing.limits), default=0.0)

    kinds: dict[str, list[PartInBuild]] = {}
    for part in parts:
        kinds.setdefault(part.part_number, []).append(part)
    return [sorted(own, key=left) for own in kinds.values()]


def _advised(records: Records, build: Build) -> dict[str, tuple[float, int]]:
    """Full cycles counted in recordings of this engine, by module, and from how many."""
    out: dict[str, tuple[float, int]] = {}
    for entry in records.current(CyclesAdvised, under=engine_subject(build.engine, "cycles")):
        for module, said in entry.body.calculation.result.items():
            cycles, n = out.get(module, (0.0, 0))
            out[module] = (cycles + said["full_cycles"], n + 1)
    return out


@router.get("/visit/{number}/life/sign")
def signing(request: Request, number: str, folder: FolderHere, desk: DeskHere) -> Response:
    """Every part that waits for nothing but its signed disposition, to be signed together."""
    build = build_of(folder, desk.records)
    waiting = [p for p in build.parts if p.awaits_signature]
    shown = service.sheet_sentence(build, number)
    return life_page(request, "life/sign.html", waiting=waiting, shown=shown, back=_room(number))


@router.post("/visit/{number}/life/sign")
def sign_sheet(request: Request, number: str, folder: FolderHere, desk: DeskHere, form: FormHere) -> Response:
    """Sign them together."""
    sign(request, form, desk, shown=service.sheet_sentence(build_of(folder, desk.records), number))
    service.review_sheet(desk, folder)
    return redirect(_room(number))


@router.get("/visit/{number}/life/part")
def part(
    request: Request, number: str, folder: FolderHere, desk: DeskHere, pn: str, sn: str, say: str = ""
) -> Response:
    """A part's ledger: its gaps first, the disposition to be signed, every line with its arithmetic."""
    shop, card = folder.kind.shop, card_of(desk.records, pn, sn)
    standing = standing_in(folder, desk.records, pn, sn)
    signed = newest(folder.of(LedgerReviewed), review_subject(number, pn, sn))
    chosen = say if say in service.DISPOSITIONS else proposal(standing)
    if chosen == "may be fitted" and not standing.may_be_fitted:
        chosen = proposal(standing)
    in_build = next(
        (p for p in build_of(folder, desk.records).parts if (p.part_number, p.serial) == (pn, sn)), None
    )
    return life_page(
        request,
        "life/part.html",
        standing=standing,
        card=card,
        entries={e.body.line: e for e in card.lines},
        review=signed,
        in_build=in_build,
        chosen=chosen,
        choices=[d for d in service.DISPOSITIONS if d != "may be fitted" or standing.may_be_fitted],
        proposed=proposal(standing),
        shown=service.review_sentence(standing, chosen),
        limits=[x for x in shop.life_limit if x.part_number == pn],
        next_line=max((e.body.line for e in card.lines), default=0) + 1,
        part_link=part_link,
        directive_link=directive_link,
        line_link=line_link(number, pn, sn),
    )


@router.post("/visit/{number}/life/dispose")
def dispose(request: Request, number: str, folder: FolderHere, desk: DeskHere, form: FormHere) -> Response:
    """Sign what is to become of a part."""
    pn, sn = form.text("pn", "part number"), form.text("sn", "serial")
    disposition = form.text("disposition")
    if disposition not in get_args(service.Disposition):
        raise InputError(f"'{disposition[:40]}' is no disposition.", mend="Choose one of the page.")
    standing = standing_in(folder, desk.records, pn, sn)
    sign(request, form, desk, shown=service.review_sentence(standing, disposition))
    service.review_ledger(desk, folder, pn, sn, cast("service.Disposition", disposition), after=form.after)
    return redirect(_room(number))


@router.get("/visit/{number}/life/line")
def line(
    request: Request, number: str, folder: FolderHere, desk: DeskHere, pn: str, sn: str, n: int
) -> Response:
    """A line of a ledger, to be entered or corrected."""
    known = next((e for e in card_of(desk.records, pn, sn).lines if e.body.line == n), None)
    exchange = exchange_of(folder.kind.shop)
    tables = exchange.of(pn)
    return life_page(
        request,
        "life/line.html",
        pn=pn,
        sn=sn,
        n=n,
        entry=known,
        kinds=exchange.kinds,
        tables=[t.version for t in tables],
        classes=classes_of(tables),
        back=part_link(number, pn, sn),
    )


@router.post("/visit/{number}/life/line")
def record_line(
    request: Request, number: str, folder: FolderHere, desk: DeskHere, form: FormHere
) -> Response:
    """Record a line as its paper says it."""
    said = line_from(form, [k.id for k in folder.kind.shop.cycle_kind])
    lines = card_of(desk.records, said.part_number, said.serial).lines
    past = _files_of(next((e.body for e in lines if e.body.line == said.line), None))
    body = said.model_copy(update={"files": past + form.attach(desk, "papers", PAPERS)})
    service.record_use(desk, body, visit=number, after=form.after, reason=form.get("why"))
    return redirect(part_link(number, body.part_number, body.serial))


@router.get("/visit/{number}/life/birth")
def birth(request: Request, number: str, folder: FolderHere, desk: DeskHere, pn: str, sn: str) -> Response:
    """A part's birth, to be entered or corrected."""
    entry = card_of(desk.records, pn, sn).born
    return life_page(request, "life/birth.html", pn=pn, sn=sn, entry=entry, back=part_link(number, pn, sn))


@router.post("/visit/{number}/life/birth")
def record_birth(request: Request, number: str, desk: DeskHere, form: FormHere) -> Response:
    """Record where a part's life begins."""
    said = birth_from(form)
    born = card_of(desk.records, said.part_number, said.serial).born
    past = _files_of(born.body if born else None)
    body = said.model_copy(update={"files": past + form.attach(desk, "papers", PAPERS)})
    service.record_birth(desk, body, visit=number, after=form.after, reason=form.get("why"))
    return redirect(part_link(number, body.part_number, body.serial))


def _files_of(body: PartBorn | PartUsed | None) -> tuple[Attachment, ...]:
    """Files of an earlier revision: a correction keeps them."""
    return body.files if body else ()


@router.post("/visit/{number}/life/cards")
def take_cards(request: Request, number: str, desk: DeskHere, form: FormHere) -> Response:
    """Record whole cards from a table, all or none."""
    tables = form.files("table", (TEXT,))
    if not tables:
        raise InputError("no table was chosen.", mend="Choose a CSV file.", where="table")
    cards = [card for content, name, _ in tables for card in ledgers_from(content, name)]
    service.import_cards(desk, cards, visit=number)
    return redirect(_room(number))


@router.post("/visit/{number}/life/rate")
def rate(request: Request, number: str, folder: FolderHere, desk: DeskHere, form: FormHere) -> Response:
    """Record how the operator will use the engine."""
    body = rate_from(form, [k.id for k in folder.kind.shop.cycle_kind])
    service.state_rate(desk, folder, body, after=form.after, reason="stated anew" if form.after else "")
    return redirect(_room(number))


@router.post("/visit/{number}/life/count")
def count(request: Request, number: str, folder: FolderHere, desk: DeskHere, form: FormHere) -> Response:
    """Count the cycles of a recording, as advice."""
    serial = build_of(folder, desk.records).engine
    uploads = form.files("recording", RECORDINGS)
    if not uploads:
        raise InputError("no recording was chosen.", mend="Choose a file.", where="recording")
    for content, name, kind in uploads:
        counted = count_uploaded(content, name, folder.kind)
        advice = CyclesAdvised(
            engine_serial=serial,
            recording=name,
            recording_sha256=counted.sha256,
            file=desk.attachments.keep(content, name, kind.media_type),
            calculation=counted.calculation,
        )
        service.keep_advice(desk, advice, visit=number)
    return redirect(f"{_room(number)}#advice")
