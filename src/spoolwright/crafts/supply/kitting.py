"""Use cases of the kit: what a visit needs, and which exact serial or lot it gets."""

from __future__ import annotations

from datetime import date

from spoolwright.crafts.supply.model import Allocated, BuildPlanned, KitLine, Taken
from spoolwright.crafts.supply.needs import kit_lines, needed, proposed
from spoolwright.crafts.supply.stock import Stock, one_stock
from spoolwright.crafts.supply.stores import WRITERS
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Body, Entry, New
from spoolwright.crafts.visit.folder import Folder, newest
from spoolwright.crafts.visit.parts import PartNeeded, part_subject, segment
from spoolwright.errors import InputError


def kind_in(folder: Folder, part: str) -> PartKind:
    """A kind of part of the visit's type."""
    for kind in folder.kind.shop.part:
        if kind.id == part:
            return kind
    raise InputError(
        f"the bill of material has no part '{part}'.", mend="Choose one of its parts.", where="part"
    )


def plan_build(desk: Desk, folder: Folder, build_on: date, after: int = 0) -> Entry[Body]:
    """Set the day on which the parts are needed at the bench."""
    desk.entitled(*WRITERS)
    reason = "planned again" if after else ""
    new = New(
        f"visit/{folder.visit}/supply/build", BuildPlanned(build_on=build_on), folder.visit, after, reason
    )
    (entry,) = desk.record(new)
    return entry


def need_part(desk: Desk, folder: Folder, part: str, quantity: int, why: str) -> Entry[Body]:
    """Ask for a part."""
    desk.entitled(*WRITERS)
    (entry,) = desk.record(_need(folder, kind_in(folder, part), quantity, why, _next_need(folder)))
    return entry


def _need(folder: Folder, kind: PartKind, quantity: int, why: str, number: int) -> New:
    body = PartNeeded(part=kind.id, quantity=quantity, module=kind.module, why=why)
    return New(f"visit/{folder.visit}/supply/need/{number}", body, folder.visit)


def _next_need(folder: Folder) -> int:
    place = f"visit/{folder.visit}/supply/need/"
    taken = [e.subject.removeprefix(place) for e in folder.of(PartNeeded) if e.subject.startswith(place)]
    return max((int(t) for t in taken if t.isdecimal()), default=0) + 1


def need_renewed_parts(desk: Desk, folder: Folder, module: str) -> list[Entry[Body]]:
    """Ask for everything that is renewed when a module is opened, as far as it is not asked for yet."""
    desk.entitled(*WRITERS)
    first = _next_need(folder)
    why = "renewed each time the module is opened"
    news = [
        _need(folder, kind, quantity, f"{why} ({kind.source.document} {kind.source.paragraph})", first + n)
        for n, (kind, quantity) in enumerate(proposed(folder, module))
    ]
    return desk.record(*news) if news else []


def withdraw_need(desk: Desk, folder: Folder, entry: Entry[PartNeeded], reason: str) -> Entry[Body]:
    """A part is not needed after all."""
    desk.entitled(*WRITERS)
    if not reason.strip():
        raise InputError("withdrawn without a reason.", mend="Say why it is not needed.", where="reason")
    body = entry.body.model_copy(update={"withdrawn": True})
    (withdrawn,) = desk.record(New(entry.subject, body, folder.visit, entry.revision, reason))
    return withdrawn


def kit_subject(visit: str, part_number: str, tag: str) -> str:
    """Where a visit's hold on a serial or lot is recorded."""
    return f"visit/{visit}/supply/kit/{segment(part_number)}/{segment(tag)}"


def kit_part(
    desk: Desk, folder: Folder, part: str, part_number: str, tag: str, quantity: int = 1
) -> Entry[Body]:
    """Take an exact serial, or a quantity of a lot, for a visit.

    An alternate is taken only because a person named its number; the line then says which document allows it.

    Raises
    ------
    InputError
        Not allowed as this part, in quarantine, expired, held by another visit, or more than is needed.
    """
    desk.entitled(*WRITERS)
    kind = kind_in(folder, part)
    stock = _kittable(desk, folder, kind, part_number, tag, quantity)
    alternate = part_number != kind.part_number
    source = kind.alternate_source or kind.source
    subject = kit_subject(folder.visit, part_number, tag)
    before = newest(folder.of(KitLine), subject)
    body = stock.body
    line = KitLine(
        part=kind.id,
        module=kind.module,
        part_number=part_number,
        tag=tag,
        serialised=body.serialised,
        quantity=stock.taken.get(folder.visit, 0) + quantity,
        fitted=before.body.fitted if before and before.body.arrival == stock.entry.revision else 0,
        arrival=stock.entry.revision,
        alternate_for=kind.part_number if alternate else "",
        allowed_by=f"{source.document} {source.paragraph}" if alternate else "",
        certificate=body.certificate.number if body.certificate else "",
        expires_on=stock.expires_on,
    )
    reason = "kitted again" if before else ""
    entry, _ = desk.record(
        New(subject, line, folder.visit, before.revision if before else 0, reason),
        hold(stock, folder.visit, line.quantity, line.fitted),
    )
    return entry


def hold(stock: Stock, visit: str, quantity: int, fitted: int = 0) -> New:
    """The allocation with this visit's share set to a quantity."""
    theirs = [t for t in stock.held if t.visit != visit]
    mine = [Taken(visit=visit, quantity=quantity, fitted=fitted)] if quantity else []
    taken = tuple(sorted([*theirs, *mine], key=lambda t: t.visit))
    body = Allocated(arrival=stock.entry.revision, taken=taken)
    subject = part_subject(stock.body.part_number, stock.body.tag, "allocation")
    after = stock.revisions[2]
    return New(subject, body, "", after, f"visit {visit} holds {quantity}, {fitted} fitted" if after else "")


def _kittable(desk: Desk, folder: Folder, kind: PartKind, number: str, tag: str, quantity: int) -> Stock:
    """The stock, if it may be taken."""
    allowed = (kind.part_number, *kind.alternates)
    if number not in allowed:
        source = kind.alternate_source or kind.source
        raise InputError(
            f"{number} is not allowed as {kind.name}.",
            mend=f"{source.document} {source.paragraph} allows {' or '.join(allowed)}.",
            where="part_number",
        )
    stock = one_stock(desk.records, (kind,), number, tag)
    if stock is None or stock.body.part != kind.id:
        raise InputError(f"no {kind.name} {number} {tag} is in store.", mend="Receive it first.", where="tag")
    if not stock.accepted:
        told = f"{stock.words} is in quarantine: {stock.quarantine}."
        raise InputError(told, mend="An inspector accepts its certificate first.", where="tag")
    if stock.expired(folder.today):
        told = f"{stock.words}: its shelf life ended on {stock.expires_on}."
        raise InputError(told, mend="Take another lot, and set this one aside.", where="tag")
    if quantity < 1 or quantity > stock.free:
        holders = ", ".join(f"visit {v} holds {n}" for v, n in stock.taken.items()) or "no visit holds any"
        raise InputError(
            f"{quantity} of {stock.words} are wanted, {stock.free} are free; {holders}.",
            mend="Take another serial or lot, or fewer.",
            where="quantity",
        )
    still = needed(folder).get(kind.id, 0) - sum(
        e.body.quantity for e in kit_lines(folder) if e.body.part == kind.id
    )
    if quantity > still:
        told = f"{quantity} of {kind.name} are wanted, the visit still needs {max(still, 0)}."
        raise InputError(told, mend="Ask for the part first, with the reason.", where="quantity")
    return stock


def put_back(desk: Desk, folder: Folder, line: Entry[KitLine], reason: str) -> Entry[Body]:
    """Return what was kitted to the store, except what is fitted.

    Raises
    ------
    InputError
        No reason, or all of it is fitted.
    """
    desk.entitled(*WRITERS)
    body = line.body
    if not reason.strip():
        raise InputError("put back without a reason.", mend="Say why.", where="reason")
    if body.fitted == body.quantity:
        told = f"{body.part_number} {body.tag} is recorded as fitted."
        raise InputError(told, mend="Its removal is recorded on the card first.", where="tag")
    stock = one_stock(desk.records, (kind_in(folder, body.part),), body.part_number, body.tag)
    if stock is None or stock.entry.revision != body.arrival:
        told = f"{body.part_number} {body.tag} came into store again since it was kitted."
        raise InputError(told, mend="Look at it under Stores.", where="tag")
    left = body.model_copy(update={"quantity": body.fitted})
    entry, _ = desk.record(
        New(line.subject, left, folder.visit, line.revision, reason),
        hold(stock, folder.visit, body.fitted, body.fitted),
    )
    return entry
