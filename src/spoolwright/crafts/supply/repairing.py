"""Use cases of outside repairs: vendors and their authorisations, parts sent, returned, looked at again."""

from __future__ import annotations

from spoolwright.crafts.supply.model import Reinspected, Returned, SentOut, VendorAuthorised, VendorKnown
from spoolwright.crafts.supply.stores import WRITERS
from spoolwright.crafts.supply.vendors import Repair, repair_subject, repairs
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.parts import segment
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

KEEPERS = (Role.RECORDS, Role.LEAD)


def know_vendor(desk: Desk, vendor: VendorKnown, after: int = 0, reason: str = "") -> Entry[Body]:
    """A shop that work may be sent to."""
    desk.entitled(*KEEPERS)
    reason = reason or ("kept up to date" if after else "")
    (entry,) = desk.record(New(f"vendor/{vendor.id}", vendor, "", after, reason))
    return entry


def record_authorisation(desk: Desk, held: VendorAuthorised, after: int = 0, reason: str = "") -> Entry[Body]:
    """What an authority approved a vendor for; a renewal or another scope is an issue with its own dates.

    Raises
    ------
    InputError
        The vendor is not known, or the authorisation ends before it begins.
    """
    desk.entitled(*KEEPERS)
    if not desk.records.history(f"vendor/{segment(held.vendor)}"):
        raise InputError(f"there is no vendor '{held.vendor}'.", mend="Enter it first.", where="vendor")
    if held.expires_on < held.valid_from:
        told = f"it runs out on {held.expires_on}, before it is valid from {held.valid_from}."
        raise InputError(told, mend="Correct the dates.", where="expires_on")
    subject = f"vendor/{held.vendor}/authorisation/{segment(held.number)}/{segment(held.issue)}"
    reason = reason or ("kept up to date" if after else "")
    (entry,) = desk.record(New(subject, held, "", after, reason))
    return entry


def send_out(desk: Desk, folder: Folder, sent: SentOut) -> Entry[Body]:
    """A part left for a vendor; what its authorisation does not cover is recorded too, and stays open.

    Raises
    ------
    InputError
        The part is out already, the vendor is not known, or a date cannot be.
    """
    desk.entitled(*WRITERS)
    if not desk.records.history(f"vendor/{segment(sent.vendor)}"):
        raise InputError(
            f"there is no vendor '{sent.vendor}'.", mend="Enter it under Vendors.", where="vendor"
        )
    if sent.part not in {k.id for k in folder.kind.shop.part}:
        raise InputError(f"the bill of material has no part '{sent.part}'.", mend="Choose one.", where="part")
    if sent.sent_on > desk.now.date():
        raise InputError(f"sent on {sent.sent_on}, after today.", mend="Correct the date.", where="sent_on")
    if sent.expected_on < sent.sent_on:
        told = f"expected back on {sent.expected_on}, before it was sent on {sent.sent_on}."
        raise InputError(told, mend="Correct the dates.", where="expected_on")
    trips = [
        r for r in repairs(folder) if (r.body.part_number, r.body.serial) == (sent.part_number, sent.serial)
    ]
    if any(r.returned is None for r in trips):
        told = f"{sent.part_number} {sent.serial} is out already."
        raise InputError(told, mend="Record its return first.", where="serial")
    subject = repair_subject(folder.visit, sent.part_number, sent.serial, len(trips) + 1)
    (entry,) = desk.record(New(subject, sent, folder.visit))
    return entry


def record_return(
    desk: Desk, folder: Folder, repair: Repair, back: Returned, reason: str = ""
) -> list[Entry[Body]]:
    """A part came back with the vendor's release: the event 'repaired' is recorded with it.

    Raises
    ------
    InputError
        It came back before it was sent, after today, or a correction gives no reason.
    """
    desk.entitled(*WRITERS)
    sent = repair.body
    if not sent.sent_on <= back.returned_on <= desk.now.date():
        told = f"returned on {back.returned_on}: it was sent on {sent.sent_on}, today is {desk.now.date()}."
        raise InputError(told, mend="Correct the date.", where="returned_on")
    after = repair.returned.revision if repair.returned else 0
    if after and not reason.strip():
        raise InputError("a correction without a reason.", mend="Say why it is corrected.", where="reason")
    number = back.certificate.number or "not given"
    event = WorkEvent(
        what="repaired",
        item=sent.part,
        module=sent.module,
        serial=sent.serial,
        detail=f"{', '.join(back.works)} by {sent.vendor}, certificate {number}",
        happened_at=desk.now,
    )
    trip = repair.sent.subject.rsplit("/", 1)[-1]
    place = (
        f"visit/{folder.visit}/event/supply-repair-{segment(sent.part_number)}-{segment(sent.serial)}-{trip}"
    )
    past = len(desk.records.history(place))
    return desk.record(
        New(f"{repair.sent.subject}/return", back, folder.visit, after, reason),
        New(place, event, folder.visit, past, reason if past else ""),
    )


def reinspection_shown(repair: Repair, found: Reinspected) -> str:
    """The sentence that the inspector signs."""
    word = "serviceable" if found.serviceable else "NOT serviceable"
    return f"{repair.words}, returned from {repair.body.vendor}: {word}. {found.found}"


def reinspect(desk: Desk, folder: Folder, repair: Repair, found: Reinspected, shown: str) -> Entry[Body]:
    """The shop's own look at a returned part: the inspector's signature."""
    if repair.returned is None:
        raise InputError(
            f"{repair.words} has not come back.", mend="Record its return first.", where="returned_on"
        )
    if shown != reinspection_shown(repair, found):
        raise InputError(
            "what was shown is not what stands now.", mend="Read it again, then sign.", where="shown"
        )
    after = repair.inspected.revision if repair.inspected else 0
    new = New(
        f"{repair.sent.subject}/inspection", found, folder.visit, after, "looked at again" if after else ""
    )
    (entry,) = desk.record(signed(new, desk, Meaning.CHECKED, shown, Role.INSPECTOR))
    return entry
