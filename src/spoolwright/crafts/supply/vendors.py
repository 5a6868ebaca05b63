"""Outside repairs: was the vendor authorised on each day that counts, and what keeps a repair open."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from spoolwright.crafts.supply.certificates import certificate_mistakes
from spoolwright.crafts.supply.model import (
    Reinspected,
    Returned,
    SentOut,
    VendorAuthorised,
    VendorKnown,
    Work,
)
from spoolwright.crafts.visit.entry import Entry, Records
from spoolwright.crafts.visit.folder import Folder, newest
from spoolwright.crafts.visit.parts import segment


@dataclass(frozen=True)
class Repair:
    """A part's trip to a vendor: what was sent, what came back, what the shop found."""

    sent: Entry[SentOut]
    returned: Entry[Returned] | None
    inspected: Entry[Reinspected] | None

    @property
    def body(self) -> SentOut:
        return self.sent.body

    @property
    def words(self) -> str:
        return f"{self.body.part_number} {self.body.serial}"


def repair_subject(visit: str, part_number: str, serial: str, trip: int) -> str:
    """Where a trip is recorded."""
    return f"visit/{visit}/supply/repair/{segment(part_number)}/{segment(serial)}/{trip}"


def repairs(folder: Folder) -> list[Repair]:
    """Every trip of a visit's parts, in the order they were sent."""
    back, looked = folder.of(Returned), folder.of(Reinspected)
    return [
        Repair(s, newest(back, f"{s.subject}/return"), newest(looked, f"{s.subject}/inspection"))
        for s in folder.of(SentOut)
    ]


def authorisations_of(records: Records, vendor: str) -> list[VendorAuthorised]:
    """What a vendor is authorised for."""
    return [e.body for e in records.current(VendorAuthorised, under=f"vendor/{vendor}/authorisation")]


def vendor_name(records: Records, vendor: str) -> str:
    """A vendor's name, or its id where none is known."""
    known = [
        e.body.name for e in records.current(VendorKnown, under=f"vendor/{vendor}") if e.body.id == vendor
    ]
    return known[0] if known else vendor


def cover_gaps(
    authorisations: Iterable[VendorAuthorised],
    number: str,
    works: Iterable[Work],
    part_number: str,
    on: date,
    event: str,
) -> list[str]:
    """In what a vendor's authorisation does not cover work on a day, in words; none: it covers it.

    A number may have several issues (renewed, another scope), each with its own dates; one must cover it all.
    """
    held = [a for a in authorisations if a.number == number]
    if not held:
        return [f"no authorisation {number} of the vendor is on record."]
    told = [list(_gaps(a, set(works), part_number, on, event)) for a in held]
    return min(told, key=len)


def _gaps(held: VendorAuthorised, works: set[Work], part_number: str, on: date, event: str) -> Iterator[str]:
    what = f"authorisation {held.number}"
    if on < held.valid_from:
        yield f"{what} was valid from {held.valid_from}, {event} on {on}."
    if on > held.expires_on:
        yield f"{what} ran out on {held.expires_on}, {event} on {on}."
    if held.withdrawn_on and on >= held.withdrawn_on:
        yield f"{what} was withdrawn on {held.withdrawn_on}, {event} on {on}."
    if missing := sorted(works - set(held.works)):
        yield f"{what} does not cover {', '.join(missing)} ({event} on {on})."
    if held.part_numbers and part_number not in held.part_numbers:
        yield f"{what} does not cover part number {part_number} ({event} on {on})."


def repair_open(
    repair: Repair, authorisations: Sequence[VendorAuthorised], vendor: str, today: date
) -> list[str]:
    """Everything that keeps a repair open, in words; none: it is closed."""
    sent = repair.body
    told = cover_gaps(authorisations, sent.authorisation, sent.works, sent.part_number, sent.sent_on, "sent")
    if repair.returned is None:
        late = f", {(today - sent.expected_on).days} days late" if today > sent.expected_on else ""
        back = f"at {vendor} since {sent.sent_on}, expected back on {sent.expected_on}{late}."
        return [back, *told]
    return [*told, *_release(sent, repair.returned.body, authorisations), *_inspection(repair)]


def _release(sent: SentOut, back: Returned, authorisations: Sequence[VendorAuthorised]) -> Iterator[str]:
    """What the vendor's release leaves open."""
    paper = back.certificate
    yield from certificate_mistakes(paper, sent.part_number, sent.serial, 1, back.returned_on)
    if omitted := sorted(set(sent.works) - set(back.works)):
        yield f"ordered, and not on the release: {', '.join(omitted)}."
    if paper.data and paper.data != sent.data:
        yield f"ordered to '{sent.data}', released to '{paper.data}'."
    if not paper.data:
        yield "the release names no data that the work was done to."
    if paper.approval_number and paper.approval_number != sent.authorisation:
        yield f"sent under authorisation {sent.authorisation}, released under {paper.approval_number}."
    if paper.dated:
        works = set(sent.works) | set(back.works)
        yield from cover_gaps(
            authorisations,
            paper.approval_number or sent.authorisation,
            works,
            sent.part_number,
            paper.dated,
            "released",
        )
        if paper.dated < sent.sent_on:
            yield f"released on {paper.dated}, before it was sent on {sent.sent_on}."


def _inspection(repair: Repair) -> Iterator[str]:
    """What the shop's own look leaves open."""
    if repair.inspected is None or (repair.returned and repair.inspected.seq < repair.returned.seq):
        yield "not inspected after its return."
    elif not repair.inspected.body.serviceable:
        yield f"found not serviceable after its return: {repair.inspected.body.found}"
