"""What the crafts recorded, laid side by side for the cross-check. Release alone reads all of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from decimal import Decimal

from spoolwright.crafts.cards.model import CardIssued
from spoolwright.crafts.life.model import PartUsed
from spoolwright.crafts.receiving.model import EngineAtVisit, ModuleReceived
from spoolwright.crafts.release.model import (
    Evidence,
    OrderSeen,
    PartSeen,
    RevisionSeen,
    SerialSeen,
    SignatureSeen,
    TotalSeen,
)
from spoolwright.crafts.release.overhaul import overhaul_facts
from spoolwright.crafts.supply.model import KitLine, Returned, SentOut
from spoolwright.crafts.supply.stock import certificate_of
from spoolwright.crafts.testcell.visit.model import RunAttached
from spoolwright.crafts.testcell.visit.standing import standing as test_standing
from spoolwright.crafts.visit.entry import Body, Entry, Records
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import ModuleFitted, PartFitted, part_subject


def evidence_of(folder: Folder, records: Records, visit: VisitOpened) -> Evidence:
    """Everything that the cross-check compares."""
    return Evidence(
        serials=tuple(_serials(folder, records, visit)),
        totals=tuple(_totals(folder, records, visit)),
        revisions=tuple(_revisions(folder)),
        orders=tuple(_orders(folder, records)),
        signatures=tuple(_signatures(folder)),
        parts=tuple(_parts(folder)),
        overhaul=overhaul_facts(folder),
    )


def _page(entry: Entry[Body]) -> str:
    return f"/record/{entry.seq}"


def _serials(folder: Folder, records: Records, visit: VisitOpened) -> Iterator[SerialSeen]:
    names = {m.id: m.name for m in folder.kind.type_file.module}
    for received in folder.of(ModuleReceived):
        b = received.body
        yield SerialSeen(names.get(b.module, b.module), "", b.serial, "receiving", _page(received))
    for module in folder.of(ModuleFitted):
        m = module.body
        if not m.withdrawn and m.engine_serial == visit.engine_serial:
            place = names.get(m.module, m.module)
            yield SerialSeen(place, "", m.serial, "the engine's own record", _page(module))
    single = {k.id: k for k in folder.kind.shop.part if k.quantity == 1 and k.serialised}
    for part in folder.of(PartFitted):
        p = part.body
        if p.engine_serial == visit.engine_serial and p.part in single:
            yield SerialSeen(single[p.part].name, p.part_number, p.serial, "parts fitted", _page(part))
    for kit in folder.of(KitLine):
        k = kit.body
        if k.fitted and k.serialised and k.part in single:
            yield SerialSeen(single[k.part].name, k.part_number, k.tag, "the kit", _page(kit))
    yield from _ledger_serials(folder, records, visit)


def _ledger_serials(folder: Folder, records: Records, visit: VisitOpened) -> Iterator[SerialSeen]:
    """Parts whose own ledger says that they sit in this engine, of kinds of which it holds one."""
    kinds = {n: k for k in folder.kind.shop.part if k.quantity == 1 for n in (k.part_number, *k.alternates)}
    for part in folder.of(PartFitted):
        p = part.body
        for line in records.current(PartUsed, under=f"{part_subject(p.part_number, p.serial)}/use"):
            u = line.body
            if u.ended == "still fitted" and u.engine_serial and u.part_number in kinds:
                here = u.engine_serial == visit.engine_serial
                name = kinds[u.part_number].name
                place = name if here else f"{name} of engine {u.engine_serial}"
                if here or p.engine_serial == visit.engine_serial:
                    yield SerialSeen(place, u.part_number, u.serial, "its life ledger", _page(line))


def _totals(folder: Folder, records: Records, visit: VisitOpened) -> Iterator[TotalSeen]:
    item = f"engine {visit.engine_serial}"
    opened = folder.of(VisitOpened)[-1]
    stated = {
        "hours since new": visit.time_since_new_h,
        "cycles since new": visit.cycles_since_new,
        "starts since new": visit.starts_since_new,
    }
    for quantity, value in stated.items():
        if value is not None:
            yield TotalSeen(item, quantity, Decimal(repr(value)).normalize(), "the visit", _page(opened))
    for counts in folder.of(EngineAtVisit):
        c = counts.body.counts
        for quantity, value in (
            ("hours since new", c.hours_since_new),
            ("cycles since new", c.cycles_since_new),
            ("starts since new", c.starts_since_new),
        ):
            if value is not None and not counts.body.withdrawn:
                amount = Decimal(repr(value)).normalize()
                yield TotalSeen(item, quantity, amount, "receiving", _page(counts))


def _revisions(folder: Folder) -> Iterator[RevisionSeen]:
    for issued in folder.of(CardIssued):
        for document, revision in issued.body.documents.items():
            where = f"card '{issued.body.card.title}'"
            yield RevisionSeen(document, revision, where, _page(issued))


def _orders(folder: Folder, records: Records) -> Iterator[OrderSeen]:
    test = test_standing(folder)
    if test.accepted is not None:
        runs = [e for e in test.runs if e.body.run in test.accepted.body.runs]
        for run in runs:
            day = _at(run.body.performed_on)
            done = "the test run", day, "its acceptance", test.accepted.at
            yield OrderSeen(*done, _page(test.accepted))
    for back in folder.of(Returned):
        sent = next((e for e in folder.of(SentOut) if back.subject.startswith(f"{e.subject}/")), None)
        if sent is not None:
            yield OrderSeen(
                f"sending out {sent.body.part_number} serial {sent.body.serial}", _at(sent.body.sent_on),
                "its return", _at(back.body.returned_on, time(23, 59)), _page(back),
            )  # fmt: skip
    for kit in folder.of(KitLine):
        k = kit.body
        paper = certificate_of(records, k.part_number, k.tag) if k.fitted else None
        if paper is not None and paper.dated is not None:
            first = f"the release certificate of {k.part_number} {k.tag}"
            yield OrderSeen(first, _at(paper.dated), "its fitting", kit.at, _page(kit))


def _at(day: date, moment: time = time()) -> datetime:
    return datetime.combine(day, moment, UTC)


def _signatures(folder: Folder) -> Iterator[SignatureSeen]:
    for e in folder.entries:
        if e.signature is not None:
            s = e.signature
            what = f"the record '{e.kind.replace('_', ' ')}' of {e.at:%Y-%m-%d %H:%M}"
            yield SignatureSeen(what, s.person, s.name, s.authorisation, e.at, _page(e))


def _parts(folder: Folder) -> Iterator[PartSeen]:
    kinds = {k.id: k for k in folder.kind.shop.part}
    for kit in folder.of(KitLine):
        k = kit.body
        if k.fitted:
            kind = kinds.get(k.part)
            allowed = () if kind is None else (kind.part_number, *kind.alternates)
            yield PartSeen(k.part_number, k.tag, allowed, k.certificate, _page(kit))


def runs_of(folder: Folder) -> list[Entry[RunAttached]]:
    """Every run of the visit, in the order in which it was attached; none is left out."""
    return list(folder.of(RunAttached))
