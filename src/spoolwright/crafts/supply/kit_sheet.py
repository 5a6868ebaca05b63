"""Use cases of the kit sheet: signing it by module, and recording what was built in from it."""

from __future__ import annotations

from spoolwright.crafts.supply.calc import kit_completeness
from spoolwright.crafts.supply.kitting import hold, kind_in
from spoolwright.crafts.supply.model import Allocated, KitLine, KitSigned, UsedUp
from spoolwright.crafts.supply.needs import build_date, kit_lines, needed
from spoolwright.crafts.supply.stock import Stock, one_stock
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Calculation, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder, newest
from spoolwright.crafts.visit.model import VisitOpened, WorkEvent
from spoolwright.crafts.visit.parts import ModuleFitted, PartFitted, part_subject, segment
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

COMPLETENESS = ("kit_completeness", "1")
SIGNERS = (Role.BUILDER, Role.INSPECTOR, Role.LEAD)


def completeness(folder: Folder, module: str) -> Calculation:
    """Whether a module's kit is complete: needed against kitted."""
    kinds = {k.id: k.module for k in folder.kind.shop.part}
    wanted = {p: n for p, n in sorted(needed(folder).items()) if kinds.get(p) == module}
    held: dict[str, int] = {}
    for entry in kit_lines(folder, module):
        held[entry.body.part] = held.get(entry.body.part, 0) + entry.body.quantity
    inputs = {"needed": wanted, "kitted": held}
    name, version = COMPLETENESS
    return Calculation(name=name, version=version, inputs=inputs, result=kit_completeness(wanted, held))


def sheet_of(folder: Folder, module: str) -> KitSigned:
    """A module's kit sheet as it stands now."""
    lines = sorted((e.body.as_kitted for e in kit_lines(folder, module)), key=lambda b: (b.part, b.tag))
    return KitSigned(module=module, lines=tuple(lines), calculation=completeness(folder, module))


def kit_shown(folder: Folder, sheet: KitSigned) -> str:
    """The text of a kit sheet that is signed: every serial and lot, alternates and what runs out named."""
    names = {k.id: k.name for k in folder.kind.shop.part}
    build_on = build_date(folder)
    rows = [f"Kit for {sheet.module}, visit {folder.visit}:"]
    for line in sheet.lines:
        noun = "serial" if line.serialised else "lot"
        row = f"{line.quantity} × {names[line.part]}, {line.part_number}, {noun} {line.tag}"
        row += f", certificate {line.certificate}"
        if line.alternate_for:
            row += f"; alternate for {line.alternate_for}, allowed by {line.allowed_by}"
        if line.expires_on:
            row += f"; build in by {line.expires_on}"
            row += ", which is BEFORE the build date" if build_on and line.expires_on < build_on else ""
        rows.append(row + ".")
    short = sheet.calculation.result["short"]
    rows += [f"SHORT: {n} × {names[p]}." for p, n in short.items()]
    rows.append(
        "The kit is complete." if sheet.calculation.result["complete"] else "The kit is NOT complete."
    )
    return "\n".join(rows)


def sheet_subject(visit: str, module: str) -> str:
    """Where a module's kit sheet is recorded."""
    return f"visit/{visit}/supply/kit-sheet/{module}"


def signed_sheet(folder: Folder, module: str) -> Entry[KitSigned] | None:
    """The module's newest signed sheet."""
    return newest(folder.of(KitSigned), sheet_subject(folder.visit, module))


def sign_kit(desk: Desk, folder: Folder, module: str, shown: str, after: int = 0) -> Entry[Body]:
    """Sign a module's kit sheet, complete or not: it says which."""
    sheet = sheet_of(folder, module)
    if not sheet.lines:
        raise InputError(f"nothing is kitted for {module}.", mend="Kit its parts first.", where="module")
    if shown != kit_shown(folder, sheet):
        raise InputError(
            "the kit changed since it was shown.", mend="Read the sheet again, then sign.", where="shown"
        )
    subject = sheet_subject(folder.visit, module)
    new = New(subject, sheet, folder.visit, after, "the kit changed" if after else "")
    (entry,) = desk.record(signed(new, desk, Meaning.DID, shown, *SIGNERS))
    return entry


def event_subject(visit: str, line: KitLine) -> str:
    """Where the event 'replaced' of a kit line is recorded."""
    return f"visit/{visit}/event/supply-{segment(line.part_number)}-{segment(line.tag)}"


def fit_part(desk: Desk, folder: Folder, line: Entry[KitLine], removed: str = "") -> list[Entry[Body]]:
    """Record that a kitted part was built in: the event 'replaced', and where its serial is now.

    `removed` is the serial that came out, where one did.

    Raises
    ------
    InputError
        The line is on no signed kit sheet, has run out, was fitted before, or is in quarantine again.
    """
    desk.entitled(*SIGNERS)
    body = line.body
    stock = _stock_to_build_in(desk, folder, body)
    detail = f"{body.quantity} of {body.part_number} {body.tag} fitted"
    detail += f" in place of {removed}" if removed else ""
    event = WorkEvent(
        what="replaced",
        item=body.part,
        module=body.module,
        serial=body.tag,
        detail=detail,
        happened_at=desk.now,
    )
    fitted = body.model_copy(update={"fitted": body.quantity})
    news = [
        _after(desk, event_subject(folder.visit, body), event, folder.visit, "more of the lot fitted"),
        New(line.subject, fitted, folder.visit, line.revision, "fitted"),
        *_out_of_store(stock, folder.visit, body.quantity),
    ]
    if body.serialised:
        news.append(_fit(desk, folder, body))
        news += _taken_off(desk, folder, body, removed)
    return desk.record(*news)


def _stock_to_build_in(desk: Desk, folder: Folder, line: KitLine) -> Stock:
    """The stock a line takes from, if it may be built in."""
    what = f"{line.part_number} {line.tag}"
    sheet = signed_sheet(folder, line.module)
    if sheet is None or line.as_kitted not in sheet.body.lines:
        raise InputError(
            f"{what} is on no signed kit sheet.", mend="Sign the module's kit sheet first.", where="tag"
        )
    if line.fitted == line.quantity:
        raise InputError(f"{what} is recorded as fitted.", mend="Look at the module's kit.", where="tag")
    stock = one_stock(desk.records, (kind_in(folder, line.part),), line.part_number, line.tag)
    if stock is None or not stock.accepted or stock.entry.revision != line.arrival:
        told = f"{what} is in quarantine."
        raise InputError(told, mend="An inspector looks at its certificate again.", where="tag")
    if line.expires_on and line.expires_on < folder.today:
        told = f"{what}: its shelf life ended on {line.expires_on}."
        raise InputError(told, mend="Put it back and take another lot.", where="tag")
    return stock


def _out_of_store(stock: Stock, visit: str, quantity: int) -> list[New]:
    """What fitting leaves in store: the allocation with what is fitted, or that all of it is used up."""
    new = hold(stock, visit, quantity, quantity)
    assert isinstance(new.body, Allocated)
    taken = new.body.taken
    if sum(t.fitted for t in taken) < stock.body.quantity:
        return [new]
    used = UsedUp(
        arrival=stock.entry.revision,
        taken=taken,
        tag=stock.body.tag,
        quantity=stock.body.quantity,
        certificate=stock.body.certificate,
    )
    place = part_subject(stock.body.part_number, stock.body.tag)
    names = ("stock", "certificate", "allocation")
    return [New(f"{place}/{n}", used, "", r, "used up") for n, r in zip(names, stock.revisions, strict=True)]


def _after(desk: Desk, subject: str, body: Body, visit: str, reason: str) -> New:
    past = desk.records.history(subject)
    return New(subject, body, visit, len(past), reason if past else "")


def _fit(desk: Desk, folder: Folder, line: KitLine) -> New:
    visit = folder.of(VisitOpened)[0].body
    modules = {e.body.module: e.body.serial for e in folder.of(ModuleFitted)}
    fitted = PartFitted(
        part=line.part,
        part_number=line.part_number,
        serial=line.tag,
        module=line.module,
        engine_serial=visit.engine_serial,
        module_serial=modules.get(line.module, ""),
        on=desk.now.date(),
        state="fitted",
    )
    subject = part_subject(line.part_number, line.tag, "fit")
    return _after(desk, subject, fitted, folder.visit, f"fitted at visit {folder.visit}")


def _taken_off(desk: Desk, folder: Folder, line: KitLine, removed: str) -> list[New]:
    """Where the serial that came out is now, if it was recorded in this engine."""
    gone = [e for e in folder.of(PartFitted) if (e.body.part, e.body.serial) == (line.part, removed)]
    update = {"engine_serial": "", "module_serial": "", "on": desk.now.date(), "state": "removed"}
    reason = f"replaced by {line.part_number} {line.tag}"
    return [New(e.subject, e.body.model_copy(update=update), folder.visit, e.revision, reason) for e in gone]
