"""What is owed: the matrix laid over what was done to the engine."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from spoolwright.crafts.owed.evidence import wanted_of
from spoolwright.crafts.owed.model import OwedClosed
from spoolwright.crafts.typefile.shop.owed import ClosedBy, OwedRule
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.people import Role

NOT_COVERED = "engineering"
"""Key of what no line of the matrix covers: somebody must ask engineering."""


@dataclass(frozen=True)
class Owed:
    """One thing that is owed, from which events, and what closed it."""

    key: str
    kind: str
    text: str
    source: str
    role: Role
    closed_by: ClosedBy
    because: tuple[Entry[WorkEvent], ...]
    closing: Entry[OwedClosed] | None
    looked_at_again: str = ""
    """Why a closing does not hold any more; empty while it holds or when there is none."""

    @property
    def closed(self) -> bool:
        return self.closing is not None and not self.looked_at_again

    @property
    def newest_event(self) -> int:
        """The place in the chain behind which evidence must lie."""
        return max(e.seq for e in self.because)

    @property
    def wanted(self) -> frozenset[str]:
        return wanted_of(self.closed_by, self.key)


def matches(rule: OwedRule, event: WorkEvent) -> bool:
    """Whether a line of the matrix speaks of an event. What was removed only for access was disturbed too."""
    what = "removed" if event.what == "removed_for_access" else event.what
    return any(what in after.what and (not after.item or event.item in after.item) for after in rule.after)


def owed_work(folder: Folder) -> list[Owed]:
    """Everything that is owed in a visit, closed or not, in the order of the matrix."""
    events = folder.of(WorkEvent)
    closings = {e.body.key: e for e in folder.of(OwedClosed)}
    documents = {d.id: d.revision for d in folder.kind.type_file.document}
    out, covered = [], set()
    for rule in folder.kind.shop.owed:
        mine = tuple(e for e in events if matches(rule, e.body))
        covered |= {e.seq for e in mine}
        if mine:
            out.append(_of_rule(rule, mine, closings, documents, folder))
    left: dict[str, list[Entry[WorkEvent]]] = {}
    for event in events:
        if event.seq not in covered and event.body.what != "installed":
            left.setdefault(_key_of(event.body), []).append(event)
    return out + [_not_covered(key, tuple(mine), closings, folder) for key, mine in left.items()]


def _key_of(event: WorkEvent) -> str:
    """A key for what no line speaks of; what people wrote may not fit into an address."""
    told = hashlib.sha256(f"{event.what}/{event.item}".encode()).hexdigest()
    return f"{NOT_COVERED}-{told[:12]}"


def _of_rule(
    rule: OwedRule,
    because: tuple[Entry[WorkEvent], ...],
    closings: Mapping[str, Entry[OwedClosed]],
    documents: Mapping[str, str],
    folder: Folder,
) -> Owed:
    closing = closings.get(rule.id)
    revision = documents.get(rule.source.document, "unknown")
    return Owed(
        key=rule.id,
        kind=rule.kind,
        text=rule.text,
        source=f"{rule.source.document} revision {revision}, {rule.source.paragraph}",
        role=Role(rule.signed_by),
        closed_by=rule.closed_by,
        because=because,
        closing=closing,
        looked_at_again=_falls(closing, max(e.seq for e in because), folder),
    )


def _not_covered(
    key: str,
    because: tuple[Entry[WorkEvent], ...],
    closings: Mapping[str, Entry[OwedClosed]],
    folder: Folder,
) -> Owed:
    """An event that the matrix says nothing about: no rule is no clearance."""
    closing = closings.get(key)
    return Owed(
        key=key,
        kind="check",
        text=f"{event_words(because[0].body)}: the matrix says nothing about it; refer to engineering",
        source="no paragraph is transcribed",
        role=Role.LEAD,
        closed_by=ClosedBy(look=True),
        because=because,
        closing=closing,
        looked_at_again=_falls(closing, max(e.seq for e in because), folder),
    )


def _falls(closing: Entry[OwedClosed] | None, newest_event: int, folder: Folder) -> str:
    """Why a closing does not hold: something happened since, or its evidence was changed or refused."""
    if closing is None:
        return ""
    body = closing.body
    if body.done_seq <= newest_event:
        return "something happened again since the evidence was recorded"
    evidence = next((e for e in folder.entries if e.subject == body.evidence), None)
    if evidence is None:
        return "the evidence it names is not in this visit"
    if evidence.revision != body.evidence_revision:
        return "the evidence was corrected since it was closed: look at it again"
    if evidence.kind == "card_check":
        signed = next((e for e in folder.entries if e.subject == body.evidence.removesuffix("/check")), None)
        if signed is None or signed.seq != getattr(evidence.body, "of_seq", 0):
            return "the step was corrected since its check: it is to be checked again"
    return ""


def event_words(event: WorkEvent) -> str:
    """What happened, in words."""
    verb = event.what.replace("_", " ")
    item = event.item.replace("_", " ")
    named = f"{item} {event.serial}".strip()
    return f"limit '{item}' exceeded" if event.what == "exceedance" else f"{named} {verb}"
