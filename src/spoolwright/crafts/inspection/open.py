"""What of the inspection stands between an engine and its release."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import quote

from spoolwright.crafts.inspection.dimensions import open_dimensions
from spoolwright.crafts.inspection.model import Proposed
from spoolwright.crafts.inspection.service import finding_words
from spoolwright.crafts.inspection.standing import WHOLE, FindingState, StageState, stage_state, stages_begun
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.people import Role


def stage_link(visit: str, part: str, serial: str = "") -> str:
    """The page of a part."""
    return f"/visit/{visit}/inspection/{part}" + (f"?serial={quote(serial, safe='')}" if serial else "")


def open_items(folder: Folder) -> list[OpenItem]:
    """Parts not signed as looked at whole, findings not decided or not dealt with, dimensions outside."""
    parts = {p.id: p for p in folder.kind.shop.inspected_part}
    items: list[OpenItem] = []
    for part, serial in stages_begun(folder):
        if part in parts:
            items += _stage(folder, stage_state(folder, parts[part], serial))
    for text, at, role in open_dimensions(folder):
        module = parts[at].module if at in parts else ""
        link = f"/visit/{folder.visit}/inspection/dimensions#{at}"
        items.append(OpenItem("inspection", text, link, role, module))
    return items


def _stage(folder: Folder, stage: StageState) -> Iterator[OpenItem]:
    link = stage_link(folder.visit, stage.part.id, stage.serial)
    name = stage.part.name
    if not stage.is_signed:
        told = f"{name}: not signed as looked at whole"
        told += ", or something was recorded since." if stage.signed else "."
        yield OpenItem("inspection", told, link, Role.INSPECTOR, stage.part.module)
    if is_gone(stage):
        return
    alike: dict[tuple[str, Role], list[FindingState]] = {}
    for finding in stage.standing:
        words, role = _finding(finding)
        if words:
            alike.setdefault((words, role), []).append(finding)
    for (words, role), findings in alike.items():
        if len(findings) == 1:
            only = findings[0]
            which = f"finding {only.number} ({finding_words(folder, only.body)})"
            place = f"finding-{only.number}"
        else:
            which = f"{len(findings)} findings ({', '.join(str(f.number) for f in findings)})"
            place = "findings"
        yield OpenItem("inspection", f"{name}, {which}: {words}", f"{link}#{place}", role, stage.part.module)


def is_gone(stage: StageState) -> bool:
    """Whether the part itself was replaced, with everything on it."""
    whole = stage.part.count == 1 or stage.part.outline in WHOLE
    return whole and any(f.replaced is not None for f in stage.standing)


def _finding(finding: FindingState) -> tuple[str, Role]:
    """What is open on a finding, and who closes it; nothing when it is dealt with."""
    judged, decided = finding.judgement, finding.decided
    if decided is None and not finding.is_settled:
        first = judged.words if judged and judged.proposed is Proposed.MEASURE else "no accepted disposition."
        return first[0].lower() + first[1:], Role.INSPECTOR
    if finding.has_changed and judged is not None:
        return f"accepted before more was recorded; now: {judged.words} Decide again.", Role.INSPECTOR
    if decided == "refer to engineering":
        return "referred to engineering, not answered.", Role.LEAD
    if decided == "scrap" and finding.replaced is None:
        return "goes; its replacement is not recorded.", Role.BUILDER
    if decided == "blend" and finding.blend is None:
        return "to be blended; the blend is not recorded.", Role.BUILDER
    if finding.blend is not None and not finding.blend_holds and decided == "blend":
        return "the blend as measured is not within its limits. Decide again.", Role.INSPECTOR
    return "", Role.INSPECTOR
