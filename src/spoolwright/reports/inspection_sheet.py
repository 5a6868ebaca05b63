"""The inspection of a module on paper: findings with proposal and decision, dimensions, who looked."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from spoolwright.crafts.inspection.dimensions import limit_words
from spoolwright.crafts.inspection.model import DimensionTaken
from spoolwright.crafts.inspection.service import finding_words
from spoolwright.crafts.inspection.standing import (
    FindingState,
    StageState,
    serial_known,
    stage_state,
    stages_begun,
)
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.reports.pdf import set_print


def inspection_sheet_pdf(folder: Folder, module: str, *, address: str, at: datetime) -> bytes:
    """The inspection sheet of a module as PDF.

    Parameters
    ----------
    folder : Folder
        The visit's folder.
    module : str
        Id of the module.
    address : str
        The shop's server, for the link printed on the sheet.
    at : datetime
        When it is printed, UTC.
    """

    def data(_work: Path) -> dict[str, Any]:
        names = {m.id: m.name for m in folder.kind.type_file.module}
        opened = folder.of(VisitOpened)[-1].body
        head = max(folder.entries, key=lambda e: e.seq).digest
        return {
            "title": f"Inspection, {names.get(module, module)}",
            "serial": opened.engine_serial,
            "visit": opened.number,
            "demonstration": folder.kind.type_file.type.demonstration,
            "address": f"{address}/visit/{opened.number}/inspection",
            "foot": f"Printed {at:%Y-%m-%d %H:%M} UTC. Audit head {head[:16]}. "
            "The record in the system governs. What the limits say is a proposal; a person decides.",
            "parts": [_part(folder, s) for s in _stages(folder, module)],
            "dimensions": _dimensions(folder, module),
        }

    return set_print("inspection_sheet.typ", data)


def _stages(folder: Folder, module: str) -> list[StageState]:
    begun = stages_begun(folder)
    out = []
    for part in (p for p in folder.kind.shop.inspected_part if p.module == module):
        serials = [s for p, s in begun if p == part.id] or [serial_known(folder, part)]
        out += [stage_state(folder, part, serial) for serial in serials]
    return out


def _part(folder: Folder, stage: StageState) -> dict[str, Any]:
    part = stage.part
    if stage.signed is not None and stage.is_signed:
        seen = f"Looked at whole ({stage.signed.body.method}): {_by(stage.signed)}"
        seen += f". Not seen: {stage.signed.body.not_seen}" if stage.signed.body.not_seen else ""
    else:
        seen = "Not signed as looked at whole."
    return {
        "name": part.name,
        "serial": stage.serial,
        "seen": seen,
        "view": f"Seen {part.view}. {part.numbering}",
        "source": f"{part.source.document}, {part.source.paragraph}",
        "findings": [_finding(folder, f) for f in stage.standing],
    }


def _finding(folder: Folder, finding: FindingState) -> dict[str, str]:
    judged, held = finding.judgement, finding.disposition
    decided = ""
    if held is not None and finding.is_accepted:
        decided = f"{held.body.decided}. {_by(held)}"
        decided += f". {held.body.reason}" if held.body.reason else ""
    for entry, word in (
        (finding.engineering, "engineering"),
        (finding.blend, "blend"),
        (finding.replaced, ""),
    ):
        if entry is not None:
            decided += f"\n{_done(entry, word)}"
    words = finding_words(folder, finding.body)
    return {
        "number": str(finding.number),
        "words": words[0].upper() + words[1:],
        "proposal": judged.words if judged and held else "",
        "paragraph": judged.paragraph if judged and held else "",
        "decided": decided.strip(),
    }


def _done(entry: Entry[Any], word: str) -> str:
    body = entry.body
    match word:
        case "engineering":
            return f"Engineering: {body.answer} ({body.document})"
        case "blend":
            radius = f", radius {body.radius}" if body.radius else ""
            return f"Blended {body.depth} deep, {body.length} long{radius}. {_by(entry)}"
    return f"Replaced{', serial ' + body.new_serial if body.new_serial else ''}. {_by(entry)}"


def _dimensions(folder: Folder, module: str) -> list[dict[str, str]]:
    parts = {p.id: p for p in folder.kind.shop.inspected_part if p.module == module}
    taken = folder.of(DimensionTaken)
    rows = []
    for known in (d for d in folder.kind.shop.dimension if d.part in parts):
        readings = [t.body for t in taken if t.body.dimension == known.id]
        said = "\n".join(f"{b.place + ': ' if b.place else ''}{b.value} {b.unit}" for b in readings)
        verdicts = "\n".join(b.calculation.result["verdict"] if b.calculation else "" for b in readings)
        source = f"{known.source.document}, {known.source.paragraph}"
        rows.append(
            {
                "name": known.name,
                "limits": limit_words(known),
                "source": source,
                "reading": said,
                "verdict": verdicts,
            }
        )
    return rows


def _by(entry: Entry[Body] | Entry[Any]) -> str:
    """Who signed, under which authorisation, when."""
    if entry.signature is None:
        return f"{entry.author}, {entry.at:%Y-%m-%d %H:%M}"
    number = f", {entry.signature.authorisation}" if entry.signature.authorisation else ""
    return f"{entry.signature.name}{number}, {entry.at:%Y-%m-%d %H:%M}"
