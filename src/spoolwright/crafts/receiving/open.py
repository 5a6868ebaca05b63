"""What of receiving stands between an engine and its release."""

from __future__ import annotations

from collections.abc import Iterator

from spoolwright.crafts.receiving.checklist import checklist
from spoolwright.crafts.receiving.known import answer_to, doubts_of
from spoolwright.crafts.receiving.model import Container, EngineReceived, ModuleReceived, ReceivingDecided
from spoolwright.crafts.visit.entry import Records
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.people import Role


def open_items(folder: Folder, records: Records) -> list[OpenItem]:
    """Everything of receiving that is not closed, the decision last."""
    return [
        *_engine(folder),
        *_modules(folder),
        *_documents(folder),
        *_doubts(folder, records),
        *_decision(folder),
    ]


def _item(
    folder: Folder, text: str, place: str, role: Role, module: str = "", blocks: bool = True
) -> OpenItem:
    link = f"/visit/{folder.visit}/receiving#{place}"
    return OpenItem("receiving", text, link, role, module, blocks)


def _engine(folder: Folder) -> Iterator[OpenItem]:
    found = folder.of(EngineReceived)
    if not found:
        yield _item(folder, "How the engine came is not recorded.", "engine", Role.INSPECTOR)
        return
    engine = found[0].body
    if engine.container != Container.NONE and not engine.pressure_relieved:
        told = "Container: not confirmed that its pressure was relieved and both halves grounded."
        yield _item(folder, told, "engine", Role.INSPECTOR)
    if engine.accessories_missing and not engine.missing_agreed:
        missing = ", ".join(engine.accessories_missing)
        yield _item(folder, f"Missing, and nothing agreed with the customer: {missing}.", "engine", Role.LEAD)
    if engine.shipping_damage and not engine.damage_claim:
        told = f"Shipping damage without a claim or a decision: {engine.shipping_damage}"
        yield _item(folder, told, "engine", Role.LEAD)


def _modules(folder: Folder) -> Iterator[OpenItem]:
    seen = {e.body.module for e in folder.of(ModuleReceived)}
    for module in folder.kind.type_file.module:
        if module.id not in seen:
            told = f"{module.name}: serial and counts are not recorded."
            yield _item(folder, told, f"module-{module.id}", Role.INSPECTOR, module.id)


def _documents(folder: Folder) -> Iterator[OpenItem]:
    for line in checklist(folder):
        needed = line.document.needed_for_release
        if line.found is None:
            told = f"{line.words}: not looked for."
        elif line.state == "absent":
            told = f"{line.words}: absent" + (", and needed for release." if needed else ".")
        else:
            continue
        blocks = needed or line.found is None
        yield _item(folder, told, "documents", Role.RECORDS, line.module, blocks)


def _doubts(folder: Folder, records: Records) -> Iterator[OpenItem]:
    for doubt in doubts_of(folder, records):
        if answer_to(folder, doubt) is None:
            yield _item(folder, f"Not plausible: {doubt.text}", "doubts", Role.RECORDS, doubt.module)


def _decision(folder: Folder) -> Iterator[OpenItem]:
    decided = folder.of(ReceivingDecided)
    if not decided:
        yield _item(folder, "Neither accepted nor quarantined.", "decision", Role.INSPECTOR)
    elif decided[0].body.decision == "quarantined":
        yield _item(folder, f"Quarantined: {decided[0].body.reason}", "decision", Role.INSPECTOR)
