"""What of supply stands between an engine and its release."""

from __future__ import annotations

from collections.abc import Iterator

from spoolwright.crafts.supply.kit_sheet import signed_sheet
from spoolwright.crafts.supply.model import CertificateChecked, KitLine
from spoolwright.crafts.supply.needs import SHORT, Need, State, build_date, kit_lines, needs_of
from spoolwright.crafts.supply.vendors import authorisations_of, repair_open, repairs, vendor_name
from spoolwright.crafts.visit.entry import Records
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.parts import part_subject
from spoolwright.crafts.visit.people import Role


def open_items(folder: Folder, records: Records) -> list[OpenItem]:
    """Everything of supply that is not closed: shortages, kits, sheets, outside repairs."""
    return items_of(folder, records, needs_of(folder, records))


def items_of(folder: Folder, records: Records, needs: list[Need]) -> list[OpenItem]:
    """What is open, from needs that are worked out already."""
    return [
        *(_need(folder, n) for n in needs if n.state != State.KITTED),
        *_held(folder, records, needs),
        *_sheets(folder),
        *_repairs(folder, records),
    ]


def _item(folder: Folder, text: str, place: str, role: Role, module: str = "") -> OpenItem:
    return OpenItem("supply", text, f"/visit/{folder.visit}/parts#{place}", role, module)


def need_sentence(need: Need) -> str:
    """How a need stands, in a sentence."""
    told = f"{need.kind.name} {need.kind.part_number}: {need.still} of {need.needed} not kitted, {need.state}"
    if need.arrival:
        told += f", promised for {need.arrival}"
        told += f", {need.late_days} days after the build" if need.late_days else ""
    if need.state == State.MAY_BE_LATE:
        told += f"; four of five such orders came by {need.late_bound}"
    if need.quarantined:
        told += f"; {sum(s.free for s in need.quarantined)} in quarantine"
    return told + "."


def _need(folder: Folder, need: Need) -> OpenItem:
    role = Role.LEAD if need.state in SHORT else Role.BUILDER
    return _item(folder, need_sentence(need), f"need-{need.kind.id}", role, need.kind.module)


def _held(folder: Folder, records: Records, needs: list[Need]) -> Iterator[OpenItem]:
    """What a kit holds and should not: too much, run out before it is built in, back in quarantine."""
    build_on = build_date(folder)
    for need in needs:
        if need.kitted > need.needed:
            told = f"{need.kind.name}: {need.kitted} kitted, {need.needed} needed."
            yield _item(folder, told, f"need-{need.kind.id}", Role.BUILDER, need.kind.module)
        for line in need.lines:
            what = f"{need.kind.name} {line.part_number} {line.tag}"
            ends, unfitted = line.expires_on, line.fitted < line.quantity
            if ends and unfitted and ends < (build_on or folder.today):
                told = f"{what}: its shelf life ends on {ends}, before it is built in."
                yield _item(folder, told, f"need-{need.kind.id}", Role.BUILDER, need.kind.module)
            if _back_in_quarantine(records, line):
                told = f"{what}: kitted, and its certificate was quarantined since."
                yield _item(folder, told, f"need-{need.kind.id}", Role.INSPECTOR, need.kind.module)


def _back_in_quarantine(records: Records, line: KitLine) -> bool:
    """A look at a later arrival of the same serial says nothing about this one."""
    under = part_subject(line.part_number, line.tag, "certificate")
    looks = [e.body for e in records.current(CertificateChecked, under=under)]
    return any(c.arrival == line.arrival and c.decision == "quarantined" for c in looks)


def _sheets(folder: Folder) -> Iterator[OpenItem]:
    for module in folder.kind.type_file.module:
        lines = kit_lines(folder, module.id)
        if not lines:
            continue
        sheet = signed_sheet(folder, module.id)
        if sheet is None:
            told = f"{module.name}: the kit sheet is not signed."
        elif {e.body.as_kitted for e in lines} != set(sheet.body.lines):
            told = f"{module.name}: the kit changed since its sheet was signed."
        else:
            continue
        yield _item(folder, told, f"kit-{module.id}", Role.BUILDER, module.id)


def _repairs(folder: Folder, records: Records) -> Iterator[OpenItem]:
    for repair in repairs(folder):
        sent = repair.body
        held = authorisations_of(records, sent.vendor)
        for told in repair_open(repair, held, vendor_name(records, sent.vendor), folder.today):
            yield _item(folder, f"{repair.words}: {told}", "repairs", Role.INSPECTOR, sent.module)
