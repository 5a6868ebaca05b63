"""Receiving: opening a visit, and what is recorded of an engine as it came."""

from __future__ import annotations

from typing import Literal, cast

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.receiving import service
from spoolwright.crafts.receiving.checklist import checklist
from spoolwright.crafts.receiving.known import answer_to, counts_of, doubts_of, opened
from spoolwright.crafts.receiving.model import (
    CONTAINER_CAUTION,
    Container,
    DocumentReceived,
    DoubtAnswered,
    EngineReceived,
    ModuleReceived,
    Preservation,
    ReceivingDecided,
)
from spoolwright.crafts.receiving.open import open_items
from spoolwright.crafts.receiving.part_table import parts_from_csv, parts_to_csv
from spoolwright.crafts.receiving.service import Saw
from spoolwright.crafts.visit.entry import Attachment
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import Counts, PartFitted
from spoolwright.errors import InputError
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, frame_of, page, redirect, sign
from spoolwright.web.security.content import ANY, PHOTOS, TEXT

router = APIRouter()

COUNTS = (
    ("hours_since_new", "Hours since new"),
    ("cycles_since_new", "Cycles since new"),
    ("starts_since_new", "Starts since new"),
    ("hours_since_overhaul", "Hours since overhaul"),
    ("cycles_since_overhaul", "Cycles since overhaul"),
    ("starts_since_overhaul", "Starts since overhaul"),
)
WORDS = ("overhauled", "repaired", "inspected", "tested", "modified")
STATES = ("present", "copied", "absent")


@router.get("/receive")
def receive(request: Request, desk: DeskHere) -> Response:
    """The form that opens a visit."""
    types = [(e.body.type_id, e.body.type_id) for e in frame_of(request).shop.types.all()]
    named = [(key, desk.types.of(key).type_file.type.name) for key, _ in types]
    return page(request, "receiving/new.html", types=named, counts=COUNTS, words=WORDS, today=desk.now.date())


@router.post("/receive")
def open_visit(request: Request, desk: DeskHere, form: FormHere) -> Response:
    """Open a visit."""
    visit = _visit(form)
    service.open_visit(desk, visit, _counts(form))
    return redirect(f"/visit/{visit.number}/receiving")


def _visit(form: Form) -> VisitOpened:
    return VisitOpened(
        number=form.text("number", "the work order"),
        engine_serial=form.text("engine_serial", "the engine's serial"),
        type_id=form.text("type_id", "the type"),
        customer=form.text("customer"),
        reason_for_removal=form.text("reason_for_removal"),
        received_on=form.date("received_on"),
        promised_on=form.date("promised_on") if form.get("promised_on") else None,
        scope=form.get("scope"),
        word=cast(Literal[""], form.get("word")),
    )


def _counts(form: Form) -> Counts:
    return Counts(**{name: form.number(name, label) if form.get(name) else None for name, label in COUNTS})


@router.get("/visit/{number}/receiving")
def receiving(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """Everything that was received, what is open of it first."""
    engines = folder.of(EngineReceived)
    decided = folder.of(ReceivingDecided)
    missing = service.not_yet(desk, folder)
    accepted = ReceivingDecided(decision="accepted")
    return page(
        request,
        "receiving/receiving.html",
        items=open_items(folder, desk.records),
        opened=folder.of(VisitOpened)[0],
        counts=COUNTS,
        words=WORDS,
        engine_counts=counts_of(folder),
        engine=engines[0] if engines else None,
        caution=CONTAINER_CAUTION,
        containers=list(Container),
        preservations=list(Preservation),
        accessories=[a.name for a in folder.kind.shop.accessory],
        modules=_modules(folder),
        lines=_lines_by_place(folder),
        states=STATES,
        doubts=[(d, answer_to(folder, d)) for d in doubts_of(folder, desk.records)],
        parts=_parts(folder),
        names={k.id: k.name for k in folder.kind.shop.part},
        decided=decided[0] if decided else None,
        missing=missing,
        shown="" if missing else service.decision_shown(folder, accepted),
    )


def _modules(folder: Folder) -> list[dict[str, object]]:
    seen = {e.body.module: e for e in folder.of(ModuleReceived)}
    return [{"id": m.id, "name": m.name, "entry": seen.get(m.id)} for m in folder.kind.type_file.module]


def _lines_by_place(folder: Folder) -> list[tuple[str, str, list[object]]]:
    """The checklist by engine and module: id, name, lines."""
    places = [("", "Engine"), *((m.id, m.name) for m in folder.kind.type_file.module)]
    lines = checklist(folder)
    return [(key, name, [line for line in lines if line.module == key]) for key, name in places]


def _parts(folder: Folder) -> list[PartFitted]:
    order = {k.id: n for n, k in enumerate(folder.kind.shop.part)}
    return sorted((e.body for e in folder.of(PartFitted)), key=lambda p: (order.get(p.part, 0), p.serial))


@router.post("/visit/{number}/receiving/opened")
def correct(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Correct what was recorded at opening."""
    visit = _visit(form)
    service.correct_visit(desk, folder, visit, _counts(form), Saw(form.after, form.text("reason")))
    return redirect(f"/visit/{number}/receiving")


@router.post("/visit/{number}/receiving/engine")
def engine(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Record how the engine came."""
    before = folder.of(EngineReceived)
    body = EngineReceived(
        container=form.choice("container", Container),
        container_number=form.get("container_number"),
        pressure_relieved=form.ticked("pressure_relieved"),
        shipping_damage=form.get("shipping_damage"),
        damage_claim=form.get("damage_claim"),
        preservation=form.choice("preservation", Preservation),
        preserved_until=form.date("preserved_until") if form.get("preserved_until") else None,
        accessories_missing=tuple(form.all("accessories_missing")),
        missing_agreed=form.get("missing_agreed"),
        remarks=form.get("remarks"),
        photographs=(before[0].body.photographs if before else ()) + form.attach(desk, "photographs", PHOTOS),
    )
    reason = form.get("reason") or ("seen again" if form.after else "")
    service.record_engine(desk, folder, body, Saw(form.after, reason))
    return redirect(f"/visit/{number}/receiving#engine")


@router.post("/visit/{number}/receiving/module/{module}")
def module(
    request: Request, number: str, module: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record a module by serial with its counts."""
    before = next((e.body.files for e in folder.of(ModuleReceived) if e.body.module == module), ())
    body = ModuleReceived(
        module=module,
        serial=form.text("serial", "the module's serial"),
        counts=_counts(form),
        remarks=form.get("remarks"),
        files=before + form.attach(desk, "files", ANY),
    )
    service.record_module(desk, folder, body, Saw(form.after, form.get("reason")))
    return redirect(f"/visit/{number}/receiving#module-{module}")


@router.post("/visit/{number}/receiving/documents")
def documents(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Record what was found of the documents, all that changed at once."""
    found = []
    for line in checklist(folder):
        key = "__".join(filter(None, (line.document.id, line.module)))
        state, remarks = form.get(f"state_{key}"), form.get(f"remarks_{key}")
        files = form.attach(desk, f"files_{key}", ANY)
        before = line.found.body if line.found else None
        was = (before.state, before.remarks) if before else ("", "")
        if state and ((state, remarks) != was or files):
            seen = Form({"after": (form.get(f"after_{key}"),)}).after
            found.append((_document(line.document.id, line.module, state, remarks, before, files), Saw(seen)))
    service.record_documents(desk, folder, found)
    return redirect(f"/visit/{number}/receiving#documents")


def _document(
    document: str,
    module: str,
    state: str,
    remarks: str,
    before: DocumentReceived | None,
    files: tuple[Attachment, ...],
) -> DocumentReceived:
    kept = before.files if before else ()
    return DocumentReceived.model_validate(
        {"document": document, "module": module, "state": state, "remarks": remarks, "files": kept + files}
    )


@router.post("/visit/{number}/receiving/doubt")
def doubt(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Answer something implausible."""
    answer = DoubtAnswered(
        doubt=form.text("doubt"),
        answer=form.text("answer", "what you found"),
        files=form.attach(desk, "files", ANY),
    )
    service.answer_doubt(desk, folder, form.text("key"), answer)
    return redirect(f"/visit/{number}/receiving#doubts")


@router.post("/visit/{number}/receiving/parts")
def parts(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Read a table of parts by serial."""
    tables = form.files("table", (TEXT,))
    if not tables:
        raise InputError("no table is attached.", mend="Choose a CSV file.", where="table")
    content, name, _ = tables[0]
    service.record_parts(desk, folder, _read_table(folder, content, name))
    return redirect(f"/visit/{number}/receiving#parts")


def _read_table(folder: Folder, content: bytes, name: str) -> list[PartFitted]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        told = f"the table is not UTF-8 text (byte {fault.start + 1})."
        raise InputError(told, mend="Save it as comma-separated text in UTF-8.", where="table") from fault
    visit = opened(folder)
    modules = {e.body.module: e.body.serial for e in folder.of(ModuleReceived)}
    return parts_from_csv(text, name, folder.kind.shop.part, visit.engine_serial, modules, visit.received_on)


@router.post("/visit/{number}/receiving/part")
def part(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Record one part by serial."""
    kind = next((k for k in folder.kind.shop.part if k.id == form.text("part", "the part")), None)
    if kind is None:
        raise InputError(
            "the bill of material has no such part.", mend="Choose one of its parts.", where="part"
        )
    visit = opened(folder)
    modules = {e.body.module: e.body.serial for e in folder.of(ModuleReceived)}
    body = PartFitted(
        part=kind.id,
        part_number=form.text("part_number", "the part number on the plate"),
        serial=form.text("serial", "the serial on the plate"),
        module=kind.module,
        engine_serial=visit.engine_serial,
        module_serial=modules.get(kind.module, ""),
        position=form.get("position"),
        on=visit.received_on,
    )
    service.record_parts(desk, folder, [body])
    return redirect(f"/visit/{number}/receiving#parts")


@router.get("/visit/{number}/receiving/parts.csv")
def parts_table(request: Request, number: str, folder: FolderHere) -> Response:
    """The parts as a table that can be read in again."""
    name = f"parts-{number}.csv"
    return Response(
        parts_to_csv(_parts(folder)),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@router.get("/visit/{number}/receiving/quarantine")
def quarantine(request: Request, number: str, folder: FolderHere, reason: str = "") -> Response:
    """What is signed when an engine is quarantined, for the reason given."""
    decided = ReceivingDecided(decision="quarantined", reason=reason.strip())
    before = folder.of(ReceivingDecided)
    return page(
        request,
        "receiving/quarantine.html",
        reason=decided.reason,
        shown=service.decision_shown(folder, decided),
        after=before[0].revision if before else 0,
    )


@router.post("/visit/{number}/receiving/decision")
def decide(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Accept or quarantine, signed."""
    decided = ReceivingDecided.model_validate(
        {"decision": form.get("decision"), "reason": form.get("reason")}
    )
    shown = service.decision_shown(folder, decided)
    sign(request, form, desk, shown)
    service.decide_receiving(desk, folder, decided, shown, Saw(form.after))
    return redirect(f"/visit/{number}/receiving#decision")
