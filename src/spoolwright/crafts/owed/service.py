"""Use cases: record a look at what is owed, close an item with evidence."""

from __future__ import annotations

from spoolwright.crafts.owed.evidence import Evidence, candidates
from spoolwright.crafts.owed.model import OwedClosed, OwedLook
from spoolwright.crafts.owed.rules import Owed, owed_work
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import InputError


def owed_of(folder: Folder, key: str) -> Owed:
    """An owed item by its key."""
    found = next((o for o in owed_work(folder) if o.key == key), None)
    if found is None:
        raise InputError(f"nothing called '{key}' is owed in this visit.", mend="Look at the list again.")
    return found


def _first(desk: Desk, subject: str) -> int:
    past = desk.records.history(subject)
    return past[0].seq if past else 0


def evidence_for(desk: Desk, folder: Folder, owed: Owed) -> list[Evidence]:
    """What could close an owed item now: younger than everything it is owed for."""
    return candidates(owed.wanted, folder.entries, lambda s: _first(desk, s), owed.because)


def look_shown(folder: Folder, owed: Owed, serial: str) -> str:
    """What an inspector signs about a look."""
    return f"Visit {folder.visit}, engine {serial}. {owed.text} ({owed.source}). I looked at it myself."


def record_look(desk: Desk, folder: Folder, look: OwedLook, shown: str, name: str) -> Entry[Body]:
    """Record a look at what is owed. It closes nothing by itself."""
    owed = owed_of(folder, look.key)
    if not owed.closed_by.look:
        raise InputError(
            f"'{owed.text}' is not closed by a look.",
            mend="Its evidence is named on the page.",
            where="found",
        )
    desk.entitled(owed.role)
    new = New(f"visit/{folder.visit}/owed/{owed.key}/look/{name}", look, visit=folder.visit)
    result = "satisfactory" if look.satisfactory else "not satisfactory"
    said = f"{shown} {look.found} ({look.document}): {result}."
    return desk.record(signed(new, desk, Meaning.DID, said, owed.role))[0]


def close_shown(folder: Folder, owed: Owed, evidence: Evidence, serial: str) -> str:
    """What a person signs who closes an owed item."""
    return (
        f"Visit {folder.visit}, engine {serial}. Owed: {owed.text} ({owed.source}). "
        f"Evidence: {evidence.told}. I looked at the evidence; it closes this item."
    )


def evidence_named(desk: Desk, folder: Folder, owed: Owed, subject: str) -> Evidence:
    """The evidence that a person names.

    Raises
    ------
    InputError
        It is no evidence of what is owed, or is older than what happened.
    """
    found = next((x for x in evidence_for(desk, folder, owed) if x.entry.subject == subject), None)
    if found is None:
        raise InputError(
            f"'{subject}' does not close '{owed.text}'.",
            mend="It is no evidence of it, or older than what happened. Choose from the list.",
            where="evidence",
        )
    return found


def close_owed(
    desk: Desk, folder: Folder, key: str, evidence: str, shown: str, *, after: int, remark: str = ""
) -> Entry[Body]:
    """Close an owed item: an entitled person names the evidence and signs. Nothing closes by itself."""
    owed = owed_of(folder, key)
    desk.entitled(owed.role)
    if owed.closed:
        raise InputError(f"'{owed.text}' is closed.", mend="There is nothing to close.")
    named = evidence_named(desk, folder, owed, evidence)
    body = OwedClosed(
        key=key,
        evidence=named.entry.subject,
        evidence_revision=named.entry.revision,
        done_seq=named.done_seq,
        told=named.told,
        remark=remark,
    )
    reason = "owed again, closed with new evidence" if after else ""
    new = New(f"visit/{folder.visit}/owed/{key}", body, visit=folder.visit, after=after, reason=reason)
    return desk.record(signed(new, desk, Meaning.ACCEPTED, shown, owed.role))[0]
