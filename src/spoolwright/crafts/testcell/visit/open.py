"""What of the test stands between an engine and its release."""

from __future__ import annotations

from spoolwright.crafts.testcell.visit.rules import differences
from spoolwright.crafts.testcell.visit.standing import Standing, standing
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.people import Role

NEEDS_TEST = ("overhauled", "tested")
"""Words of a release that a test must stand behind (overhauled: 14 CFR 43.2(a))."""


def open_items(folder: Folder) -> list[OpenItem]:
    """What is open in the test cell, the first to be done first."""
    now = standing(folder)
    link = f"/visit/{folder.visit}/testcell"

    def item(text: str, role: Role, part: str = "", *, blocks: bool = True) -> OpenItem:
        return OpenItem("testcell", text, link + part, role, blocks_release=blocks)

    out = [
        item(f"Acknowledge: {x.name} was exceeded in run {x.run}.", Role.TEST_OPERATOR, "#exceeded")
        for _, x in now.not_acknowledged
    ]
    out += [
        item(text, Role.TEST_OPERATOR, "#adjustments")
        for text in differences([e.body for e in now.runs], [e.body for e in now.adjustments])
    ]
    out += [item(text, role, part) for text, role, part in _runs_open(now)]
    if not now.runs:
        needed = any(e.body.word in NEEDS_TEST for e in folder.of(VisitOpened))
        why = "the word of the release needs a test" if needed else "attach it if one is made"
        out.append(item(f"No test run is attached: {why}.", Role.TEST_OPERATOR, blocks=needed))
    return out


def _runs_open(now: Standing) -> list[tuple[str, Role, str]]:
    """What is to be done next with the runs that are attached."""
    out = []
    waiting = now.not_assessed
    if waiting:
        runs = ", ".join(waiting)
        out.append((f"Run {runs} is attached and not assessed.", Role.TEST_OPERATOR, "#runs"))
    newest = now.newest
    decided = now.decided
    if newest and not waiting and decided is None:
        runs = ", ".join(newest.body.runs)
        out.append((f"Run {runs} is assessed: accept or reject it.", Role.TEST_OPERATOR, "#decide"))
    if decided and decided.body.decision == "rejected" and not waiting:
        out.append(("The run was rejected: find the cause, mend it, run again.", Role.LEAD, "#diagnosis"))
    last = max(now.dispositions, key=lambda e: e.seq, default=None)
    for e in now.reopened:
        if last is None or e.seq > last.seq:
            text = f"Module {e.body.module.replace('_', ' ')} was reopened: a run after it is owed."
            out.append((text, Role.TEST_OPERATOR, "#runs"))
    return out
