"""Use cases of the store: stock comes in, its certificate is looked at, orders are followed."""

from __future__ import annotations

from dataclasses import replace

from spoolwright.crafts.supply.certificates import FIELDS, Covered, certificate_mistakes, shelf_mistakes
from spoolwright.crafts.supply.model import CertificateChecked, FieldSeen, PartOrdered, StockReceived, UsedUp
from spoolwright.crafts.supply.stock import Stock, one_stock
from spoolwright.crafts.typefile.shop.parts import PartKind
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Entry, Meaning, New
from spoolwright.crafts.visit.parts import part_subject, segment
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError

WRITERS = (Role.INSPECTOR, Role.RECORDS, Role.LEAD, Role.BUILDER)


def kind_of(desk: Desk, type_id: str, part: str) -> PartKind:
    """A kind of part of a type's bill of material."""
    for kind in desk.types.of(type_id).shop.part:
        if kind.id == part:
            return kind
    raise InputError(
        f"the bill of material has no part '{part}'.", mend="Choose one of its parts.", where="part"
    )


def stock_at(desk: Desk, part_number: str, tag: str) -> Stock:
    """A serial or lot with the shelf life of its kind."""
    bare = one_stock(desk.records, (), part_number, tag)
    if bare is None:
        raise InputError(f"nothing in store is {part_number} {tag}.", mend="Receive it under Stores.")
    kind = kind_of(desk, bare.body.type_id, bare.body.part)
    return replace(bare, shelf_life_days=kind.shelf_life_days)


def receive_stock(desk: Desk, stock: StockReceived) -> Entry[Body]:
    """A serial or lot came in; it stays in quarantine until its certificate is accepted.

    Raises
    ------
    InputError
        It is in store already, or is no part of the bill of material.
    """
    desk.entitled(*WRITERS)
    kind = kind_of(desk, stock.type_id, stock.part)
    if stock.serialised != kind.serialised:
        noun = "serial" if kind.serialised else "lot"
        raise InputError(f"{kind.name} is kept by {noun}.", mend=f"Give its {noun} number.", where="tag")
    if stock.serialised and stock.quantity != 1:
        raise InputError("a serial is one part.", mend="Receive each serial by itself.", where="quantity")
    if stock.part_number not in (kind.part_number, *kind.alternates):
        allowed = " or ".join((kind.part_number, *kind.alternates))
        raise InputError(
            f"{stock.part_number} is neither {kind.name} nor an allowed alternate.",
            mend=f"The bill of material names {allowed}; anything else is a matter for engineering.",
            where="part_number",
        )
    _refuse_impossible_dates(desk, stock)
    there = one_stock(desk.records, (kind,), stock.part_number, stock.tag)
    if there and not there.used_up:
        raise InputError(
            f"{there.words} is in store since {there.body.received_on}.",
            mend="A further delivery of a lot is received under its own lot number, such as 'LOT-2'.",
            where="tag",
        )
    after = there.revisions[0] if there else 0
    reason = f"came in again on {stock.received_on}" if there else ""
    (entry,) = desk.record(New(part_subject(stock.part_number, stock.tag, "stock"), stock, "", after, reason))
    return entry


def _refuse_impossible_dates(desk: Desk, stock: StockReceived) -> None:
    if stock.received_on > desk.now.date():
        told = f"received on {stock.received_on}, after today."
        raise InputError(told, mend="Correct the date.", where="received_on")
    if stock.made_on and stock.made_on > stock.received_on:
        told = f"made on {stock.made_on}, after it was received on {stock.received_on}."
        raise InputError(told, mend="Correct the date.", where="made_on")


def correct_stock(desk: Desk, stock: StockReceived, after: int, reason: str) -> Entry[Body]:
    """Correct what was recorded of a serial or lot; its certificate must be looked at again.

    Raises
    ------
    InputError
        No reason, or a visit already holds some of it.
    """
    desk.entitled(*WRITERS)
    _refuse_impossible_dates(desk, stock)
    there = stock_at(desk, stock.part_number, stock.tag)
    if there.taken:
        raise InputError(
            f"{there.words} is held by visit {', '.join(there.taken)}.",
            mend="Put it back first.",
            where="tag",
        )
    if not reason.strip():
        raise InputError("a correction without a reason.", mend="Say why it is corrected.", where="reason")
    (entry,) = desk.record(New(part_subject(stock.part_number, stock.tag, "stock"), stock, "", after, reason))
    return entry


def mistakes_of(desk: Desk, stock: Stock) -> list[str]:
    """What speaks against accepting a serial or lot, in words."""
    body = stock.body
    kind = kind_of(desk, body.type_id, body.part)
    paper = certificate_mistakes(
        body.certificate,
        body.part_number,
        body.tag,
        body.quantity,
        body.received_on,
        _same_number(desk, stock),
    )
    return [*paper, *shelf_mistakes(body, kind)]


def _same_number(desk: Desk, stock: Stock) -> list[Covered]:
    """What else of this part number came in under the same certificate number, used up or not."""
    paper = stock.body.certificate
    if paper is None or not paper.number:
        return []
    found = []
    for e in desk.records.current(StockReceived, UsedUp, under=f"part/{segment(stock.body.part_number)}"):
        body = e.body
        if not isinstance(body, StockReceived | UsedUp) or not e.subject.endswith("/stock"):
            continue
        theirs = body.certificate
        same = theirs and (theirs.number, theirs.organisation) == (paper.number, paper.organisation)
        if theirs and same and e.subject != stock.entry.subject:
            found.append(Covered(body.tag, body.quantity, theirs))
    return found


def check_shown(stock: Stock, checked: CertificateChecked) -> str:
    """The sentence that the inspector signs."""
    paper = stock.body.certificate
    seen = "; ".join(f"{FIELDS[f.field]} {f.seen}" for f in checked.fields)
    which = f"certificate {paper.number} of {paper.organisation}" if paper else "no certificate"
    because = f" {checked.reason}" if checked.reason else ""
    fields = f" Compared with the part and the paper: {seen}." if seen else ""
    return f"{stock.words}, {which}: {checked.decision}.{because}{fields}"


def check_certificate(desk: Desk, stock: Stock, checked: CertificateChecked, shown: str) -> Entry[Body]:
    """Accept a certificate, or quarantine the part: the inspector's signature.

    Raises
    ------
    InputError
        Acceptance of a certificate that a person or the comparison found wrong, or a field nobody looked at.
    """
    if checked.arrival != stock.entry.revision:
        raise InputError(
            f"{stock.words} came in again since.", mend="Look at the new papers.", where="arrival"
        )
    if checked.decision == "accepted":
        _refuse_unless_right(desk, stock, checked.fields)
    elif not checked.reason.strip():
        raise InputError(
            "quarantined without a reason.", mend="Say what must be settled first.", where="reason"
        )
    if shown != check_shown(stock, checked):
        raise InputError(
            "what was shown is not what stands now.", mend="Read it again, then sign.", where="shown"
        )
    after = stock.revisions[1]
    subject = part_subject(stock.body.part_number, stock.body.tag, "certificate")
    new = New(subject, checked, "", after, "looked at again" if after else "")
    (entry,) = desk.record(signed(new, desk, Meaning.ACCEPTED, shown, Role.INSPECTOR))
    return entry


def _refuse_unless_right(desk: Desk, stock: Stock, fields: tuple[FieldSeen, ...]) -> None:
    seen = {f.field: f.seen for f in fields}
    wrong = [
        f"{words}: {seen.get(f, 'not looked at')}" for f, words in FIELDS.items() if seen.get(f) != "agrees"
    ]
    wrong += mistakes_of(desk, stock)
    if wrong:
        raise InputError(
            f"{stock.words} cannot be accepted: "
            + " ".join(w if w.endswith(".") else f"{w}." for w in wrong),
            mend="Correct what was copied wrongly, or quarantine it and ask the supplier.",
            where="decision",
        )


def record_order(desk: Desk, order: PartOrdered, after: int = 0, reason: str = "") -> Entry[Body]:
    """An order line, or what became of it."""
    desk.entitled(*WRITERS)
    today = desk.now.date()
    for words, day in (("ordered", order.ordered_on), ("arrived", order.arrived_on)):
        if day and day > today:
            raise InputError(f"{words} on {day}, after today.", mend="Correct the date.", where=f"{words}_on")
    for words, day in (("promised", order.promised_on), ("arrived", order.arrived_on)):
        if day and day < order.ordered_on:
            told = f"{words} for {day}, before it was ordered on {order.ordered_on}."
            raise InputError(told, mend="Correct the date.", where=f"{words}_on")
    reason = reason or ("followed up" if after else "")
    (entry,) = desk.record(
        New(f"order/{segment(order.part_number)}/{order.number}", order, order.visit, after, reason)
    )
    return entry
