"""Parts of a visit: what is short, which serial is kitted, the kit sheet, outside repairs."""

from __future__ import annotations

from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.supply import kit_sheet, kitting, repairing, stores
from spoolwright.crafts.supply.certificates import FIELDS
from spoolwright.crafts.supply.model import (
    BuildPlanned,
    KitLine,
    PartOrdered,
    Reinspected,
    Returned,
    SentOut,
    Work,
)
from spoolwright.crafts.supply.needs import (
    SHORT,
    State,
    build_date,
    kit_lines,
    need_of,
    needs_of,
    orders_of,
    proposed,
)
from spoolwright.crafts.supply.open import items_of
from spoolwright.crafts.supply.vendors import Repair, authorisations_of, repair_open, repairs, vendor_name
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import PartFitted, PartNeeded
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, NotThereError, page, redirect, sign
from spoolwright.web.routes.stores import certificate_from
from spoolwright.web.routes.vendors import known_vendors
from spoolwright.web.security.content import ANY

router = APIRouter()

SHAPES = {
    State.NOT_ORDERED: "none",
    State.NO_DATE: "none",
    State.LATE: "stop",
    State.MAY_BE_LATE: "warn",
    State.ALTERNATE: "half",
    State.IN_TIME: "wait",
    State.IN_STORE: "half",
    State.KITTED: "done",
}


@router.get("/visit/{number}/parts")
def parts(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """Shortages first, then kits and outside repairs."""
    needs = needs_of(folder, desk.records)
    planned = folder.of(BuildPlanned)
    return page(
        request,
        "supply/parts.html",
        needs=needs,
        short=[n for n in needs if n.state in SHORT],
        shapes=SHAPES,
        items=items_of(folder, desk.records, needs),
        build_on=build_date(folder),
        planned=planned[0] if planned else None,
        modules=_modules(folder),
        kinds=[(k.id, f"{k.name}, {k.part_number}") for k in folder.kind.shop.part],
        repairs=[_repair_row(desk, folder, r) for r in repairs(folder)],
    )


def _modules(folder: Folder) -> list[dict[str, object]]:
    """Each module's kit and what it would renew."""
    rows = []
    for module in folder.kind.type_file.module:
        lines, sheet = kit_lines(folder, module.id), kit_sheet.signed_sheet(folder, module.id)
        stale = sheet is not None and {e.body.as_kitted for e in lines} != set(sheet.body.lines)
        calculation = kit_sheet.completeness(folder, module.id)
        rows.append(
            {
                "id": module.id,
                "name": module.name,
                "lines": len(lines),
                "fitted": sum(e.body.fitted == e.body.quantity for e in lines),
                "needed": bool(calculation.inputs["needed"]),
                "complete": calculation.result["complete"],
                "sheet": sheet,
                "stale": stale,
                "proposed": proposed(folder, module.id),
            }
        )
    return rows


@router.get("/visit/{number}/parts/shortages")
def shortages(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The shortage list, to be printed."""
    needs = [n for n in needs_of(folder, desk.records) if n.state != State.KITTED]
    return page(request, "supply/shortages.html", needs=needs, shapes=SHAPES, build_on=build_date(folder))


@router.post("/visit/{number}/parts/build")
def build(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Set the build date."""
    kitting.plan_build(desk, folder, form.date("build_on", "the build date"), form.after)
    return redirect(f"/visit/{number}/parts")


@router.post("/visit/{number}/parts/needs")
def need(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Ask for a part."""
    quantity = form.whole("quantity") if form.get("quantity") else 1
    kitting.need_part(desk, folder, form.text("part", "the part"), quantity, form.text("why", "the reason"))
    return redirect(f"/visit/{number}/parts")


@router.post("/visit/{number}/parts/renewed")
def renewed(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Ask for everything that is renewed when a module is opened."""
    kitting.need_renewed_parts(desk, folder, form.text("module"))
    return redirect(f"/visit/{number}/parts")


@router.get("/visit/{number}/parts/kind/{part}")
def one_kind(request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere) -> Response:
    """One kind of part: what is needed, what is in store, what is on order."""
    kind = next((k for k in folder.kind.shop.part if k.id == part), None)
    if kind is None:
        raise NotThereError(
            f"the bill of material has no part '{part[:60]}'.", mend="Look at the visit's parts."
        )
    need = need_of(folder, desk.records, kind)
    return page(
        request,
        "supply/kind.html",
        kind=kind,
        need=need if need.needed or need.lines else None,
        shapes=SHAPES,
        asked=[e for e in folder.of(PartNeeded) if e.body.part == part and not e.body.withdrawn],
        lines=[e for e in kit_lines(folder) if e.body.part == part],
        signed={m.id: kit_sheet.signed_sheet(folder, m.id) for m in folder.kind.type_file.module},
        orders=[e for e in orders_of(desk.records, kind) if e.body.visit == number],
        removable=[e.body for e in folder.of(PartFitted) if e.body.part == part and e.body.engine_serial],
        today=folder.today,
        build_on=build_date(folder),
    )


@router.post("/visit/{number}/parts/kind/{part}/kit")
def kit(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Take an exact serial or lot."""
    quantity = form.whole("quantity") if form.get("quantity") else 1
    kitting.kit_part(
        desk, folder, part, form.text("part_number"), form.text("tag", "serial or lot"), quantity
    )
    return redirect(f"/visit/{number}/parts/kind/{part}")


def _line(folder: Folder, form: Form) -> Entry[KitLine]:
    """The kit line that a form means, as the person saw it."""
    number, tag = form.text("part_number"), form.text("tag")
    for entry in kit_lines(folder):
        if (entry.body.part_number, entry.body.tag) == (number, tag):
            return entry
    raise NotThereError(f"{number[:60]} {tag[:60]} is not in this visit's kit.", mend="Look at its parts.")


@router.post("/visit/{number}/parts/kind/{part}/back")
def back(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Return what was kitted."""
    kitting.put_back(desk, folder, _line(folder, form), form.text("reason", "the reason"))
    return redirect(f"/visit/{number}/parts/kind/{part}")


@router.post("/visit/{number}/parts/kind/{part}/fitted")
def fitted(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record that a part was built in."""
    kit_sheet.fit_part(desk, folder, _line(folder, form), form.get("removed"))
    return redirect(f"/visit/{number}/parts/kind/{part}")


@router.post("/visit/{number}/parts/kind/{part}/withdraw")
def withdraw(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """A part is not needed after all."""
    wanted = form.text("subject")
    for entry in folder.of(PartNeeded):
        if entry.subject == wanted:
            kitting.withdraw_need(desk, folder, entry, form.text("reason", "the reason"))
            return redirect(f"/visit/{number}/parts")
    raise NotThereError("this need is not recorded.", mend="Look at the visit's parts.")


@router.post("/visit/{number}/parts/kind/{part}/order")
def order(
    request: Request, number: str, part: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Record an order, or what became of it."""
    body = PartOrdered(
        number=form.text("number", "the order's number"),
        visit=number,
        part=part,
        part_number=form.text("part_number"),
        quantity=form.whole("quantity"),
        supplier=form.text("supplier"),
        ordered_on=form.date("ordered_on"),
        promised_on=form.date("promised_on") if form.get("promised_on") else None,
        arrived_on=form.date("arrived_on") if form.get("arrived_on") else None,
        cancelled=form.ticked("cancelled"),
    )
    stores.record_order(desk, body, form.after)
    return redirect(f"/visit/{number}/parts/kind/{part}")


@router.get("/visit/{number}/parts/kit/{module}")
def sheet(request: Request, number: str, module: str, folder: FolderHere) -> Response:
    """A module's kit sheet, to be printed and signed."""
    named = next((m for m in folder.kind.type_file.module if m.id == module), None)
    if named is None:
        raise NotThereError(f"this type has no module '{module[:60]}'.", mend="Look at the visit's parts.")
    body, signed = kit_sheet.sheet_of(folder, module), kit_sheet.signed_sheet(folder, module)
    return page(
        request,
        "supply/kit.html",
        module=named,
        sheet=body,
        signed=signed,
        stale=signed is not None and set(body.lines) != set(signed.body.lines),
        shown=kit_sheet.kit_shown(folder, body),
        names={k.id: k.name for k in folder.kind.shop.part},
        build_on=build_date(folder),
        opened=folder.of(VisitOpened)[0].body,
    )


@router.post("/visit/{number}/parts/kit/{module}")
def sign_sheet(
    request: Request, number: str, module: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Sign a kit sheet."""
    shown = kit_sheet.kit_shown(folder, kit_sheet.sheet_of(folder, module))
    sign(request, form, desk, shown)
    kit_sheet.sign_kit(desk, folder, module, shown, form.after)
    return redirect(f"/visit/{number}/parts/kit/{module}")


def _repair_row(desk: Desk, folder: Folder, repair: Repair) -> dict[str, object]:
    vendor = vendor_name(desk.records, repair.body.vendor)
    held = authorisations_of(desk.records, repair.body.vendor)
    return {
        "repair": repair,
        "vendor": vendor,
        "open": repair_open(repair, held, vendor, folder.today),
        "trip": repair.sent.subject.rsplit("/", 1)[-1],
    }


def _repair(folder: Folder, pn: str, sn: str, trip: str) -> Repair:
    for repair in repairs(folder):
        at = (repair.body.part_number, repair.body.serial, repair.sent.subject.rsplit("/", 1)[-1])
        if at == (pn, sn, trip):
            return repair
    raise NotThereError(f"{pn[:60]} {sn[:60]} was not sent out.", mend="Look at the visit's parts.")


@router.get("/visit/{number}/parts/send")
def send_form(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The form for a part that goes to a vendor, with what each vendor may do."""
    kinds = [(k.id, f"{k.name}, {k.part_number}") for k in folder.kind.shop.part if k.serialised]
    vendors = known_vendors(desk)
    return page(
        request, "supply/send.html", kinds=kinds, vendors=vendors, works=list(Work), today=folder.today
    )


@router.post("/visit/{number}/parts/send")
def send(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """A part left for a vendor."""
    kind = kitting.kind_in(folder, form.text("part", "the part"))
    vendor, _, authorisation = form.text("authorisation", "vendor and authorisation").partition(" ")
    body = SentOut(
        part=kind.id,
        module=kind.module,
        part_number=form.text("part_number", "the part number on the plate"),
        serial=form.text("serial", "the serial on the plate"),
        vendor=vendor,
        authorisation=authorisation,
        works=tuple(Work(w) for w in form.all("works") if w in set(Work)),
        finding=form.get("finding"),
        data=form.text("data", "the repair document with its revision"),
        order=form.get("order"),
        sent_on=form.date("sent_on"),
        expected_on=form.date("expected_on"),
    )
    repairing.send_out(desk, folder, body)
    return redirect(f"/visit/{number}/parts#repairs")


@router.get("/visit/{number}/parts/repair")
def repair(
    request: Request,
    number: str,
    desk: DeskHere,
    folder: FolderHere,
    pn: str,
    sn: str,
    trip: str,
    found: str = "",
    serviceable: str = "",
) -> Response:
    """One trip to a vendor; with what was found after its return, the sentence that is signed."""
    it = _repair(folder, pn, sn, trip)
    shown = ""
    if found.strip():
        looked = Reinspected(serviceable=serviceable == "yes", found=found.strip())
        shown = repairing.reinspection_shown(it, looked)
    return page(
        request,
        "supply/repair.html",
        row=_repair_row(desk, folder, it),
        sent=it.sent,
        returned=it.returned,
        inspected=it.inspected,
        works=list(Work),
        fields=FIELDS,
        shown=shown,
        found=found.strip(),
        serviceable=serviceable,
        today=folder.today,
    )


@router.post("/visit/{number}/parts/repair/return")
def give_back(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """A part came back with the vendor's release."""
    it = _repair(folder, form.text("pn"), form.text("sn"), form.text("trip"))
    before = it.returned.body.certificate.file if it.returned else None
    body = Returned(
        returned_on=form.date("returned_on"),
        works=tuple(Work(w) for w in form.all("works") if w in set(Work)),
        certificate=certificate_from(desk, form, before),
        remarks=form.get("remarks"),
    )
    repairing.record_return(desk, folder, it, body, form.get("reason"))
    return redirect(f"{request.url.path.rsplit('/', 1)[0]}?{_query(it)}")


def _query(it: Repair) -> str:
    trip = it.sent.subject.rsplit("/", 1)[-1]
    return urlencode({"pn": it.body.part_number, "sn": it.body.serial, "trip": trip})


@router.post("/visit/{number}/parts/repair/inspect")
def inspect(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """The shop's own look, signed."""
    it = _repair(folder, form.text("pn"), form.text("sn"), form.text("trip"))
    looked = Reinspected(
        serviceable=form.get("serviceable") == "yes",
        found=form.text("found", "what you found"),
        files=form.attach(desk, "files", ANY),
    )
    shown = repairing.reinspection_shown(it, looked)
    sign(request, form, desk, shown)
    repairing.reinspect(desk, folder, it, looked, shown)
    return redirect(f"/visit/{number}/parts/repair?{_query(it)}")
