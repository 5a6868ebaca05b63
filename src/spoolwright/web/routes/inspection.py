"""Inspection: the parts of a visit, the map and form of a part, tables of findings, dimensions, sheets."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.inspection import dimensions, service
from spoolwright.crafts.inspection.entering import COLUMNS, finding_from, quick_words, words_of
from spoolwright.crafts.inspection.model import DimensionTaken, FindingRecorded
from spoolwright.crafts.inspection.open import open_items, stage_link
from spoolwright.crafts.inspection.standing import StageState, serial_known, stage_state, stages_begun
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder, newest
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError
from spoolwright.sources.findings_csv import findings_csv, findings_from
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, NotThereError, page, redirect, sign
from spoolwright.web.inspection_page import InspectionPage, next_step
from spoolwright.web.security.content import PHOTOS, TIFF

router = APIRouter()

ROOM = "/visit/{number}/inspection"
PART = ROOM + "/{part}"
MOST_AGAIN, LONGEST_SERIAL = 200, 60


@router.get(ROOM)
def inspection(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The inspected parts by module, with how far each is."""
    begun = stages_begun(folder)
    rows: dict[str, list[tuple[StageState, str, str, str]]] = {}
    for part in folder.kind.shop.inspected_part:
        serials = [s for p, s in begun if p == part.id] or [serial_known(folder, part)]
        for serial in serials:
            stage = stage_state(folder, part, serial)
            state, shape = stage_words(stage)
            link = stage_link(number, part.id, serial)
            rows.setdefault(part.module, []).append((stage, link, state, shape))
    sets = {k.id for k in folder.kind.shop.part if k.quantity > 1}
    modules = [(m.id, m.name, rows[m.id]) for m in folder.kind.type_file.module if m.id in rows]
    return page(
        request, "inspection/room.html", items=open_items(folder), modules=modules, columns=COLUMNS, sets=sets
    )


def stage_words(stage: StageState) -> tuple[str, str]:
    """How far the inspection of a part is: words and shape."""
    if not stage.findings and stage.signed is None:
        return "not begun", "none"
    waiting = sum(next_step(f)[1] != "done" for f in stage.standing)
    count = len(stage.standing)
    found = f"{count} finding{'' if count == 1 else 's'}"
    if not stage.is_signed:
        return f"{found}, not signed as looked at whole", "half"
    return (f"{found}, {waiting} not dealt with", "half") if waiting else (f"{found}, all dealt with", "done")


@router.post(ROOM + "/table")
def read_table(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Record the findings of a table, all or none."""
    bodies: list[FindingRecorded] = []
    for content, name, _ in form.files("table"):
        bodies += findings_from(content, name, folder.kind.shop.inspected_part)
    if not bodies:
        raise InputError("no table is chosen.", mend="Choose a CSV file.", where="table")
    service.record_findings(desk, folder, [service.with_known_serial(folder, b) for b in bodies])
    return redirect(f"/visit/{number}/inspection")


@router.get(ROOM + "/findings.csv")
def findings_table(request: Request, number: str, folder: FolderHere) -> Response:
    """The findings as a table that can be read in again."""
    found = [e.body for e in folder.of(FindingRecorded) if not e.body.withdrawn]
    return Response(
        findings_csv(found),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="findings-{number}.csv"'},
    )


@router.get(ROOM + "/dimensions")
def dimension_list(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """Dimensions by part, with what was measured."""
    taken = folder.of(DimensionTaken)
    rows = [(d, dimensions.limit_words(d), [t for t in taken if t.body.dimension == d.id])
            for d in folder.kind.shop.dimension]  # fmt: skip
    names = {p.id: p.name for p in folder.kind.shop.inspected_part}
    open_now = {text: at for text, at, _ in dimensions.open_dimensions(folder)}
    return page(
        request,
        "inspection/dimensions.html",
        rows=rows,
        names=names,
        open_now=open_now,
        settled={t.subject: dimensions.settled_by(folder, t) for t in taken},
        outside=(dimensions.OUTSIDE, dimensions.NO_LIMIT),
        may_settle=Role.LEAD in desk.person.roles,
    )


@router.post(ROOM + "/dimensions")
def take_dimension(
    request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record a dimension."""
    names = ("dimension", "place", "value", "unit", "uncertainty", "gauge")
    words = {name: form.get(name) for name in names}
    dimensions.take_dimension(desk, folder, words, after=form.after)
    return redirect(f"/visit/{number}/inspection/dimensions#{words['dimension']}")


@router.get(ROOM + "/dimensions/settle")
def settling(
    request: Request, number: str, folder: FolderHere, subject: str = "", how: str = "", document: str = ""
) -> Response:
    """What the lead signs to close a dimension outside its limits."""
    taken = _taken(folder, subject)
    shown = dimensions.settle_shown(folder, taken.body, how, document)
    return page(request, "inspection/settle.html", subject=subject, how=how, document=document, shown=shown)


@router.post(ROOM + "/dimensions/settle")
def settle(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Close a dimension outside its limits, signed."""
    taken = _taken(folder, form.get("subject"))
    how, document = form.text("how", "how"), form.text("document", "the document")
    shown = dimensions.settle_shown(folder, taken.body, how, document)
    sign(request, form, desk, shown)
    dimensions.settle_dimension(desk, folder, taken, how, document, shown)
    return redirect(f"/visit/{number}/inspection/dimensions#{taken.body.dimension}")


def _taken(folder: Folder, subject: str) -> Entry[DimensionTaken]:
    taken = newest(folder.of(DimensionTaken), subject)
    if taken is None:
        raise NotThereError("no such dimension was measured here.", mend="See the list.")
    return taken


@router.get(ROOM + "/sheet/{module}.pdf")
def sheet(request: Request, number: str, module: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The inspection sheet of a module."""
    from spoolwright.reports.inspection_sheet import inspection_sheet_pdf

    if module not in {p.module for p in folder.kind.shop.inspected_part}:
        raise NotThereError(f"nothing of module '{module[:40]}' is inspected.", mend="See the list.")
    content = inspection_sheet_pdf(folder, module, address=str(request.base_url).rstrip("/"), at=desk.now)
    name = f"{number}-{module}-inspection.pdf"
    return Response(
        content, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )


@router.get(PART)
def part_page(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, serial: str = ""
) -> Response:
    """A part: its map, the form, what is to decide."""
    stage = here(desk, folder, part, serial)
    return page(request, "inspection/part.html", p=InspectionPage(stage, folder, desk, request.query_params))


def here(desk: Desk, folder: Folder, part: str, serial: str) -> StageState:
    """A part of the visit.

    Raises
    ------
    NotThereError
        The type has no such part.
    """
    known = next((p for p in folder.kind.shop.inspected_part if p.id == part), None)
    if known is None:
        raise NotThereError(f"'{part[:40]}' is no inspected part.", mend="See the list.")
    if len(serial) > LONGEST_SERIAL or not serial.isprintable():
        raise NotThereError("no part has this serial.", mend="See the list.")
    return service.stage_of(desk, folder, part, serial.strip() or serial_known(folder, known))


def _words(form: Form) -> dict[str, str]:
    return {name: form.get(name) for name in COLUMNS if form.get(name)}


def _recorded(number: str, part: str, found: list[Entry[FindingRecorded]], place: str = "#enter") -> Response:
    last = found[-1]
    link = stage_link(number, part, last.body.serial)
    mark = "&" if "?" in link else "?"
    return redirect(f"{link}{mark}last={last.subject.rsplit('/', 1)[1]}{place}")


@router.post(PART + "/finding")
def record(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record a finding, word by word."""
    stage = here(desk, folder, part, form.get("serial"))
    words = _words(form) | {"part": part, "serial": stage.serial}
    finding_from(words, stage.part)  # a mistake is told before a picture is kept
    body = finding_from(words, stage.part, form.attach(desk, "photos", (*PHOTOS, TIFF)))
    return _recorded(number, part, service.record_findings(desk, folder, [body]))


@router.post(PART + "/quick")
def record_quick(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record a finding from a line of the keyboard."""
    stage = here(desk, folder, part, form.get("serial"))
    line = quick_words(form.text("quick", "the line"), stage.part)
    with _told_at("quick"):
        body = finding_from(_words(form) | {"part": part, "serial": stage.serial} | line, stage.part)
        # without a place in the page, so that the line keeps the keyboard
        return _recorded(number, part, service.record_findings(desk, folder, [body]), "")


@router.post(PART + "/again")
def record_again(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """The same damage on other blades."""
    stage = here(desk, folder, part, form.get("serial"))
    source = stage.finding(form.whole("from", "the finding"))
    if source is None:
        raise NotThereError("there is no such finding.", mend="See the list.")
    words = words_of(source.body)
    with _told_at("blades"):
        bodies = [
            finding_from(words | {"blade": str(n)}, stage.part) for n in numbers_in(form.text("blades"))
        ]
        return _recorded(number, part, service.record_findings(desk, folder, bodies))


@contextmanager
def _told_at(field: str) -> Iterator[None]:
    """A mistake is told beside the one field that the form has."""
    try:
        yield
    except InputError as error:
        raise InputError(error.what, mend=error.mend, where=field) from error


def numbers_in(text: str) -> list[int]:
    """Numbers from a list such as `8-12, 15`."""
    out: list[int] = []
    for piece in filter(None, (p.strip() for p in text.replace(";", ",").split(","))):
        low, dash, high = (p.strip() for p in piece.partition("-"))
        ends = (low, high) if dash else (low, low)
        if not all(e.isascii() and e.isdigit() and len(e) < 5 for e in ends) or int(ends[0]) > int(ends[1]):
            raise InputError(f"'{piece[:30]}' is no number.", where="blades", mend="Write 8-12, 15.")
        out += range(int(ends[0]), int(ends[1]) + 1)
        if len(out) > MOST_AGAIN:
            raise InputError("that is too many at once.", where="blades", mend=f"At most {MOST_AGAIN}.")
    if not out:
        raise InputError("no number is given.", where="blades", mend="Write 8-12, 15.")
    return list(dict.fromkeys(out))
